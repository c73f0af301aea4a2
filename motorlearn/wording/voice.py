"""How one study speaks about one outcome: its unit, its decimals, the names of its tests."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from motorlearn import digits
from motorlearn.design import Design, Outcome, Stage, stages_of, standard_stage
from motorlearn.vocabulary import PRACTICE_PHASE


@dataclass(frozen=True)
class Words:
    """A caption and the alternative text of the same figure."""

    caption: str
    alt: str


def decimals_for(spread: float) -> int:
    """Decimals that suit scores with this standard deviation: the last place is at most 1/15.

    Examples
    --------
    >>> decimals_for(5.8), decimals_for(1.1), decimals_for(0.15), decimals_for(40)
    (1, 2, 2, 0)
    """
    if not (math.isfinite(spread) and spread > 0):
        return 2
    return min(4, max(0, math.ceil(-math.log10(spread / 15))))


def arm_of(design: Design) -> str:
    """What a plan compares: a group of people, or a condition that everybody meets."""
    return "group" if design.within is None else "condition"


@dataclass(frozen=True)
class Voice:
    """Everything a sentence needs to know beyond the result itself.

    Parameters
    ----------
    design : Design
        The plan.
    outcome : Outcome
        The score the sentences are about.
    decimals : int
        Decimals of raw scores.
    decimal : str
        Decimal sign.
    """

    design: Design
    outcome: Outcome
    decimals: int = 2
    decimal: str = "."

    @property
    def name(self) -> str:
        """The outcome in words."""
        return self.outcome.words

    @property
    def unit(self) -> str:
        """The unit with the space before it, empty where there is none."""
        return f" {self.outcome.unit}" if self.outcome.unit else ""

    @property
    def one(self) -> str:
        """What is analysed: a participant, or the mean of a class that was allocated."""
        unit = self.design.allocation.clusters
        return "participant" if unit is None else f"{unit} mean"

    def sizes(self, row: Mapping[Any, Any]) -> str:
        """People behind a contrast: of each group, or those who met both conditions."""
        if self.design.within is not None:
            return f"{int(row['n_group'])}"
        return f"{int(row['n_group'])} + {int(row['n_reference'])}"

    @property
    def scores(self) -> str:
        """What group means are means of."""
        return "participants' scores" if self.one == "participant" else f"{self.one}s"

    @property
    def several(self) -> str:
        """What is compared, in the plural."""
        return f"{self.arm}s"

    @property
    def arm(self) -> str:
        """What is compared, in the singular."""
        return arm_of(self.design)

    @property
    def was(self) -> str:
        """The verb that goes with the name of the outcome."""
        return "were" if self.outcome.plural else "was"

    def share(self, value: float) -> str:
        """Write a share of variance."""
        return digits.share(value, decimal=self.decimal)

    def share_clause(self, value: float) -> str:
        """Write ``= .042`` or ``< .001`` behind the name of a share of variance."""
        return digits.share_clause(value, decimal=self.decimal)

    def number(self, value: float, decimals: int | None = None) -> str:
        """Write a raw score."""
        places = self.decimals if decimals is None else decimals
        return digits.number(value, places, decimal=self.decimal)

    def measured(self, value: float) -> str:
        """Write a raw score with its unit."""
        return self.number(value) + self.unit

    def span(self, low: float, high: float, decimals: int | None = None) -> str:
        """Write ``95 % CI low to high``."""
        places = self.decimals if decimals is None else decimals
        return f"95 % CI {digits.interval(low, high, places, decimal=self.decimal)}"

    def p(self, value: float) -> str:
        """Write ``p = .042``."""
        return digits.p_clause(value, decimal=self.decimal)

    def df(self, value: float) -> str:
        """Write degrees of freedom."""
        return digits.degrees_of_freedom(value, decimal=self.decimal)

    def t(self, row: pd.Series) -> str:
        """Write ``t(66) = 2.10, p = .039``."""
        statistic = self.number(row["statistic"], 2)
        return f"t({self.df(row['df'])}) = {statistic}, {self.p(row['p'])}"

    def stage(self, name: str) -> Stage:
        """Find a stage of the study by the name it has in tables."""
        for stage in stages_of(self.design):
            if name in (stage.name, stage.phase):
                return stage
        return standard_stage(name)

    def label(self, name: str) -> str:
        """Name of a stage as a heading has it."""
        return self.stage(name).label

    def short(self, name: str) -> str:
        """Name of a stage as a table or an axis has it."""
        return self.stage(name).short

    def is_delayed(self, name: str) -> bool:
        """Whether a stage can speak about more than performance."""
        return self.stage(name).is_delayed

    def at(self, name: str) -> str:
        """Name a stage as a sentence does, for example ``the pretest``."""
        stage = self.stage(name)
        days = stage.test.interval_days if stage.test and stage.phase != "pretest" else None
        return stage.spoken + (f" ({digits.lapse(days)} after the last practice)" if days else "")

    def during(self, name: str) -> str:
        """Name a stage with its preposition: ``at the pretest``, ``during practice``."""
        where = self.at(name)
        return f"during {where}" if self.stage(name).phase == PRACTICE_PHASE else f"at {where}"


def listed(items: Sequence[str], last: str = "and") -> str:
    """Join words as a sentence does.

    Examples
    --------
    >>> listed(["blocked", "serial", "random"])
    'blocked, serial and random'
    """
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"
