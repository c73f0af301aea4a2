"""Groups compared at one test on the log-odds scale: hits among attempts."""

import warnings
from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from statsmodels.genmod.cov_struct import Exchangeable, Independence
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.generalized_estimating_equations import GEE
from statsmodels.genmod.generalized_linear_model import GLM

from motorlearn.audit.comparison.phase_model import PhaseModel
from motorlearn.audit.report import Conclusion
from motorlearn.compare import PhaseComparison
from motorlearn.exceptions import FitError
from motorlearn.linear import t_estimate

Floats = NDArray[np.float64]

_MOST_ROWS = 20_000
"""Single attempts that estimating equations are given; above, people are given as they are."""


@dataclass(frozen=True)
class Hits:
    """Hits and attempts of each person with the columns of a model of their odds.

    ``present`` are the groups that have people; the first column is the intercept, then comes one
    for each group but the first, then the log odds of the baseline, centred.
    """

    hits: Floats
    attempts: Floats
    design: Floats
    present: NDArray[np.intp]

    @property
    def df(self) -> float:
        """Residual degrees of freedom: people less columns."""
        return float(self.design.shape[0] - self.design.shape[1])


def hits_of(result: PhaseComparison, model: PhaseModel) -> Hits:
    """Hits at the test of a model, with the empirical log odds of the baseline where it has one.

    Raises
    ------
    FitError
        If a group is wholly at a bound, since its odds have no estimate, or people are too few.
    """
    hits, attempts = _hits(result, model, model.phase)
    x = np.zeros(len(hits))
    if model.adjusted:
        before, of = _hits(result, model, result.recipe.options["baseline"])
        x = np.log((before + 0.5) / (of - before + 0.5))
    used = model.used & np.isfinite(hits) & np.isfinite(x)
    codes = model.codes[used]
    present = np.unique(codes)
    _refuse_bounds(hits[used], attempts[used], codes, model)
    columns = [np.ones(used.sum()), *(codes == code for code in present[1:])]
    design = np.column_stack([*columns, x[used] - x[used].mean()] if model.adjusted else columns)
    found = Hits(hits[used], attempts[used], design.astype(float), present)
    if not found.df > 0:
        raise FitError("people are too few for the model of hits.")
    return found


def binomial_conclusions(result: PhaseComparison, model: PhaseModel) -> tuple[Conclusion, ...]:
    """Odds ratios of hits at one test, adjusted for the log odds of the baseline.

    ``logit p_i = m + a_g(i) + b x_i`` for hits among attempts, with x the empirical log odds of
    the baseline, ``ln((h + ½) / (n - h + ½))``; the variance is binomial times the Pearson
    statistic over its degrees of freedom, so that people may differ by more than counting does,
    and t has the residual degrees of freedom. Rates of false positives with 20 attempts, 6 to 24
    people a group, up to half of them at the bound: 3.0 to 6.4 % (700 studies a case).

    Raises
    ------
    FitError
        If a group is wholly at a bound: its odds have no estimate.

    References
    ----------
    McCullagh, P., & Nelder, J. A. (1989). Generalized linear models (2nd ed.), section 4.5.
    """
    data = hits_of(result, model)
    counts = np.column_stack([data.hits, data.attempts - data.hits])
    fit = GLM(counts, data.design, family=Binomial()).fit(maxiter=50)
    if not fit.converged:
        raise FitError("the model of hits did not settle.")
    scale = float(fit.pearson_chi2) / data.df
    return _odds_ratios(model, data, fit.params, np.asarray(fit.cov_params()) / fit.scale * scale)


def marginal_conclusions(result: PhaseComparison, model: PhaseModel) -> tuple[Conclusion, ...]:
    """Odds ratios of hits at one test by generalised estimating equations of statsmodels.

    The model of :func:`binomial_conclusions` with the attempts of a person equally correlated.
    The covariance is the sandwich with Mancl and DeRouen's correction of residuals for few people
    (``cov_type="bias_reduced"``), which lets every person scatter in a way of their own, and t has
    as many degrees of freedom as there are people more than columns. It is cautious where people
    are few: with six a group it rejected in 2.3 to 3.0 % where nothing was there, with 12 and 24
    in 3.5 to 6.7 % (10 or 20 attempts, half or nine in ten of them hits, correlation .1 within
    people; 600 studies a case).

    Raises
    ------
    FitError
        If a group is wholly at a bound, or the equations do not settle.

    References
    ----------
    Mancl, L. A., & DeRouen, T. A. (2001). A covariance estimator for GEE with improved
    small-sample properties. Biometrics, 57, 126-134.
    https://doi.org/10.1111/j.0006-341X.2001.00126.x
    """
    data = hits_of(result, model)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = _equations(data).fit(cov_type="bias_reduced", maxiter=100)
    covariance = np.asarray(fit.cov_robust_bc)
    if not (fit.converged and np.isfinite(covariance).all()):
        raise FitError("the estimating equations of hits did not settle.")
    return _odds_ratios(model, data, fit.params, covariance)


def _equations(data: Hits) -> GEE:
    """Single attempts, or shares of hits where every person tried equally often.

    All columns are alike within a person, so that equal numbers of attempts give the same
    estimates and the same covariance either way.
    """
    people = np.arange(len(data.hits))
    if np.ptp(data.attempts) == 0 or data.attempts.sum() > _MOST_ROWS:
        share = data.hits / data.attempts
        return GEE(share, data.design, people, family=Binomial(), cov_struct=Independence())
    person = np.repeat(people, data.attempts.astype(int))
    number = np.arange(len(person)) - np.repeat(
        np.cumsum(data.attempts) - data.attempts, data.attempts.astype(int)
    )
    hit = (number < data.hits[person]).astype(float)
    return GEE(hit, data.design[person], person, family=Binomial(), cov_struct=Exchangeable())


def _odds_ratios(
    model: PhaseModel, data: Hits, estimates: Floats, covariance: Floats
) -> tuple[Conclusion, ...]:
    found = []
    for pair in model.pairs:
        row = np.zeros(data.design.shape[1])
        weights = model.weights(pair)[data.present]
        row[1 : len(weights)] = weights[1:]
        error = float(np.sqrt(row @ covariance @ row))
        t = t_estimate(float(row @ estimates), error, data.df)
        odds, low, high = (float(np.exp(value)) for value in (t.estimate, t.conf_low, t.conf_high))
        names = model.label(pair, scale="odds ratio")
        found.append(Conclusion(names, odds, low, high, t.p, null=1.0))
    return tuple(found)


def _hits(result: PhaseComparison, model: PhaseModel, phase: Hashable) -> tuple[Floats, Floats]:
    rows = result.scores[result.scores["phase"] == phase].set_index("participant")
    own = rows.reindex(model.participants)
    attempts = own["n_trials"].to_numpy(dtype=float)
    whole = result.recipe.options.get("out_of") or 1.0
    return np.round(own["score"].to_numpy(dtype=float) / whole * attempts), attempts


def _refuse_bounds(
    hits: Floats, attempts: Floats, codes: NDArray[np.intp], model: PhaseModel
) -> None:
    for code in np.unique(codes):
        total, of = hits[codes == code].sum(), attempts[codes == code].sum()
        if total in (0, of):
            raise FitError(
                f"everybody in {model.groups[code]} is at the bound; its odds have no estimate."
            )
