"""What few people and unequal spread of groups do to the tests that stand beside."""

from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from motorlearn.compare.between import Adjusted, Comparing
from motorlearn.compare.limits import Limit
from motorlearn.vocabulary import PRACTICE_PHASE

OFTEN, RARELY = 0.10, 0.02
"""Estimated rates of a nominal 5 % test outside which it is told; a test of 5 % that errs in 2 or
in 10 % of studies (common practice, no source)."""
FEW = 8


@dataclass(frozen=True)
class PooledRate:
    """How often a 5 % test that pools the spread of groups errs where they have their own."""

    phase: str
    group: str
    reference: str
    sizes: tuple[int, int]
    sds: tuple[float, float]
    rate: float


def pooled_rate(
    pooled: tuple[float, float], own: tuple[float, float], level: float = 0.05
) -> float:
    """Rate of the nominal test whose standard error and df are ``pooled`` but should be ``own``.

    ``2 P(t_own > t_pooled(1 − level/2) · SE_pooled / SE_own)``.

    Examples
    --------
    >>> round(pooled_rate((1.0, 38), (1.0, 38)), 3), round(pooled_rate((1.0, 38), (1.6, 10)), 2)
    (0.05, 0.23)
    """
    limit = stats.t.isf(level / 2, pooled[1]) * pooled[0] / own[0]
    return float(2 * stats.t.sf(limit, own[1]))


def pooled_rates(comparing: Comparing, adjusted: Sequence[Adjusted]) -> list[PooledRate]:
    """The rate at every test and pair of groups, as these scores and numbers of people tell it."""
    models = {one.phase: one for one in adjusted}
    out = []
    for phase in comparing.data.phases:
        if phase in (comparing.baseline, PRACTICE_PHASE):
            continue
        for group, reference in comparing.pairs:
            values = [comparing.of(name, comparing.at(phase)) for name in (group, reference)]
            if min(one.size for one in values) < 3 or min(np.ptp(one) for one in values) == 0:
                continue
            rate = _rate_of(comparing, models.get(phase), phase, (group, reference))
            sizes, sds = (values[0].size, values[1].size), [one.std(ddof=1) for one in values]
            if np.isfinite(rate):
                named = (str(phase), str(group), str(reference))
                out.append(PooledRate(*named, sizes, (float(sds[0]), float(sds[1])), rate))
    return out


def _rate_of(
    comparing: Comparing,
    adjusted: Adjusted | None,
    phase: Hashable,
    pair: tuple[Hashable, Hashable],
) -> float:
    if adjusted is not None and adjusted.model is not None:
        places = [adjusted.groups.index(name) for name in pair if name in adjusted.groups]
        if len(places) < 2:
            return float("nan")
        pooled, own = (
            adjusted.model.difference(*places, covariance=kind) for kind in ("ordinary", "by group")
        )
        return pooled_rate((pooled.std_error, pooled.df), (own.std_error, own.df))
    sd, df = comparing.spread(phase)
    one, two = (comparing.of(name, comparing.at(phase)) for name in pair)
    parts = np.array([one.var(ddof=1) / one.size, two.var(ddof=1) / two.size])
    own_df = parts.sum() ** 2 / np.sum(parts**2 / [one.size - 1, two.size - 1])
    error = sd * np.sqrt(1 / one.size + 1 / two.size)
    return pooled_rate((error, df), (float(np.sqrt(parts.sum())), float(own_df)))


def unequal_spread(
    comparing: Comparing, adjusted: Sequence[Adjusted], route: str
) -> Iterator[Limit]:
    """Where unequal spread of groups takes a test that pools it from its rate: the worst place."""
    if comparing.variance == "equal":
        ancova, mixed = bool(adjusted), route == "mixed"
        which = "both" if ancova and mixed else "ancova" if ancova else "mixed"
        if ancova or mixed:
            yield from _worst(comparing, adjusted, which)


def spread_still_pooled(comparing: Comparing) -> Iterator[Limit]:
    """The same for mixed models of hits or classes, which pool groups whatever was asked for."""
    if comparing.variance == "by group":
        yield from _worst(comparing, (), "mixed")


def _worst(comparing: Comparing, adjusted: Sequence[Adjusted], which: str) -> Iterator[Limit]:
    off = [one for one in pooled_rates(comparing, adjusted) if not RARELY <= one.rate <= OFTEN]
    if off:
        worst = max(off, key=lambda one: abs(np.log(max(one.rate, 1e-6) / 0.05)))
        names = (worst.phase, worst.group, worst.reference)
        pooled = next(
            comparing.spread(phase)[0]
            for phase in comparing.data.phases
            if str(phase) == worst.phase
        )
        values = (*worst.sds, pooled, worst.rate)
        yield Limit(f"unequal spread, {which}", names, worst.sizes, values=values)


def few_people(comparing: Comparing, hits: bool) -> Iterator[Limit]:
    """Where the mixed model has fewer people than it holds its rate with."""
    data = comparing.data
    sizes = np.bincount(data.codes, minlength=len(data.groups))
    if len(data.groups) < 2 or sizes.min() >= FEW:
        return
    if hits:
        yield Limit("few people, hits", of=FEW)
    elif np.isnan(data.scores).any():
        yield Limit("few people, missing tests", of=FEW)
