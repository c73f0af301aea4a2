"""Which look of a planned sequence the present analysis is, and what it may claim."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy import stats

from motorlearn.compare.crossing import JOINT
from motorlearn.design import Design, InterimPlan, people_planned
from motorlearn.exceptions import InputError
from motorlearn.linear import interim_boundaries, spent_by
from motorlearn.results import Recipe, Refused, Result, or_refused
from motorlearn.rows import Schema
from motorlearn.tables import Column, Table

LOOK = Schema(
    (
        Column("look", kind="count"),
        Column("people", kind="count"),
        Column("fraction", "information fraction", "number", decimals=3),
        Column("declared", kind="flag"),
        Column("state"),
        Column("spent", "error rate spent so far", "number", decimals=5),
        Column("z", "critical z", "number", decimals=4),
        Column("level", "nominal two-sided level", "number", decimals=5),
    )
)
TAKEN, PRESENT, TO_COME = "taken", "present", "to come"


@dataclass(frozen=True)
class InterimLook(Result):
    """The primary comparison at one look of a planned sequence.

    Parameters
    ----------
    looks : DataFrame
        One row per look: ``look, people, fraction, declared, state, spent, z, level``; ``state`` is
        ``taken``, ``present`` or ``to come``.
    number, people, planned : int
        Number of the present look, people with a primary score, people planned at the last look.
    fraction : float
        Share of the planned people.
    declared : bool
        Whether the present look was declared at this number of people.
    assumed : bool
        Whether earlier looks are taken to have been made as declared, since the plan lists none.
    final : bool
        Whether it spends all that is left.
    spending : str
        The spending function.
    overall, level : float
        Two-sided error rate of all looks together, and nominal level of this one.
    p : float
        p value of the primary comparison.
    crossed : bool
        Whether p lies below this look's level.
    estimate, conf_low, conf_high : float
        The primary estimate and its interval at this look's level, ``1 - level``.
    recipe : Recipe
        How it was made.
    """

    looks: pd.DataFrame = field(repr=False)
    number: int
    people: int
    planned: int
    fraction: float
    declared: bool
    assumed: bool
    final: bool
    spending: str
    overall: float
    level: float
    p: float
    crossed: bool
    estimate: float
    conf_low: float
    conf_high: float
    recipe: Recipe = field(repr=False)

    @property
    def declared_people(self) -> list[int]:
        """People at the looks that the plan declares."""
        return list(self.recipe.options["declared"])

    @property
    def undeclared(self) -> list[int]:
        """People at earlier looks that the plan does not declare."""
        earlier = self.looks[(self.looks["state"] == TAKEN) & ~self.looks["declared"]]
        return [int(n) for n in earlier["people"]]

    def tables(self) -> Sequence[Table]:
        """The looks."""
        note = (
            "The test holds its own p value against the nominal level, which carries the boundary "
            "over to t with few people."
        )
        return (LOOK.table("looks", "Looks at the primary comparison", self.looks, (note,)),)


def interim_of(design: Design, primary: pd.DataFrame) -> InterimLook | Refused | None:
    """The look that an analysis is; nothing where the plan declares none.

    Parameters
    ----------
    design : Design
        The plan.
    primary : DataFrame
        The primary row of a :class:`StudyAnalysis`.
    """
    return None if design.interim is None else _look(design, design.interim, primary.iloc[0])


@or_refused
def _look(design: Design, plan: InterimPlan, row: pd.Series) -> InterimLook:
    planned = people_planned(design)
    if planned is None or not np.isfinite(row["p"]):
        raise InputError("the primary comparison has no test yet, so no look can be taken")
    if row["effect"] == JOINT:
        raise InputError(
            "the boundaries of looks are those of one contrast, and the primary comparison is a "
            "joint test",
            remedy="name two levels in primary.levels, or take out [interim]",
        )
    people = int(row["n_group"] + (row["n_reference"] if len(design.groups) > 1 else 0))
    looks, number, final = planned_looks(plan, people, planned)
    here = looks.iloc[number - 1]
    level = float(here["level"])
    low, high = _interval(row, level)
    return InterimLook(
        looks=looks,
        number=number,
        people=people,
        planned=planned,
        fraction=people / planned,
        declared=bool(here["declared"]),
        assumed=not plan.taken and number > 1,
        final=final,
        spending=plan.spending,
        overall=plan.level,
        level=level,
        p=float(row["p"]),
        crossed=bool(row["p"] < level),
        estimate=float(row["estimate"]),
        conf_low=low,
        conf_high=high,
        recipe=Recipe(
            "interim_boundaries",
            {"outcome": str(row["outcome"])},
            {"fractions": plan.fractions, "declared": _declared(plan, planned)},
            n=people,
            engine="spending function; boundaries by recursive numerical integration",
        ),
    )


def _declared(plan: InterimPlan, planned: int) -> tuple[int, ...]:
    return tuple(round(share * planned) for share in plan.fractions)


def planned_looks(plan: InterimPlan, people: int, planned: int) -> tuple[pd.DataFrame, int, bool]:
    """Looks taken, the present one and those to come, with what each may spend.

    A look spends by the share of people it really had; the last one, or one that is said to be
    final, spends all that is left. Without a list of looks taken, the earlier ones are those
    declared.

    Returns
    -------
    looks : DataFrame
    number : int
        Number of the present look.
    final : bool
        Whether it is the last.
    """
    declared = _declared(plan, planned)
    past = [n for n in plan.taken or declared[:-1] if n < people]
    final = plan.final or people >= planned
    future = [] if final else [n for n in declared if n > people]
    counts = [*past, people, *future]
    shares = np.array(counts) / planned
    spent = spent_by(np.minimum(shares, 1.0), spending=plan.spending, level=plan.level)
    if final:
        spent[-1] = plan.level
    found = interim_boundaries(shares, spending=plan.spending, level=plan.level, spent=spent)
    at = len(past)
    rows = [
        LOOK.row(
            look=place + 1,
            people=n,
            fraction=shares[place],
            declared=n in declared or (n == people and people > planned),
            state=TAKEN if place < at else PRESENT if place == at else TO_COME,
            spent=spent[place],
            z=found.z[place],
            level=found.p[place],
        )
        for place, n in enumerate(counts)
    ]
    return LOOK.frame(rows), at + 1, final


def _interval(row: pd.Series, level: float) -> tuple[float, float]:
    """Interval of an estimate at another level, from the one of 95 % and its df."""
    is_ratio = row["effect"] == "ratio"
    ends = np.array([row["conf_low"], row["conf_high"]], dtype=float)
    low, high = np.log(ends) if is_ratio else ends
    middle = (low + high) / 2
    half = (high - low) / 2 * _quantile(level, row["df"]) / _quantile(0.05, row["df"])
    found = np.array([middle - half, middle + half])
    found = np.exp(found) if is_ratio else found
    return float(found[0]), float(found[1])


def _quantile(level: float, df: float) -> float:
    return float(stats.t.isf(level / 2, df) if np.isfinite(df) else stats.norm.isf(level / 2))
