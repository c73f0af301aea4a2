"""The result of a population curve: the fit, and what is told of it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import expit

from motorlearn.curves.population.arrays import Scale, scaled
from motorlearn.curves.population.claims import (
    Claim,
    claim_of,
    dressed,
    lost_parameters,
    without_what_is_lost,
)
from motorlearn.curves.population.curve import POPULATION_MEANINGS, PopulationCurve
from motorlearn.curves.population.layout import Layout
from motorlearn.curves.population.learners import Learners, rate_of
from motorlearn.curves.population.likelihood_ratios import TESTS, group_tests
from motorlearn.curves.population.maximum import (
    PopulationFit,
    fit_population,
    sandwich,
)
from motorlearn.curves.population.profile import profile_limits
from motorlearn.curves.population.rivals import unchanging
from motorlearn.curves.population.standard import standard_rows
from motorlearn.curves.population.terms import (
    between_learners,
    common_frame,
    degrees_of_freedom,
    estimate_terms,
    variance_terms,
    whole_covariance,
)
from motorlearn.curves.population.unlike import unlike
from motorlearn.curves.status import ERRORS, FLAT, KEPT, STATUSES, UNSETTLED
from motorlearn.exceptions import FitError
from motorlearn.results import Recipe

GAUSSIAN_NODES, GRID_NODES = 15, 5
FEW_LEARNERS = 30
"""Learners below which standard errors are too small, so that the profile is the default."""
MOST_TURNS, SETTLED_TURN, LEAST_HEIGHT = 12, 1e-4, 0.02


@dataclass(frozen=True)
class Rows:
    """What the table said: usable rows, learners, groups, what was left out, names of columns."""

    frame: pd.DataFrame
    names: pd.DataFrame
    groups: tuple[str, ...]
    left_out: pd.DataFrame
    columns: dict[str, str]


def told(
    data: Learners,
    layout: Layout,
    rows: Rows,
    options: dict[str, Any],
    quadrature: int | None,
    *,
    tests: bool,
) -> PopulationCurve:
    """Fit a population curve and tell it."""
    binomial, interval = data.trials is not None, options["interval"]
    data, scale = (data, Scale(0.0, 1.0)) if binomial else scaled(data)
    nodes = quadrature or (GAUSSIAN_NODES if data.closed else GRID_NODES)
    if options["variance"] == "mean":
        data, fit = _by_mean(data, layout, nodes, scale)
    else:
        fit = _fit(data, layout, nodes)
    several = tests and layout.groups > 1
    tested = group_tests(data, fit, options["amount"]) if several else None
    few = len(rows.names) < FEW_LEARNERS and not binomial
    used = ("profile" if few else "wald") if interval == "auto" else interval
    recipe = _recipe(
        fit, rows.columns, {**options, "interval": used}, len(rows.frame), rows.left_out
    )
    return _result(data, fit, scale, rows, tested, recipe)


def _by_mean(
    data: Learners, layout: Layout, nodes: int, scale: Scale
) -> tuple[Learners, PopulationFit]:
    """Fit in turn with the spread of each score, a power of the learner's own curve there."""
    assert data.common is not None
    common = data.common
    even = replace(data, common=common.aged(np.ones(data.n.shape)))
    fit, last = _fit(even, layout, nodes), -np.inf
    for _ in range(MOST_TURNS):
        own = scale.natural(fit.learners, data.start)
        height = np.abs(_fitted(dressed(data, fit), own))
        middle = float(np.median(height[data.used > 0]))
        age = np.where(data.used > 0, np.maximum(height / middle, LEAST_HEIGHT), 1.0)
        data = replace(data, common=common.aged(age))
        fit = _fit(data, layout, nodes)
        if abs(fit.summit.loglik - last) < SETTLED_TURN:
            break
        last = fit.summit.loglik
    return data, fit


def _fit(data: Learners, layout: Layout, nodes: int) -> PopulationFit:
    """Fit; where there is no maximum, say so of learners who do not change."""
    try:
        return fit_population(data, layout, nodes)
    except FitError:
        if not unchanging(data, layout):
            raise
        raise FitError(
            "these learners do not change with practice: a flat line describes them as well as "
            "straight lines do, and the likelihood of a curve has no maximum; report their levels"
        ) from None


def _result(
    data: Learners,
    fit: PopulationFit,
    scale: Scale,
    rows: Rows,
    tested: pd.DataFrame | None,
    recipe: Recipe,
) -> PopulationCurve:
    amount, binomial = recipe.options["amount"], data.trials is not None
    claim, there = claim_of(data, fit), dressed(data, fit)
    fit, estimates, vcov, claim = _estimates(data, fit, scale, rows, claim, recipe.options)
    own, lost = scale.natural(fit.learners, data.start), lost_parameters(claim, data.start)
    k, n, between = fit.layout.size, len(rows.frame), between_learners(fit, scale)
    moved = 0 if binomial else n * np.log(scale.unit)
    loglik = float(fit.summit.loglik - moved)
    return PopulationCurve(
        estimates=estimates,
        variances=variance_terms(between, fit.layout.vary, amount, lost),
        residual_sd=np.nan if binomial else _residual_sd(data, fit, scale),
        loglik=loglik,
        aic=2 * k - 2 * loglik,
        bic=float(k * np.log(n)) - 2 * loglik,
        n=n,
        participants=_people(data, rows.names, own, amount, lost),
        group_tests=tested if tested is not None else _NO_TESTS.copy(),
        form=data.form.name,
        family="binomial" if binomial else "gaussian",
        amount=amount,
        first=data.first,
        groups=rows.groups,
        status=claim.status,
        meaning=POPULATION_MEANINGS[claim.status],
        loglik_laplace=float(fit.laplace - moved),
        quadrature_gap=fit.gap,
        group_cells=scale.natural(fit.layout.cells(fit.summit.point), data.start),
        learner_cells=own,
        between=between,
        vcov=vcov,
        residuals=_residuals(there, scale, rows, own),
        common=common_frame(data, fit, recipe.options["level"], flat=claim.lost == FLAT),
        second=tuple(float(np.real(value)) for value in there.second or ()),
        shared=fit.layout.common(fit.summit.point)[: len(data.form.shared.names)],
        whole=whole_covariance(fit, scale, len(data.form.shared.names)),
        spread=_spread(there, own),
        standard=standard_rows(there, _fitted(there, own), _residual_sd(data, fit, scale), scale),
        warnings=fit.warnings,
        recipe=recipe,
    )


def _estimates(
    data: Learners,
    fit: PopulationFit,
    scale: Scale,
    rows: Rows,
    claim: Claim,
    options: Mapping[str, Any],
) -> tuple[PopulationFit, pd.DataFrame, np.ndarray, Claim]:
    """The fit with the covariance asked for, fixed effects with limits, their covariance.

    Where the profile of the rate has an end missing, the shape is not settled.
    """
    amount, level = options["amount"], options["level"]
    df = degrees_of_freedom(fit, rows.groups, len(rows.names))
    firm = claim.lost == KEPT and options["interval"] == "profile"
    limits = profile_limits(data, fit, df, level) if firm else None
    if options["interval"] == "sandwich":
        fit = replace(fit, covariance=sandwich(data, fit))
    estimates, vcov = estimate_terms(fit, scale, rows.groups, amount, level, df, limits)
    if limits is not None:
        level_off = estimates["term"][~np.isfinite(limits).all(axis=1)]
        fit = replace(fit, warnings=(*fit.warnings, *_open(level_off)))
        if "log_rate" in set(level_off):
            claim = replace(claim, status=STATUSES[UNSETTLED], lost=ERRORS)
    if claim.lost in (KEPT, ERRORS):
        fit = replace(fit, warnings=(*fit.warnings, *unlike(data, fit)))
    shown = without_what_is_lost(estimates, claim, fit.layout, scale, level=level, start=data.start)
    return fit, shown, vcov, claim


def _open(terms: Sequence[str]) -> tuple[str, ...]:
    """Say so where a profile has no end."""
    if not len(terms):
        return ()
    return (
        f"The likelihood hardly falls on one side of {', '.join(map(_spoken, terms))}: that end of "
        "the interval is open or missing.",
    )


def _spoken(term: str) -> str:
    """A fixed effect as a reader says it."""
    name, _, group = term.replace("log_rate", "rate").partition("[")
    return f"the difference in {name} of {group[:-1]}" if group else f"the {name}"


def _people(
    data: Learners, names: pd.DataFrame, own: np.ndarray, amount: str, lost: Sequence[int]
) -> pd.DataFrame:
    """Each learner's parameters, missing where the population's are not estimated."""
    shown = own.copy()
    shown[:, lost] = np.nan
    found = {
        "n": data.rows[:, 0].astype(int),
        "asymptote": shown[:, 0],
        amount: shown[:, 1],
        "log_rate": shown[:, 2],
        "rate": rate_of(shown[:, 2]),
    }
    return pd.concat([names, pd.DataFrame(found, index=names.index)], axis=1)


def _recipe(
    fit: PopulationFit,
    columns: dict[str, str],
    options: dict[str, Any],
    n: int,
    left_out: pd.DataFrame,
) -> Recipe:
    return Recipe(
        "fit_population_curve",
        columns=columns,
        options={**options, "quadrature": fit.nodes},
        n=n,
        left_out=left_out,
        engine=fit.engine,
        converged=fit.summit.converged,
        message=fit.message,
    )


def _residual_sd(data: Learners, fit: PopulationFit, scale: Scale) -> float:
    sigma = np.exp(fit.layout.log_sigma(fit.summit.point))
    return float(sigma if data.law == "lognormal" else sigma * scale.unit)


def _spread(there: Learners, own: np.ndarray) -> np.ndarray:
    """SD of each row over the residual SD, in the order of the residuals."""
    inside = there.used > 0
    spread = np.ones(int(inside.sum())) if there.white is None else there.white.spread[inside]
    return spread * np.abs(_fitted(there, own)[inside]) if there.law == "lognormal" else spread


_NO_TESTS = TESTS.frame()


def _residuals(data: Learners, scale: Scale, rows: Rows, own: np.ndarray) -> pd.DataFrame:
    """Rows with each learner's own curve taken off, and their sessions where there are any."""
    names = rows.names
    inside = data.used > 0
    who, _ = np.nonzero(inside)
    fitted = _fitted(data, own)[inside]
    outcome = (data.y * scale.unit + scale.middle)[inside]
    found = pd.DataFrame(
        {
            "participant": names["participant"].to_numpy()[who],
            "group": names["group"].to_numpy()[who],
            "practice": data.n[inside],
            "outcome": outcome,
            "fitted": fitted,
            "residual": outcome - fitted,
        }
    )
    if "session" in rows.frame:
        order = np.argsort(pd.factorize(rows.frame["who"])[0], kind="stable")
        found["session"] = rows.frame["session"].to_numpy()[order]
    return found


def _fitted(data: Learners, own: np.ndarray) -> np.ndarray:
    """Each learner's own curve at the rows; for hits the expected count."""
    basis, _ = data.bare(own[:, [2]])
    basis = basis[:, 0]
    rest = 1 - basis if data.start else 1.0
    height = own[:, [0]] * rest + own[:, [1]] * basis
    found: np.ndarray = height if data.trials is None else data.trials * expit(height)
    return found
