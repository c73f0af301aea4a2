"""One table model with many writers.

``Table`` holds raw values and says how each column is written; a writer turns it into text, HTML,
CSV and so on. A number is formatted once, by :mod:`motorlearn.digits`, whichever the writer.

Writers that need heavy libraries are not loaded here: ``motorlearn.tables.excel``, ``.word``,
``.latex`` and ``.display`` (great_tables) are imported where they are used.
"""

from motorlearn.tables.model import Column, Table, estimates_table
from motorlearn.tables.writers import to_csv, to_html, to_markdown, to_text

__all__ = ["Column", "Table", "estimates_table", "to_csv", "to_html", "to_markdown", "to_text"]
