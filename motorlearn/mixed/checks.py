"""What is refused before a fit, and what is looked at again after it."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from motorlearn.exceptions import FitError
from motorlearn.mixed.formula.designs import Design, RandomPart
from motorlearn.mixed.formula.matrices import MatrixPlan, names_in_words
from motorlearn.mixed.inference.degrees_of_freedom import Inference
from motorlearn.mixed.responses import COUNTS, HITS, LINEAR
from motorlearn.mixed.separation import separated_columns, separation_in_words
from motorlearn.mixed.solve.engine import CONVERGED, Solution
from motorlearn.mixed.solve.likelihoods import MOST_EXTRA
from motorlearn.vocabulary import CROSSED, term_in_words

Array = NDArray[np.float64]

_SINGULAR = 1e-6
_PERFECT = 0.95
_NEGLIGIBLE = 1e-4
_AT_EDGE = MOST_EXTRA - 4


@dataclass(frozen=True)
class Verdict:
    """What the re-check of a fit found."""

    converged: bool
    singular: bool
    warnings: tuple[str, ...]
    message: str
    at_bound: tuple[str, ...]
    separated: tuple[int, ...] = ()


def refuse(design: Design, observed: Array, family: str) -> None:
    """Refuse data that cannot identify the model.

    Raises
    ------
    FitError
        With the columns, levels or counts that are the cause, and a remedy.
    """
    _refuse_few_levels(design)
    _refuse_constant(design, observed, family)
    _refuse_rank_deficient(design)
    _refuse_explained_levels(design)
    _refuse_too_many_effects(design, observed, family)


def _refuse_few_levels(design: Design) -> None:
    for part in design.random:
        if len(part.levels) < 2:
            raise FitError(
                f"the grouping factor {part.group!r} has the single level "
                f"{part.levels[0]!r}; a variance between levels needs at least two, so leave "
                "this random part out."
            )


def _refuse_constant(design: Design, observed: Array, family: str) -> None:
    share = observed / design.weight if family in HITS else observed
    if np.ptp(share) == 0 and _no_spread(share[0], family):
        raise FitError(
            f"the outcome is {share[0]:g} in every row, so there is nothing to model; "
            "check that the right column was named."
        )
    for column in _between_levels(design):
        inside = design.x[design.cell, column] != 0
        if not inside.any() or inside.all():
            continue
        values = share[inside]
        if np.ptp(values) == 0 and _no_spread(values[0], family, len(design.categories)):
            (told,) = names_in_words([design.fixed.columns[column]], [design.fixed])
            raise FitError(
                f"the outcome is {_as_given(values[0], design)} in every row where "
                f"{told!r} applies, so its effect has no standard error; "
                "leave this level out and describe it, or use an exact test."
            )


def _no_spread(value: float, family: str, categories: int = 0) -> bool:
    """Whether an outcome that is the same everywhere leaves nothing to judge an effect by."""
    if family in HITS:
        return value in (0.0, 1.0)
    if family in COUNTS:
        return value == 0.0
    return family != "ordinal" or value in (0.0, categories - 1.0)


def _as_given(value: float, design: Design) -> object:
    return design.categories[int(value)] if design.categories else f"{value:g}"


def _between_levels(design: Design) -> list[int]:
    """Columns of levels of a categorical main effect that never change within a participant."""
    main = max(design.random, key=lambda part: len(part.levels))
    found = []
    for column, term in enumerate(design.fixed.assigned):
        x = design.x[:, column]
        if term in design.fixed.levels and np.isin(x, (0.0, 1.0)).all():
            total = np.bincount(main.index, x)
            if np.isin(total / np.bincount(main.index), (0.0, 1.0)).all():
                found.append(column)
    return found


def _refuse_rank_deficient(design: Design) -> None:
    aliased = [design.fixed.columns[i] for i in aliased_columns(design.x)]
    if aliased:
        refuse_empty_cells(design.fixed, design.x, aliased)
        raise FitError(
            "the fixed part holds columns that follow from the others "
            f"({', '.join(names_in_words(aliased, [design.fixed]))}): "
            f"{_why_aliased(design, aliased)}."
        )
    for part in design.random:
        for block in part.blocks:
            terms = [part.terms[block[i]] for i in aliased_columns(part.z[:, block])]
            follow = names_in_words(terms, part.plans)
            if follow:
                raise FitError(
                    f"the random part of {part.group!r} holds terms that follow from the others "
                    f"({', '.join(follow)}), for example because they never change; take them out."
                )


def _why_aliased(design: Design, aliased: list[str]) -> str:
    constant = [name for name in aliased if name != "Intercept" and ":" not in name]
    constant = [n for n in constant if np.ptp(design.x[:, design.fixed.columns.index(n)]) == 0]
    if constant:
        told = ", ".join(names_in_words(constant, [design.fixed]))
        return f"{told} has the same value in every row; take it out of the formula"
    if any(":" in name for name in aliased):
        return "a combination of levels has no rows; take these terms out or merge levels"
    return "they say again what other terms say; take these terms out"


def refuse_empty_cells(plan: MatrixPlan, x: Array, aliased: Iterable[str]) -> None:
    """Name the combinations of levels without a row that make columns follow from others."""
    for column in aliased:
        if empty := _empty_cells(plan, x, column):
            crossed = CROSSED.join(name for name, _ in plan.parts()[column])
            raise FitError(
                f"no row has {'; '.join(empty)}, so {crossed} cannot be estimated; leave out the "
                f"rows of one of these levels, merge levels, or take {crossed} out of the formula."
            )


def _empty_cells(plan: MatrixPlan, x: Array, column: str) -> list[str]:
    """Combinations of levels without a row, of the factors that a column crosses."""
    parts = plan.parts()
    factors = [name for name, level in parts.get(column, ()) if level is not None]
    at = {own[0]: x[:, plan.columns.index(name)] for name, own in parts.items() if len(own) == 1}
    if len(factors) < 2 or any((name, plan.levels[name][-1]) not in at for name in factors):
        return []
    rows: dict[tuple[str, object], NDArray[np.bool_]] = {}
    for name in factors:
        first, *others = plan.levels[name]
        rows |= {(name, level): at[name, level] != 0 for level in others}
        rows[name, first] = ~np.any([rows[name, level] for level in others], axis=0)
    cells = product(*([(name, level) for level in plan.levels[name]] for name in factors))
    return [
        CROSSED.join(f"{name}: {level}" for name, level in cell)
        for cell in cells
        if not np.all([rows[place] for place in cell], axis=0).any()
    ]


def aliased_columns(x: Array) -> list[int]:
    """Columns that follow from those before them, found on columns without their means."""
    spread = np.ptp(x, axis=0)
    still = (spread == 0) & (x[0] != 0) if len(x) else np.zeros(x.shape[1], dtype=bool)
    constant = np.flatnonzero(still)
    size = np.linalg.norm(x, axis=0)
    centred = x - x.mean(axis=0) if len(constant) else x
    basis: list[Array] = []
    aliased = [int(i) for i in np.flatnonzero(size == 0)]
    for column in range(x.shape[1]):
        whole = np.linalg.norm(centred[:, column])
        if len(constant) and column == constant[0]:
            continue
        if not whole > 1e-13 * size[column]:
            aliased.append(column)
            continue
        vector = centred[:, column] / whole
        for _ in range(2):
            for known in basis:
                vector = vector - known * (known @ vector)
        rest = np.linalg.norm(vector)
        if rest < 1e-7:
            aliased.append(column)
        else:
            basis.append(vector / rest)
    return sorted(set(aliased))


def _refuse_explained_levels(design: Design) -> None:
    """Refuse levels that the fixed part tells apart: no variance between them is left."""
    for part in design.random:
        levels = len(part.levels)
        if levels > design.x.shape[1]:
            continue
        indicators = np.equal.outer(part.index, np.arange(levels)).astype(float)
        fitted = design.x @ np.linalg.lstsq(design.x, indicators, rcond=None)[0]
        if np.abs(indicators - fitted).max() < 1e-7:
            raise FitError(
                f"the fixed part tells all {levels} levels of {part.group!r} apart, so no variance "
                "between them can be estimated and differences between groups have no standard "
                "error; more levels in each group are needed, or describe the single cases."
            )


def _refuse_too_many_effects(design: Design, observed: Array, family: str) -> None:
    n = design.weight.sum() if family in HITS else len(observed)
    for part in design.random:
        effects = len(part.levels) * len(part.terms)
        if effects < n:
            continue
        if len(part.terms) == 1:
            raise FitError(
                f"there is one observation per level of {part.group!r} ({len(part.levels)} levels, "
                f"{n:g} observations), so its variance cannot be told from the residual; give "
                "repeated observations or fit a model without random effects."
            )
        told = ", ".join(names_in_words(part.terms, part.plans))
        raise FitError(
            f"the random part of {part.group!r} has {effects} effects "
            f"({told} for {len(part.levels)} levels) and there are only {n:g} observations; take "
            "random terms out."
        )
    if family in LINEAR and len(observed) <= design.x.shape[1]:
        raise FitError(
            f"there are {design.x.shape[1]} fixed effects and only {len(observed)} rows; take "
            "terms out of the formula."
        )


def examine(design: Design, observed: Array, solution: Solution, family: str) -> Verdict:
    """Look again at gradient, Hessian, variances and separation after a fit."""
    warnings: list[str] = []
    bounds: list[str] = []
    scaled = solution.scaled_psi
    for part, psi, own in zip(design.random, solution.psi, scaled, strict=True):
        _look_at_covariance(part, psi, own, solution, warnings, bounds)
    lowest = float(np.linalg.eigvalsh(solution.hessian)[0])
    curved = lowest > -1e-3 * max(1.0, float(np.abs(solution.hessian).max()))
    settled = solution.expected_decrease < CONVERGED
    if not (curved and settled):
        warnings.append(
            "The search did not settle at a minimum (expected further decrease of -2 log "
            f"likelihood {solution.expected_decrease:.2g}, lowest curvature {lowest:.2g}); do not "
            "trust these estimates, simplify the random part."
        )
    separated = separated_columns(design, observed, family)
    if separated:
        warnings.append(separation_in_words(design, separated, family))
    warnings += _spread_at_its_edge(solution, family)
    message = (
        f"{solution.iterations} iterations; expected further decrease of -2 log likelihood "
        f"{max(solution.expected_decrease, 0):.1e}; lowest curvature {lowest:.3g}"
    )
    converged = bool(curved and settled and not separated)
    at = (tuple(warnings), message, tuple(bounds), separated)
    return Verdict(converged, bool(bounds), *at)


def _look_at_covariance(
    part: RandomPart,
    psi: Array,
    scaled: Array,
    solution: Solution,
    warnings: list[str],
    bounds: list[str],
) -> None:
    scale = np.sqrt(np.mean(part.z**2, axis=0))
    words = names_in_words(part.terms, part.plans)
    of = term_in_words(part.group)
    unit = solution.sigma**2 if np.isfinite(solution.sigma) else 1.0
    relative = psi * np.outer(scale, scale) / unit
    for i, term in enumerate(part.terms):
        if relative[i, i] < _SINGULAR:
            bounds.append(f"variance of {term} by {part.group}")
            warnings.append(
                f"Singular fit: the variance of {words[i]} by {of} is "
                "estimated as zero; the fixed effects stand, the spread between levels does not."
            )
        elif relative[i, i] < _NEGLIGIBLE:
            warnings.append(
                f"The variance of {words[i]} by {of} is below 1e-4 of the residual "
                "variance; consider taking this random term out."
            )
    for block in part.blocks:
        inside = np.ix_(block, block)
        _look_at_correlations(part, relative[inside], scaled[inside], block, warnings, bounds)


def _look_at_correlations(
    part: RandomPart,
    relative: Array,
    scaled: Array,
    block: tuple[int, ...],
    warnings: list[str],
    bounds: list[str],
) -> None:
    """Judge correlations on centred scales, where the origin of a covariate plays no part."""
    alive = [i for i in range(len(block)) if relative[i, i] >= _SINGULAR]
    if len(alive) < 2:
        return
    of, words = term_in_words(part.group), names_in_words(part.terms, part.plans)
    inner = scaled if len(alive) == len(block) else relative[np.ix_(alive, alive)]
    sd = np.sqrt(np.diag(inner))
    correlation = inner / np.outer(sd, sd)
    if np.linalg.eigvalsh(correlation)[0] < _SINGULAR:
        names = ", ".join(part.terms[block[i]] for i in alive)
        told = " and ".join(words[block[i]] for i in alive)
        bounds.append(f"correlation of {names} by {part.group}")
        warnings.append(
            f"Singular fit: the random effects of {of} ({told}) are perfectly correlated; make "
            "them independent (a list of terms) or take one out."
        )
        return
    for a in range(len(alive)):
        for b in range(a):
            if abs(correlation[a, b]) > _PERFECT:
                first, second = (words[block[alive[place]]] for place in (b, a))
                warnings.append(
                    f"The random effects {first} and {second} of {of} are almost "
                    f"perfectly correlated ({correlation[a, b]:.3f}); consider a simpler "
                    "random part."
                )


def _spread_at_its_edge(solution: Solution, family: str) -> list[str]:
    """Say where hits or counts do not scatter beyond their own chance."""
    if family not in ("beta-binomial", "negative-binomial") or solution.extra[0] < _AT_EDGE:
        return []
    plain = {"beta-binomial": "binomial", "negative-binomial": "poisson"}[family]
    return [
        f"The outcome scatters no more than a {plain} one does, so that the {family} model is at "
        f"its edge; family={plain!r} says the same with one parameter less."
    ]


def without_separated(inference: Inference, separated: tuple[int, ...]) -> Inference:
    """Take the covariances of effects out that have none because of separation."""
    if not separated:
        return inference
    at = list(separated)
    vcov, joint = inference.vcov.copy(), inference.joint_vcov.copy()
    for matrix in (vcov, joint):
        matrix[at], matrix[:, at] = np.nan, np.nan
    return replace(inference, method="normal", vcov=vcov, plain_vcov=vcov, joint_vcov=joint)
