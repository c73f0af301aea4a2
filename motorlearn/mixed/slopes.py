"""Does a term that varies within people need a slope that the model does not have?

The scores of each person, u_i = X_i'W(y − Xβ̂ − Zb̂)/σ², give the covariance Φ (Σ u_i u_i') Φ of the
fixed effects that the people show, whatever the model says about them; where it is clearly larger
than the model's own Φ, the model's tests of that effect reject too often.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from motorlearn.digits import percent
from motorlearn.mixed.formula.designs import Design, RandomPart
from motorlearn.mixed.formula.formulas import split_term
from motorlearn.mixed.formula.matrices import names_in_words
from motorlearn.mixed.solve.engine import Solution
from motorlearn.mixed.solving import Options

Array = NDArray[np.float64]

FEWEST_LEVELS = 6
MOST_LEVELS = 3000
CLEARLY = 1.1
"""Ratio of standard errors from which a nominal 5 % test errs in more than 7.5 %."""


@dataclass(frozen=True)
class MissingSlope:
    """An effect whose standard error ignores how people differ in it."""

    column: int
    group: str
    ratio: float

    @property
    def size(self) -> float:
        """True rate of the nominal 5 % test, with normal errors and many people."""
        return float(2 * stats.norm.sf(stats.norm.isf(0.025) / self.ratio))


def missing_slopes(
    design: Design, observed: Array, solution: Solution, options: Options
) -> list[MissingSlope]:
    """Effects without a slope whose standard error is clearly too small, the worst of each factor.

    Models whose residuals correlate or differ in spread, hits by other links than the logit, and
    factors of fewer than six levels are not looked at.
    """
    bent = options.family == "binomial" and options.link != "logit"
    if design.residual is not None or bent:
        return []
    score = _row_scores(design, observed, solution, options)
    found = []
    for part in design.random:
        if ":" in part.group or not FEWEST_LEVELS <= len(part.levels) <= MOST_LEVELS:
            continue
        others = [other for other in design.random if other is not part]
        worst = _worst(design, part, others, score, solution.vcov)
        if worst is not None:
            found.append(worst)
    return found


def _row_scores(design: Design, observed: Array, solution: Solution, options: Options) -> Array:
    """Derivative of the conditional log likelihood in the linear predictor of each cell."""
    eta = design.x @ solution.beta
    for part, modes in zip(design.random, solution.modes, strict=True):
        eta = eta + np.sum(part.z * modes[part.index], axis=1)
    likelihood = options.likelihood(design)
    if likelihood is None:
        weight = np.bincount(design.cell, design.weight, len(eta))
        total = np.bincount(design.cell, observed * design.weight, len(eta))
        return (total - weight * eta) / solution.sigma**2
    rows = (eta + design.offset)[design.cell]
    pair = observed[None], design.weight[None]
    slope = likelihood.rows(rows[None], *pair, solution.extra[None])[1][0]
    return np.bincount(design.cell, slope, len(eta)).astype(float)


def _worst(
    design: Design, part: RandomPart, others: list[RandomPart], score: Array, phi: Array
) -> MissingSlope | None:
    columns = [j for j in range(design.x.shape[1]) if _lacks_slope(design.x[:, j], part)]
    columns = [j for j in columns if not any(_follows(design.x[:, j], other) for other in others)]
    own = np.diag(phi)
    columns = [j for j in columns if np.isfinite(own[j]) and own[j] > 0]
    levels = len(part.levels)
    between = _between_rank(design.x, part)
    spare = levels - between
    if not columns or spare < 3:
        return None
    scores = np.zeros((levels, design.x.shape[1]))
    np.add.at(scores, part.index, design.x * score[:, None])
    moved = scores @ phi
    shown = np.sum(moved**2, axis=0) * levels / spare
    ratios = np.sqrt(shown[columns] / own[columns])
    place = int(np.argmax(ratios))
    bar = np.sqrt(stats.chi2.isf(0.05, spare) / spare)
    if not ratios[place] > max(CLEARLY, bar):
        return None
    return MissingSlope(columns[place], part.group, float(ratios[place]))


def _lacks_slope(x: Array, part: RandomPart) -> bool:
    """Whether a column changes within levels in a way that the random terms do not follow."""
    scale = max(float(np.abs(x).max()), 1e-300)
    order = np.argsort(part.index, kind="stable")
    starts = np.flatnonzero(np.diff(part.index[order], prepend=-1))
    sorted_x = x[order]
    width = np.maximum.reduceat(sorted_x, starts) - np.minimum.reduceat(sorted_x, starts)
    ends = np.append(starts[1:], len(x))
    for level in np.flatnonzero(width > 1e-9 * scale):
        rows = order[starts[level] : ends[level]]
        z = part.z[rows]
        rest = x[rows] - z @ np.linalg.lstsq(z, x[rows])[0]
        if np.abs(rest).max() > 1e-7 * scale:
            return True
    return False


def _follows(x: Array, part: RandomPart) -> bool:
    """Whether a column is the same in all rows of each level, so that its error is that of levels.

    An effect of items is known no better than the items; how persons differ in it adds little.
    """
    total = np.bincount(part.index, x) / np.bincount(part.index)
    return bool(np.ptp(x) > 0 and np.allclose(x, total[part.index]))


def _between_rank(x: Array, part: RandomPart) -> int:
    """Number of fixed effects that tell levels apart."""
    counts = np.bincount(part.index, minlength=len(part.levels))
    means = np.array([np.bincount(part.index, column) / counts for column in x.T]).T
    return int(np.linalg.matrix_rank(means))


def slopes_in_words(
    found: list[MissingSlope], design: Design, solution: Solution, n: int
) -> list[str]:
    """Sentences with the numbers and the remedy."""
    out = []
    for one in found:
        (name,) = names_in_words([design.fixed.columns[one.column]], [design.fixed])
        term = design.fixed.assigned[one.column]
        error = float(np.sqrt(solution.vcov[one.column, one.column]))
        part = next(part for part in design.random if part.group == one.group)
        slope = ":".join(sorted(_within_factors(term, design, part))) or term
        effects = len(part.levels) * (len(part.terms) + _columns_of(slope, design))
        remedy = f"add the slope, for example random={{{one.group!r}: '1 + {slope}'}}"
        if effects >= n:
            remedy = (
                f"use random={{{one.group!r}: '0'}}, variance={slope!r}, "
                f"correlation='unstructured', within={slope!r} and df='kenward-roger'"
            )
        out.append(
            f"Levels of {one.group!r} differ in the effect of {name} by more than this model "
            f"allows for: its standard error is {error:.3g} and would be about "
            f"{one.ratio * error:.3g}, so that its 5 % test errs in about {percent(one.size)} of "
            f"studies; {remedy}."
        )
    return out


def _within_factors(term: str, design: Design, part: RandomPart) -> list[str]:
    names = []
    for factor in split_term(term):
        own = [j for j, t in enumerate(design.fixed.assigned) if split_term(t) == {factor}]
        if not own or any(_lacks_slope(design.x[:, j], part) for j in own):
            names.append(factor)
    return names


def _columns_of(slope: str, design: Design) -> int:
    wanted = split_term(slope)
    return max(1, sum(split_term(term) == wanted for term in design.fixed.assigned))
