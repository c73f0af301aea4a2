"""One table model with many writers.

``Table`` holds raw values and says how each column is written; a writer turns it into text, HTML,
CSV and so on. A number is formatted once, by :mod:`motorlearn.digits`, whichever the writer.

Writers that need heavy libraries are not loaded here: ``to_excel`` and ``to_styled_html``
(great_tables) are when they are first asked for, ``motorlearn.tables.word`` and ``.latex`` are
imported where they are used.
"""

from typing import TYPE_CHECKING

from motorlearn.doors import late_names
from motorlearn.tables.model import Column, Table, estimates_table
from motorlearn.tables.writers import to_csv, to_html, to_markdown, to_text

if TYPE_CHECKING:
    from motorlearn.tables.display import to_styled_html
    from motorlearn.tables.excel import to_excel

__getattr__, __dir__ = late_names(
    __name__,
    {
        "to_excel": "motorlearn.tables.excel",
        "to_styled_html": "motorlearn.tables.display",
    },
)

__all__ = [
    "Column",
    "Table",
    "estimates_table",
    "to_csv",
    "to_excel",
    "to_html",
    "to_markdown",
    "to_styled_html",
    "to_text",
]
