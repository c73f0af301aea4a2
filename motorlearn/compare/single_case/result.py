"""What the analysis of single cases gives."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pandas as pd

from motorlearn.design.randomisation import Randomisation
from motorlearn.measures.single_case import Randomised
from motorlearn.results import Recipe, Refused, Result, register_record
from motorlearn.rows import Schema
from motorlearn.tables import Column, Table

register_record(Randomisation)
register_record(Randomised)

_LOW = Column("conf_low", "lower", "significant", decimals=3)
_HIGH = Column("conf_high", "upper", "significant", decimals=3)
SESSIONS = Schema(
    (
        Column("case"),
        Column("session", kind="count"),
        Column("phase", kind="count"),
        Column("condition"),
        Column("score", kind="significant", decimals=4),
        Column("n_trials", "trials", "count"),
    )
)
PHASES = Schema(
    (
        Column("case"),
        Column("phase", kind="count"),
        Column("condition"),
        Column("n", "sessions", "count"),
        Column("first", kind="count"),
        Column("last", kind="count"),
        Column("mean", "level (mean)", "significant", decimals=4),
        Column("median", "median", "significant", decimals=4),
        Column("slope", "trend a session", "significant", decimals=3),
        Column("sd", "variability (SD)", "significant", decimals=3),
    )
)
ESTIMATES = Schema(
    (
        Column("case"),
        Column("index"),
        Column("estimate", kind="significant", decimals=3),
        _LOW,
        _HIGH,
        Column("n_a", "sessions A", "count"),
        Column("n_b", "sessions B", "count"),
        Column("reason"),
    ),
    shown=("case", "index", "estimate", "conf_low", "conf_high", "n_a", "n_b"),
)
NEIGHBOURS = Schema(
    (
        Column("case"),
        Column("lag_one", "lag-1 correlation", "number"),
        Column("bias", "bias expected", "number"),
        Column("corrected", "corrected", "number"),
        Column("pairs", "pairs of sessions", "count"),
        Column("inflation", "factor of the variance", "number"),
    )
)
SUMMARY = Schema(
    (
        Column("estimate", "mean difference", "significant", decimals=3),
        _LOW,
        _HIGH,
        Column("df", kind="df"),
        Column("sd_between", "SD between athletes", "significant", decimals=3),
        Column("cases", "athletes", "count"),
    )
)


@dataclass(frozen=True)
class SingleCase(Result):
    """One athlete to five under two conditions, A and B.

    Attributes
    ----------
    outcome, unit, better : str
        The score, its unit, which direction is better.
    design : str
        ``AB``, ``ABAB``, ``multiple baseline`` or ``alternating``.
    conditions : tuple of (str, str)
        Names of A and B; differences are B minus A.
    sessions : DataFrame
        ``case, session, phase, condition, score, n_trials``: one row per case and session.
    phases : DataFrame
        ``case, phase, condition, n, first, last, mean, median, slope, sd``: level, trend and
        variability of every phase (of an alternation: of every condition).
    estimates : DataFrame
        ``case, index, estimate, conf_low, conf_high, n_a, n_b, reason``: ``difference`` (mean B
        minus mean A, in the unit of the score), ``NAP`` and ``Tau-U`` (both greater where B is
        better); of ABAB, A and the B that follows it are compared and pooled.
    neighbours : DataFrame
        ``case, lag_one, bias, corrected, pairs, inflation``: serial dependence.
    test : Randomised or Refused
        Randomisation test of all cases together, or why there is none.
    summary : DataFrame or Refused
        ``estimate, conf_low, conf_high, df, sd_between, cases``: mean difference over athletes by
        a hierarchical model; refused for one case.
    shrunken : DataFrame
        ``case, estimate, weight``: each case's difference drawn towards the mean; empty for one.
    draw : Randomisation or None
        How conditions were drawn; None where nothing was.
    statements : tuple of str
        What this study cannot show.
    recipe : Recipe
        How it was made.
    """

    outcome: str
    unit: str
    better: str
    design: str
    conditions: tuple[str, str]
    sessions: pd.DataFrame = field(repr=False)
    phases: pd.DataFrame = field(repr=False)
    estimates: pd.DataFrame
    neighbours: pd.DataFrame
    test: Randomised | Refused
    summary: pd.DataFrame | Refused
    shrunken: pd.DataFrame
    draw: Randomisation | None
    statements: tuple[str, ...]
    recipe: Recipe = field(repr=False)

    @property
    def cases(self) -> list[str]:
        """Athletes, or skills of an athlete, in the order of the table."""
        return list(dict.fromkeys(self.sessions["case"]))

    def of(self, case: str, index: str) -> pd.Series:
        """One estimate of one case.

        Raises
        ------
        KeyError
            If there is no such case or index.
        """
        rows = self.estimates[self.estimates["case"] == case].set_index("index")
        row: pd.Series = rows.loc[index]
        return row

    def tables(self) -> Sequence[Table]:
        """Estimates, phases, serial dependence, the randomisation test, the summary."""
        a, b = self.conditions
        where = f" ({self.unit})" if self.unit else ""
        notes = (f"Difference in {self.unit}.",) if self.unit else ()
        phases = f"Level, trend and variability of each phase{where}"
        found = [
            ESTIMATES.table("estimates", f"Each case: {b} against {a}", self.estimates, notes),
            PHASES.table("phases", phases, self.phases),
            NEIGHBOURS.table("neighbours", "How alike neighbouring sessions are", self.neighbours),
        ]
        if isinstance(self.test, Randomised):
            found.append(TEST.table("test", f"Randomisation test{where}", test_frame(self.test)))
        if isinstance(self.summary, pd.DataFrame):
            found.append(SUMMARY.table("summary", "Over the athletes", self.summary))
        return tuple(found)


TEST = Schema(
    (
        Column("statistic", "mean difference", "significant", decimals=3),
        Column("p", "p", "p"),
        Column("smallest_p", "smallest p possible", "p"),
        Column("assignments", "assignments", "count"),
        Column("used", "looked at", "count"),
        Column("exact", kind="flag"),
    )
)


def test_frame(test: Randomised) -> pd.DataFrame:
    """A randomisation test as a frame of one row."""
    return TEST.frame([TEST.row(**{name: getattr(test, name) for name in TEST.names})])
