"""Tables of the glossary: measures and columns, from the definitions the code itself uses."""

from pathlib import Path

import pandas as pd

from motorlearn.audit.guides import GUIDES
from motorlearn.measures import CARDS
from motorlearn.tables import Column, Table, to_markdown
from motorlearn.vocabulary import COLUMNS, PHASE_LABELS


def write(folder: Path) -> None:
    """Write the tables of measures, columns and thresholds."""
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
    (folder / "guides.md").write_text(_page("Thresholds", _guides()), encoding="utf-8")


def _guides() -> pd.DataFrame:
    """Every threshold with where it comes from and whether that was read."""
    rows = [
        (
            f"`{guide.name}`",
            guide.words,
            _beyond(guide.look, guide.high_is_bad),
            _beyond(guide.act, guide.high_is_bad),
            f"{guide.reference}{_address(guide.doi)}",
        )
        for guide in GUIDES.values()
    ]
    names = ["name", "number that is judged", "look", "act", "source (status)"]
    return pd.DataFrame(rows, columns=names)


def _address(doi: str) -> str:
    return f" [doi:{doi}](https://doi.org/{doi})" if doi else ""


def _beyond(threshold: float | None, high_is_bad: bool) -> str:
    """Where a grade begins: ``above 0.5``."""
    if threshold is None:
        return "–"
    return f"{'above' if high_is_bad else 'below'} {threshold:g}"


def _page(title: str, rows: pd.DataFrame) -> str:
    shown = tuple(Column(name) for name in rows.columns)
    return to_markdown(Table(title.lower().replace(" ", "-"), title, shown, rows)) + "\n"
