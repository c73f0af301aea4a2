"""Tables of the glossary: measures and columns, from the definitions the code itself uses."""

from pathlib import Path

import pandas as pd

from motorlearn.measures import CARDS
from motorlearn.tables import Column, Table, to_markdown
from motorlearn.vocabulary import COLUMNS, PHASE_LABELS


def write(folder: Path) -> None:
    """Write the tables of measures and columns."""
    measures = pd.DataFrame(
        [
            (
                card.label,
                f"`{card.name}`",
                f"`{card.equation}`",
                card.better,
                card.divisor,
                card.source,
            )
            for card in CARDS.values()
        ],
        columns=["measure", "column", "equation", "better", "divisor", "source"],
    )
    columns = pd.DataFrame(
        [(f"`{entry.name}`", entry.meaning, entry.kind) for entry in COLUMNS.values()],
        columns=["column", "meaning", "kind"],
    )
    phases = pd.DataFrame(
        [(f"`{name}`", label) for name, label in PHASE_LABELS.items()], columns=["phase", "label"]
    )
    (folder / "measures.md").write_text(_page("Measures", measures), encoding="utf-8")
    both = _page("Standard columns", columns) + "\n" + _page("Phases", phases)
    (folder / "columns.md").write_text(both, encoding="utf-8")


def _page(title: str, rows: pd.DataFrame) -> str:
    shown = tuple(Column(name) for name in rows.columns)
    return to_markdown(Table(title.lower().replace(" ", "-"), title, shown, rows)) + "\n"
