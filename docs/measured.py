"""Write every goal beside its result, from ``goals.csv`` and the stored tables.

    python docs/measured.py

prints the page; the documentation writes it whenever it is built.

A row of ``goals.csv`` names what was aimed at (``low``, ``high``), and where its result stands:
``source`` is ``FILE;COLUMN;CONDITION&CONDITION``. A column may be a sum (``1/ratio``,
``seconds*200``, ``seconds/pandas``), a ``mean`` weighted by ``studies``, or several joined by
``|``; a condition is ``column=text``, ``column~part`` (one of several joined by ``|``) or
``column!part``. Where the file or the row is not there, ``typed`` is shown: the last number that
was measured by hand. So the
benchmarks of a quiet machine stand in the page as soon as they have run.
"""

import csv
import re
import sys
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

HERE = Path(__file__).parent
ROOT = HERE.parent
KINDS = {True: "met", False: "**missed**", None: "–"}
HEAD = """Every goal beside its result. *met* says that all that was measured lies within the aim,
**missed** that some of it does not; where no aim was set the number stands alone. Speeds are ratios
to something else on the same machine wherever that is possible, because machines differ: "times
import pandas" counts in units of that one import. What was measured beside other work is said.
`docs/measured.py` writes this from the tables that benchmarks and simulations leave, and from
`docs/goals.csv`; why a goal is missed stands in `docs/misses.csv`.
"""
BESIDE = "Beside it R 4.2.2 with lme4 1.1-31, lmerTest 3.1-3, nlme 3.1-162, ordinal and glmmTMB."
WORST = 3


@dataclass(frozen=True)
class Goal:
    """One row: what, the aim and the smallest and largest result."""

    part: str
    aim: str
    low: float | None
    high: float | None
    unit: str
    found: tuple[float, float]
    how: str
    why: str = ""
    worked: str = ""

    @property
    def times_off(self) -> float:
        """How many times the result that is furthest away misses the aim; 1 where none does."""
        below = 1.0 if self.low is None else self.low / max(self.found[0], 1e-9)
        return max(1.0, below, 1.0 if self.high is None else self.found[1] / self.high)

    def missed(self) -> str:
        """A miss in one line, with its reason."""
        reason = f". {self.why[0].upper()}{self.why[1:]}." if self.why else ""
        return f"- {self.part}, {self.aim}: {self.cells()[2]} (aim: {self.wanted()}){reason}"

    @property
    def met(self) -> bool | None:
        """Whether all that was measured lies within the aim; None where there is none."""
        if self.low is None and self.high is None:
            return None
        above = self.low is None or self.found[0] >= self.low
        return above and (self.high is None or self.found[1] <= self.high)

    def cells(self) -> list[str]:
        """The row as text."""
        result = " to ".join(dict.fromkeys(number(value) for value in self.found))
        return [self.aim, self.wanted(), f"{result} {self.unit}", KINDS[self.met], self.how]

    def wanted(self) -> str:
        """The aim in words."""
        if self.low is not None and self.high is not None:
            both = dict.fromkeys((number(self.low), number(self.high)))
            return " to ".join(both)
        if self.low is not None:
            return f"at least {number(self.low)}"
        return "" if self.high is None else f"at most {number(self.high)}"


def number(value: float) -> str:
    """A number with three digits, thousands marked."""
    if value >= 1000:
        return f"{value:,.0f}"
    return f"{value:.4g}" if value >= 1 else f"{value:.3f}".rstrip("0").rstrip(".")


def bound(text: str) -> float | None:
    """A number, or None where the cell is empty."""
    return float(text) if text else None


def goal(row: dict[str, str]) -> Goal:
    """A row of the file with its result."""
    values = stored(row["source"]) or [float(part) for part in row["typed"].split(" to ")]
    span = (min(values), max(values))
    said = reasons().get((row["part"], row["aim"]), {})
    return Goal(
        row["part"],
        row["aim"],
        bound(row["low"]),
        bound(row["high"]),
        row["unit"],
        span,
        row["how"],
        said.get("why", ""),
        said.get("worked", ""),
    )


def stored(source: str) -> list[float]:
    """Results in a stored table; none where it does not hold them."""
    if not source:
        return []
    name, column, *asked = source.split(";")
    file = ROOT / name
    if not file.exists():
        return []
    with file.open(newline="", encoding="utf-8") as handle:
        rows = list(csv.DictReader(handle))
    unit = pandas_seconds(rows)
    conditions = asked[0].split("&") if asked and asked[0] else []
    rows = [row for row in rows if all(holds(row, condition) for condition in conditions)]
    if column.startswith("mean "):
        return [weighted(rows, column.removeprefix("mean "))] if rows else []
    parts = column.split("|")
    return [v for row in rows for part in parts if (v := value(row, part, unit)) is not None]


def holds(row: dict[str, str], condition: str) -> bool:
    """Whether a row fulfils ``column=text``, ``column~part|part`` or ``column!part``."""
    column, sign, text = re.fullmatch(r"(.+?)([=~!])(.*)", condition).groups()
    cell = row[column].replace(",", "")
    if sign == "=":
        return cell == text
    inside = any(part in cell for part in text.split("|"))
    return inside if sign == "~" else not inside


def value(row: dict[str, str], column: str, pandas: float) -> float | None:
    """A cell, or simple arithmetic with it."""
    if column == "1/ratio":
        return 1 / float(row["ratio"]) if row["ratio"] else None
    name, factor = re.fullmatch(r"([^*/]+)[*/]?(.*)", column).groups()
    cell = row[name].replace("%", "").strip()
    if not cell:
        return None
    plain = float(cell) / (100 if "%" in row[name] else 1)
    if factor == "pandas":
        return plain / pandas if pandas else None
    return plain * float(factor or 1)


def pandas_seconds(rows: list[dict[str, str]]) -> float:
    """Seconds of ``import pandas`` in the run that a table keeps."""
    taken = [r for r in rows if r.get("action") == "import motorlearn" and r.get("ratio")]
    return float(taken[0]["seconds"]) * float(taken[0]["ratio"]) if taken else 0.0


def weighted(rows: list[dict[str, str]], column: str) -> float:
    """Mean over rows, by their number of studies."""
    studies = [float(row["studies"]) for row in rows]
    return sum(float(r[column]) * n for r, n in zip(rows, studies)) / sum(studies)


def table(goals: list[Goal]) -> list[str]:
    """Goals as a table in Markdown."""
    head = ["what", "aimed at", "measured", "", "how"]
    lines = [head, ["---"] * len(head), *(g.cells() for g in goals)]
    return ["| " + " | ".join(cells) + " |" for cells in lines]


def machine() -> str:
    """Where the benchmarks ran."""
    kept = ROOT / "tests" / "benchmarks" / "measured.csv"
    if kept.exists():
        with kept.open(newline="", encoding="utf-8") as handle:
            said = {row["machine"]: None for row in csv.DictReader(handle)}
        told = [f"{entry.removeprefix('machine: ')}." for entry in said]
        return " ".join([*told, BESIDE])
    return (
        "Two cores of an Intel Xeon, 23 GiB, Linux, linear algebra on one thread; Python 3.11, "
        f"numpy 2.4, scipy 1.17, pandas 3.0, statsmodels 0.15, matplotlib 3.11. {BESIDE}"
    )


def reasons() -> dict[tuple[str, str], dict[str, str]]:
    """Why goals are missed and what was tried again, by part and aim."""
    with (HERE / "misses.csv").open(newline="", encoding="utf-8") as handle:
        return {(row["part"], row["aim"]): row for row in csv.DictReader(handle)}


def worst(missed: list[Goal]) -> list[str]:
    """The misses furthest from their aim, with what was done about them."""
    far = sorted(missed, key=lambda entry: -entry.times_off)[:WORST]
    return [
        f"{place}. {g.part}, {g.aim}, {number(g.times_off)} times off"
        + (f": {g.worked}." if g.worked else ".")
        for place, g in enumerate(far, 1)
    ]


def page(goals: list[Goal]) -> str:
    """The whole page."""
    aimed = [entry for entry in goals if entry.met is not None]
    missed = [entry for entry in aimed if not entry.met]
    lines = [
        HEAD,
        f"**Machine.** {machine()}\n",
        f"**Of {len(aimed)} goals {len(aimed) - len(missed)} are met and {len(missed)} missed:**\n",
        *(g.missed() for g in missed),
        "\n**Furthest from their aim, and worked on again:**\n",
        *worst(missed),
    ]
    for part, members in groupby(goals, key=lambda entry: entry.part):
        lines += ["", f"## {part}", "", *table(list(members))]
    return "\n".join(lines) + "\n"


def write(target: Path | None = None) -> str:
    """Read the goals and write the page."""
    with (HERE / "goals.csv").open(newline="", encoding="utf-8") as handle:
        text = page([goal(row) for row in csv.DictReader(handle)])
    if target is not None:
        target.write_text(text, encoding="utf-8")
    return text


if __name__ == "__main__":
    sys.stdout.write(write())
