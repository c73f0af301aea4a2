"""How one study speaks about one outcome: its unit, its decimals, the names of its tests."""

import math
from dataclasses import dataclass

import pandas as pd

from motorlearn import digits
from motorlearn.design import Design, Outcome, Test
from motorlearn.vocabulary import DELAYED_PHASES, PHASE_LABELS


@dataclass(frozen=True)
class Words:
    """A caption and the alternative text of the same figure."""

    caption: str
    alt: str


def decimals_for(spread: float) -> int:
    """Decimals that suit scores with this standard deviation: the last place is about a fifteenth.

    Examples
    --------
    >>> decimals_for(5.8), decimals_for(1.1), decimals_for(0.15), decimals_for(40)
    (1, 2, 2, 0)
    """
    if not (math.isfinite(spread) and spread > 0):
        return 2
    return min(4, max(0, math.ceil(-math.log10(spread / 15))))


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
        return self.outcome.label or self.outcome.name.replace("_", " ")

    @property
    def unit(self) -> str:
        """The unit with the space before it, empty where there is none."""
        return f" {self.outcome.unit}" if self.outcome.unit else ""

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

    def test(self, phase: str) -> Test | None:
        """Find the first test of a phase in the plan."""
        return next((test for test in self.design.tests if test.phase == phase), None)

    def at(self, phase: str) -> str:
        """Name a phase as a sentence does, for example ``the pretest``."""
        if phase == "acquisition":
            return "practice (acquisition)"
        label = PHASE_LABELS.get(phase, phase).lower()
        label = label.split(" (")[0].removesuffix(" test")
        test = self.test(phase)
        days = test.interval_days if test else None
        gap = f" ({count(days, 'day')} after the last practice)" if days else ""
        return f"the {label} test{gap}" if phase != "pretest" else "the pretest"


def count(number: float, noun: str) -> str:
    """Write a number with its noun in the right form.

    Examples
    --------
    >>> count(1, "day"), count(7.0, "day"), count(3, "trial")
    ('1 day', '7 days', '3 trials')
    """
    written = f"{number:g}"
    return f"{written} {noun}" if written == "1" else f"{written} {noun}s"


def listed(items: list[str], last: str = "and") -> str:
    """Join words as a sentence does.

    Examples
    --------
    >>> listed(["blocked", "serial", "random"])
    'blocked, serial and random'
    """
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"


def is_delayed(phase: str) -> bool:
    """Whether a test of this phase can speak about more than performance."""
    return phase in DELAYED_PHASES


def capitalised(text: str) -> str:
    """Write the first letter large and leave the rest."""
    return text[:1].upper() + text[1:]
