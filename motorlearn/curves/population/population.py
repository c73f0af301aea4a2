"""The learning curve of a population: a non-linear mixed-effects model, and its result."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import expit

from motorlearn.curves.forms import named_form
from motorlearn.curves.options import (
    check_first,
    check_level,
    is_number,
    one_of,
)
from motorlearn.curves.population.arrays import Scale, scaled
from motorlearn.curves.population.claims import Claim, claim_of, without_what_is_lost
from motorlearn.curves.population.curve import POPULATION_MEANINGS, PopulationCurve
from motorlearn.curves.population.layout import Layout
from motorlearn.curves.population.marginal import Learners
from motorlearn.curves.population.maximum import PopulationFit, fit_population, group_tests
from motorlearn.curves.population.profile import profile_limits
from motorlearn.curves.population.rivals import unchanging
from motorlearn.curves.population.table import (
    learner_arrays,
    refuse_too_few,
    usable_table,
    vary_rows,
)
from motorlearn.curves.population.terms import (
    degrees_of_freedom,
    estimate_terms,
    variance_terms,
)
from motorlearn.curves.single.rows import check_counts
from motorlearn.curves.status import CURVE, FLAT, KEPT
from motorlearn.exceptions import FitError, InputError
from motorlearn.results import Recipe

GAUSSIAN_NODES, HIT_NODES, MOST_NODES = 15, 5, 110
FEW_LEARNERS = 30
"""Learners below which standard errors are too small, so that the profile is the default."""
INTERVALS = ("auto", "wald", "profile")


def fit_population_curve(
    table: pd.DataFrame,
    outcome: str,
    *,
    practice: str,
    participant: str = "participant",
    form: str = "exponential",
    group: str | None = None,
    vary: Sequence[str] = ("asymptote", "gain", "rate"),
    amount: str = "gain",
    first: float = 1.0,
    attempts: str | None = None,
    level: float = 0.95,
    quadrature: int | None = None,
    tests: bool = False,
    interval: str = "auto",
) -> PopulationCurve:
    r"""Fit one curve to a population of learners, each with parameters of its own.

    .. math:: y_{ij} = A_i + G_i\, f(n_{ij}; \exp \ell_i) + e_{ij}, \qquad
              (A_i, G_i, \ell_i) = \beta_{g(i)} + b_i, \quad b_i \sim N(0, \Psi)

    Maximum likelihood. Asymptote and amount are integrated out exactly; the log rate, where it
    varies, by adaptive Gauss-Hermite quadrature, which is checked with twice as many nodes. Hits
    have a binomial likelihood with the curve on the logit scale.

    **Which amount varies matters.** With ``amount="gain"`` the distance to the asymptote varies;
    a learner with a higher asymptote then also starts higher. With ``amount="start"`` the value
    at ``first`` varies on its own. Choose ``start`` where learners differ in what they bring
    along and converge, ``gain`` where they differ in level throughout; with both parameters
    varying and correlated the two are the same model, with one of them fixed they are not.

    Parameters
    ----------
    table : DataFrame
        One row per trial or block.
    outcome, practice, participant : str
        Columns of scores (or hits), practice counts and learners.
    form : {"exponential", "power"}
        Form of the curve.
    group : str, optional
        Column of groups; every parameter then differs between groups. The first level is the
        first category of a categorical column, else the first in sorted order.
    vary : sequence of str
        What varies between learners: any of ``asymptote``, the amount, ``rate``; its covariance
        is estimated in full.
    amount : {"gain", "start"}
        The second parameter.
    first : float
        Practice count of the first trial.
    attempts : str, optional
        Column of attempts behind the hits.
    level : float
        Confidence level.
    quadrature : int, optional
        Nodes per dimension: 15 for scores, 5 for hits.
    tests : bool
        Whether to test group differences by likelihood ratios; each takes another fit.
    interval : {"auto", "wald", "profile"}
        ``profile`` limits are where the likelihood falls far enough, ``wald`` ones a quantile of t
        times the standard error; ``auto`` takes the profile for scores of fewer than 30 learners,
        where standard errors are too small.

    Returns
    -------
    PopulationCurve
        ``gain`` is positive where the score falls with practice. Both intervals use t quantiles
        with as many degrees of freedom as learners less groups where a parameter varies.

    Raises
    ------
    InputError, ColumnError
        For rows that cannot be used.
    FitError
        If no start leads to a maximum.

    References
    ----------
    Pinheiro, J. C., & Bates, D. M. (2000). Mixed-Effects Models in S and S-PLUS. Springer.
    https://doi.org/10.1007/b98882

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> block = np.tile(np.arange(1, 13), 20)
    >>> who = np.repeat(np.arange(20), 12)
    >>> level = 20 + rng.normal(0, 2, 20)[who]
    >>> error = level + 10 * np.exp(-0.4 * (block - 1)) + rng.normal(0, 1, 240)
    >>> rows = pd.DataFrame({"participant": who, "block": block, "error": error})
    >>> fit = fit_population_curve(rows, "error", practice="block", vary=("asymptote",))
    >>> fit.status, fit.estimates["term"].tolist()
    ('ok', ['asymptote', 'gain', 'log_rate'])
    """
    chosen = named_form(form)
    if len(chosen.rates) != 1:
        raise InputError(
            f"the {chosen.title} curve has several rates, which a population cannot tell apart",
            [form],
            "use exponential or power",
        )
    one_of(amount, ("gain", "start"), "amount")
    one_of(interval, INTERVALS, "interval")
    first, level = check_first(first), check_level(level)
    quadrature = _nodes(quadrature)
    rows = vary_rows(vary)
    frame, left_out = usable_table(table, outcome, practice, participant, group, attempts)
    check_counts(chosen, frame["n"].to_numpy(), first)
    data, names, groups = learner_arrays(frame, chosen, first, amount == "start")
    binomial = data.trials is not None
    layout = Layout(len(groups), (len(groups) > 1,) * 3, rows, not binomial)
    refuse_too_few(data, layout, groups)
    data, scale = (data, Scale(0.0, 1.0)) if binomial else scaled(data)
    nodes = quadrature or (HIT_NODES if binomial else GAUSSIAN_NODES)
    fit = _fit(data, layout, nodes)
    tested = group_tests(data, fit, amount) if tests and len(groups) > 1 else None
    columns = {"outcome": outcome, "practice": practice, "participant": participant}
    columns |= {"group": group} if group else {}
    columns |= {"attempts": attempts} if attempts else {}
    few = len(names) < FEW_LEARNERS and not binomial
    used = ("profile" if few else "wald") if interval == "auto" else interval
    options = {"form": form, "vary": tuple(vary), "amount": amount, "first": first, "level": level}
    recipe = _recipe(fit, columns, {**options, "interval": used}, len(frame), left_out)
    return _result(data, fit, scale, frame, names, groups, tested, recipe)


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


def _nodes(quadrature: Any) -> int | None:
    whole = is_number(quadrature) and quadrature == int(quadrature)
    if quadrature is not None and not (whole and 1 <= quadrature <= MOST_NODES):
        raise InputError(
            f"quadrature must be a whole number of nodes from 1 to {MOST_NODES}", [quadrature]
        )
    return None if quadrature is None else int(quadrature)


def _result(
    data: Learners,
    fit: PopulationFit,
    scale: Scale,
    frame: pd.DataFrame,
    names: pd.DataFrame,
    groups: tuple[str, ...],
    tested: pd.DataFrame | None,
    recipe: Recipe,
) -> PopulationCurve:
    amount, level = recipe.options["amount"], recipe.options["level"]
    binomial, start = data.trials is not None, data.start
    claim = claim_of(data, fit)
    df = degrees_of_freedom(fit, groups, len(names))
    firm = claim.lost == KEPT and recipe.options["interval"] == "profile"
    limits = profile_limits(data, fit, df, level) if firm else None
    estimates, vcov = estimate_terms(fit, scale, groups, amount, level, df, limits)
    estimates = without_what_is_lost(estimates, claim, amount, scale)
    own = scale.natural(fit.learners, start)
    k, n = fit.layout.size, len(frame)
    moved = 0 if binomial else n * np.log(scale.unit)
    loglik = fit.summit.loglik - moved
    return PopulationCurve(
        estimates=estimates,
        variances=variance_terms(fit, scale, amount),
        residual_sd=np.nan if binomial else float(np.exp(fit.summit.point[-1]) * scale.unit),
        loglik=float(loglik),
        aic=float(2 * k - 2 * loglik),
        bic=float(k * np.log(n) - 2 * loglik),
        n=n,
        participants=_people(data, names, own, amount, claim),
        group_tests=tested if tested is not None else _NO_TESTS.copy(),
        form=data.form.name,
        family="binomial" if binomial else "gaussian",
        amount=amount,
        first=data.first,
        groups=groups,
        status=claim.status,
        meaning=POPULATION_MEANINGS[claim.status],
        loglik_laplace=float(fit.laplace - moved),
        quadrature_gap=fit.gap,
        group_cells=scale.natural(fit.layout.cells(fit.summit.point), start),
        learner_cells=own,
        vcov=vcov,
        residuals=_residuals(data, scale, names, own),
        warnings=fit.warnings,
        recipe=recipe,
    )


def _people(
    data: Learners, names: pd.DataFrame, own: np.ndarray, amount: str, claim: Claim
) -> pd.DataFrame:
    """Each learner's parameters, missing where the population's are not estimated."""
    shown = own.copy()
    if claim.lost in (CURVE, FLAT):
        shown[:, [0, 2] if amount == "start" else [0, 1, 2]] = np.nan
    return names.assign(
        n=data.count[:, 0].astype(int),
        asymptote=shown[:, 0],
        **{amount: shown[:, 1]},
        log_rate=shown[:, 2],
        rate=np.exp(shown[:, 2]),
    )


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


_NO_TESTS = pd.DataFrame(columns=["term", "df", "statistic", "p"])


def _residuals(data: Learners, scale: Scale, names: pd.DataFrame, own: np.ndarray) -> pd.DataFrame:
    """Rows with each learner's own curve taken off."""
    inside = data.used > 0
    who, _ = np.nonzero(inside)
    fitted = _fitted(data, own)[inside]
    outcome = (data.y * scale.unit + scale.middle)[inside]
    return pd.DataFrame(
        {
            "participant": names["participant"].to_numpy()[who],
            "group": names["group"].to_numpy()[who],
            "practice": data.n[inside],
            "outcome": outcome,
            "fitted": fitted,
            "residual": outcome - fitted,
        }
    )


def _fitted(data: Learners, own: np.ndarray) -> np.ndarray:
    """Each learner's own curve at the rows; for hits the expected count."""
    basis, _ = data.fall(own[:, [2]])
    basis = basis[:, 0]
    rest = 1 - basis if data.start else 1.0
    height = own[:, [0]] * rest + own[:, [1]] * basis
    found: np.ndarray = height if data.trials is None else data.trials * expit(height)
    return found
