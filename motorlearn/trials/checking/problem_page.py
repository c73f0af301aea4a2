"""Problems as a table and as a page: grouped by rule, everything escaped, readable offline."""

import html

import pandas as pd

from motorlearn.tables import Column, Table
from motorlearn.trials.checking.problems import place, problem_counts, summary
from motorlearn.vocabulary import SEVERITIES

_HEADS = {"error": "Errors: must be mended", "doubt": "Doubts: please look", "note": "Notes"}
_SIGNS = {"error": "✖", "doubt": "?", "note": "·"}
_STYLE = """
body{font:16px/1.5 system-ui,sans-serif;max-width:60rem;margin:2rem auto;padding:0 1rem;
color:#1a1a1a;background:#fff}
table{border-collapse:collapse;table-layout:fixed;width:100%;margin:.5rem 0}
th,td{text-align:left;padding:.2rem .6rem;border-bottom:1px solid #767676;vertical-align:top;
overflow-wrap:anywhere;width:34%}
th:nth-child(2){width:22%}
th:nth-child(3){width:44%}
details{margin:.6rem 0;border:1px solid #767676;border-radius:.3rem;padding:.4rem .8rem}
summary{cursor:pointer;font-weight:600}
"""
MADE_HERE = '<meta name="generator" content="motorlearn">'
"""What stands in a page of problems and shows that it may be written anew."""
_MOST_LISTED = 200


def problem_table(problems: pd.DataFrame) -> Table:
    """Show problems grouped by rule with their number, first places and advice."""
    columns = (
        Column("severity", "severity"),
        Column("rule", "rule"),
        Column("count", "cells", "count"),
        Column("places", "first places"),
        Column("advice", "advice"),
    )
    notes = (summary(problems),)
    return Table("problems", "Problems in the data", columns, problem_counts(problems), notes)


def problem_page(problems: pd.DataFrame, *, title: str = "Problems in the data") -> str:
    """Write problems as one HTML page that opens offline and runs no script.

    Each rule is a part that opens; it lists up to 200 of its cells and says how many more there
    are. The full list belongs in a CSV beside the page.
    """
    parts = [f"<p>{html.escape(summary(problems) if len(problems) else 'No problems found.')}</p>"]
    for severity in SEVERITIES:
        here = problems[problems["severity"] == severity]
        if len(here):
            parts.append(f"<h2>{_SIGNS[severity]} {_HEADS[severity]}</h2>")
            counts = here["rule"].value_counts()
            parts += [_rule_part(str(rule), here[here["rule"] == rule]) for rule in counts.index]
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        f'<meta name="viewport" content="width=device-width">{MADE_HERE}'
        f"<title>{html.escape(title)}</title><style>{_STYLE}</style></head>"
        f"<body><h1>{html.escape(title)}</h1>{''.join(parts)}</body></html>\n"
    )


def _rule_part(rule: str, problems: pd.DataFrame) -> str:
    listed = problems.head(_MOST_LISTED)
    rows = "".join(
        f"<tr><td>{html.escape(place(problem))}</td><td>{html.escape(str(problem['value']))}</td>"
        f"<td>{html.escape(str(problem['advice']))}</td></tr>"
        for _, problem in listed.iterrows()
    )
    more = len(problems) - len(listed)
    rest = f"<p>and {more} more</p>" if more else ""
    cells = f"{len(problems)} cell{'s' if len(problems) > 1 else ''}"
    return (
        f"<details><summary>{html.escape(rule)}: {cells}</summary><table>"
        '<thead><tr><th scope="col">place</th><th scope="col">value</th>'
        f'<th scope="col">advice</th></tr></thead><tbody>{rows}</tbody></table>{rest}</details>'
    )
