"""Tables styled by great_tables, for a notebook or as a page of their own."""

import pandas as pd
from great_tables import GT

from motorlearn.tables.model import Table


def to_great_table(table: Table, *, decimal: str = ".") -> GT:
    """Give a table as a ``great_tables.GT`` whose cells are written already."""
    names = [f"column{place}" for place in range(len(table.columns))]
    cells = pd.DataFrame(table.cells(decimal), columns=names, dtype="str")
    right = [name for name, column in zip(names, table.columns, strict=True) if column.is_numeric]
    left = [name for name in names if name not in right]
    made = GT(cells, id=f"gt-{table.name}").tab_header(title=table.title)
    made = made.cols_label(dict(zip(names, table.headings, strict=True)))
    if right:
        made = made.cols_align("right", columns=right)
    if left:
        made = made.cols_align("left", columns=left)
    for note in table.notes:
        made = made.tab_source_note(note)
    return made.tab_options(table_font_size="13px", data_row_padding="3px")


def to_styled_html(table: Table, *, decimal: str = ".") -> str:
    """Write a table as a page of its own, styled by great_tables.

    Examples
    --------
    >>> import pandas as pd
    >>> from motorlearn.tables import Column
    >>> table = Table("hits", "Hits of 20", (Column("hits"),), pd.DataFrame({"hits": [17]}))
    >>> "Hits of 20" in to_styled_html(table)
    True
    """
    return to_great_table(table, decimal=decimal).as_raw_html(make_page=True)
