"""The sheet a lecturer marks with: what each student should have found, and boxes for points."""

import html
from typing import Final

import pandas as pd

from motorlearn import digits
from motorlearn.teaching.pages import page_of

POINTS: Final = (
    ("estimate", "primary estimate and interval as in the key, to two decimals"),
    ("people", "people analysed, missing people and void trials told"),
    ("interval", "the interval is read, not only whether p is below .05"),
    ("learning", "learning claimed from the delayed test only"),
    ("limits", "what the data leave open is said"),
)
"""What earns a point: a column, and what it asks."""
_STYLE: Final = """
main { padding: 12px; }
table { border-collapse: collapse; font-size: 14px; }
th, td { border: 1px solid var(--line); padding: 4px 8px; text-align: left; vertical-align: top; }
td.box { min-width: 3.5em; }
tr { break-inside: avoid; }
@page { size: A4 landscape; margin: 12mm; }
"""


def marking_sheet(key: pd.DataFrame) -> str:
    """Write the marking sheet of a class: a row for each student, a box for each point.

    Parameters
    ----------
    key : DataFrame
        The key that :func:`motorlearn.teaching.class_data_sets` gives.

    Returns
    -------
    str
        HTML to print.
    """
    asked = "".join(f"<li><b>{name}</b>: {html.escape(what)}</li>" for name, what in POINTS)
    heads = ["student", "what is true", "what the data give", "n", "void"]
    boxes = [*(name for name, _ in POINTS), "sum"]
    head = "".join(f'<th scope="col">{html.escape(name)}</th>' for name in (*heads, *boxes))
    rows = "".join(_row(row, len(boxes)) for _, row in key.iterrows())
    body = (
        "<main><h1>Marking sheet, not for students</h1>"
        f"<p>One point each, {len(POINTS)} in all:</p><ul>{asked}</ul>"
        f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></main>"
    )
    return page_of("Marking sheet", body, styles=[_STYLE])


def _row(row: pd.Series, boxes: int) -> str:
    true = f"{row['preset']}, ratio {digits.number(row['true_effect'], 2)}"
    people = f"{row['n_group']} and {row['n_reference']} of {row['n_allocated']}"
    cells = (row["student"], true, row["answer"], people, row["void_trials"])
    shown = "".join(f"<td>{html.escape(str(cell))}</td>" for cell in cells)
    empty = '<td class="box"></td>' * boxes
    return f"<tr>{shown}{empty}</tr>"
