"""The choices of a comparison, checked once."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np

from motorlearn.compare.bounds import UNITS
from motorlearn.compare.participants import PhaseScores
from motorlearn.exceptions import InputError, RefusedError
from motorlearn.linear.ancova import VARIANCES
from motorlearn.linear.factorial import KINDS
from motorlearn.measures.cards import better_direction
from motorlearn.vocabulary import BETTER

CHOICES = {
    "pairs": ("reference", "all"),
    "effect": ("difference", "ratio"),
    "adjust": ("holm", "none"),
    "equivalence_unit": UNITS,
    "route": ("ancova", "mixed"),
    "variance": VARIANCES,
    "squares": KINDS,
}


@dataclass(frozen=True)
class Options:
    """Options of :func:`motorlearn.compare.compare_phases`; see there for what they mean."""

    baseline: Hashable | None
    reference: Hashable | None
    pairs: str
    effect: str
    better: str | None
    level: float
    adjust: str
    family: Sequence[Hashable] | None
    equivalence: float | None
    equivalence_unit: str
    unit: str
    route: str
    variance: str = "equal"
    squares: str = "III"
    covariates: Sequence[str] = ()
    anova_phases: Sequence[Hashable] | None = None

    def __post_init__(self) -> None:
        for option, choices in CHOICES.items():
            if getattr(self, option) not in choices:
                raise InputError(
                    f"option {option!r} has no such choice",
                    [getattr(self, option)],
                    "use " + " or ".join(repr(choice) for choice in choices),
                )
        if not 0 < self.level < 1:
            raise InputError(
                "a confidence level lies between 0 and 1", [self.level], "use for example 0.95"
            )
        if self.better is not None and self.better not in BETTER:
            raise InputError("'better' must be 'lower' or 'higher'", [self.better])
        _check_bound(self.equivalence, self.effect == "ratio" and self.equivalence_unit == "score")

    def check_against(self, data: PhaseScores) -> None:
        """Refuse what these scores cannot carry."""
        _check_level("baseline", [self.baseline], data.phases)
        _check_level("reference", [self.reference], data.groups)
        _check_level("family", self.family or (), data.phases)
        _check_level("anova_phases", self.anova_phases or (), data.phases)
        if self.effect == "ratio":
            _refuse_logarithms(data)

    def contrasts(self, groups: Sequence[Hashable]) -> tuple[tuple[Hashable, Hashable], ...]:
        """Pairs of group and reference that are compared."""
        if self.pairs == "all":
            return tuple((second, first) for first, second in combinations(groups, 2))
        base = groups[0] if self.reference is None else self.reference
        return tuple((name, base) for name in groups if name != base)

    def recorded(self, data: PhaseScores, outcome: str) -> dict[str, Any]:
        """Every option as it was used, for the recipe."""
        covariates = (self.covariates,) if isinstance(self.covariates, str) else self.covariates
        return vars(self) | {
            "phases": data.phases,
            "groups": data.groups,
            "reference": data.groups[0] if self.reference is None else self.reference,
            "better": self.better or better_direction(outcome),
            "anova_phases": tuple(
                name for name in data.phases if name in (self.anova_phases or data.phases)
            ),
            "family": None if self.family is None else tuple(self.family),
            "covariates": tuple(covariates),
        }


def checked_out_of(out_of: float | None, attempts: str | None) -> float | None:
    """The number that hits are told of, where hits are scored by attempts."""
    if out_of is None:
        return None
    if attempts is None or not 0 < out_of < np.inf:
        raise InputError(
            "hits are told as hits of a number above 0, with a column of attempts",
            [out_of],
            "for example attempts='attempts', out_of=20",
        )
    return float(out_of)


def _check_bound(bound: float | None, is_ratio: bool) -> None:
    if bound is not None and (not 0 < bound < np.inf or (is_ratio and bound == 1)):
        raise InputError(
            "the bound of equivalence must be positive and finite, and a ratio other than 1",
            [bound],
            "give the smallest effect of interest that was declared beforehand",
        )


def _check_level(
    option: str, values: Sequence[Hashable | None], known: tuple[Hashable, ...]
) -> None:
    unknown = [value for value in values if value is not None and value not in known]
    if unknown:
        raise InputError(
            f"{option} names something that the table does not hold",
            unknown,
            f"it holds {', '.join(map(str, known))}",
        )


def _refuse_logarithms(data: PhaseScores) -> None:
    people, places = np.nonzero(~np.isnan(data.scores) & ~(data.scores > 0))
    if people.size:
        which = sorted(
            {f"{data.participants[i]} at {data.phases[j]}" for i, j in zip(people, places)}
        )
        raise RefusedError(
            "a ratio needs scores above zero, and these are not: "
            + ", ".join(which[:5])
            + (f" and {len(which) - 5} more" if len(which) > 5 else "")
            + "; use effect='difference', or the mixed model for hits."
        )
