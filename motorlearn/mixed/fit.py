"""``fit_mixed``: from formula and table to a fitted mixed model."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from motorlearn.exceptions import InputError
from motorlearn.mixed.checks import Verdict, examine, refuse, without_separated
from motorlearn.mixed.formula.designs import (
    SERIAL,
    Design,
    Prepared,
    ResidualPart,
    prepare,
)
from motorlearn.mixed.formula.formulas import unalias
from motorlearn.mixed.formula.outcomes import Roles
from motorlearn.mixed.formula.residuals import check_residuals
from motorlearn.mixed.frames import effects_frame, estimates_frame, variances_frame
from motorlearn.mixed.inference.degrees_of_freedom import Inference
from motorlearn.mixed.responses import FAMILIES, HITS, LINEAR, LINKS_OF
from motorlearn.mixed.result import MixedFit
from motorlearn.mixed.slopes import missing_slopes, slopes_in_words
from motorlearn.mixed.solve.engine import Solution
from motorlearn.mixed.solving import Options, infer, solve
from motorlearn.results import Recipe

METHODS = ("satterthwaite", "kenward-roger", "normal")
MOST_POINTS = 5000
ENOUGH_PEOPLE = 60
NORMAL_TESTS = (
    "Degrees of freedom for few people cannot be had for this model of hits, so its tests use the "
    "normal distribution and find too much: with six people in each of two groups, who differ by a "
    "standard deviation of 1 on the logit scale, such a test called 10 to 13 % of 1,000 studies "
    "without a difference significant at 5 %."
)

NORMAL_TESTS_OF_OTHERS = (
    "Degrees of freedom for few people cannot be had for this model, because too few rows or "
    "events stand behind each person or too many rows hang together: its tests use the normal "
    "distribution and find too much with few people."
)


def fit_mixed(
    formula: str,
    table: pd.DataFrame,
    *,
    random: Mapping[str, str | Sequence[str]],
    family: str = "gaussian",
    attempts: str | None = None,
    reml: bool = True,
    quadrature: int = 1,
    df: str = "satterthwaite",
    link: str | None = None,
    weights: str | None = None,
    offset: str | None = None,
    variance: str = "equal",
    correlation: str = "none",
    within: str | None = None,
) -> MixedFit:
    """Fit a mixed-effects model to scores, hits, ratings, counts or times.

    With η = Xβ + Zb and b ~ N(0, Ψ) per participant: ``gaussian`` y = η + e, e ~ N(0, σ²/w);
    ``lognormal`` log y = η + e; ``binomial`` hits with probability g⁻¹(η), ``beta-binomial`` hits
    whose probability scatters about g⁻¹(η) with precision φ; ``ordinal`` ratings with P(rating ≤ k)
    = F(α_k − η), F logistic or normal, the intercept being −α_1; ``poisson`` counts of mean exp(η),
    ``negative-binomial`` counts of variance μ + μ²/θ; ``gamma`` amounts and times of mean exp(η)
    and coefficient of variation 1/√s.

    Parameters
    ----------
    formula : str
        Outcome and fixed part, for example ``"radial_error ~ group * phase"``. Names (in backticks
        where they hold blanks or are words of Python), the operators ``+ - * / : ^`` (``a/b`` is b
        within the levels of a), ``log``, ``sqrt``, ``poly``, ``center``, ``scale``, ``I`` of
        arithmetic, ``bs(name, df=4)`` for cubic splines, and ``C(name, Treatment('level'))`` or
        ``C(name, Sum)`` are allowed and nothing else is run.
    table : DataFrame
        One row per observation. Rows with a missing value in a used column are set aside and
        listed in ``recipe.left_out``.
    random : mapping of str to str, or to a list of str
        Random terms by grouping column: ``{"participant": "1 + block"}`` has correlated, and
        ``{"participant": ["1", "block"]}`` independent intercepts and slopes. Several keys are
        crossed or nested factors; ``"class/participant"`` nests the second in the first.
    family : {"gaussian", "binomial", "beta-binomial", "ordinal", "poisson", "negative-binomial", \
"gamma", "lognormal"}
        Distribution of the outcome. Ratings are numbers, or ordered categories.
    attempts : str, optional
        Column with the number of attempts, if the outcome counts hits.
    reml : bool
        Restricted maximum likelihood for a linear model, otherwise maximum likelihood.
    quadrature : int
        Nodes per random effect of adaptive Gauss-Hermite quadrature; 1 is the Laplace
        approximation. More than 1 needs a single grouping factor.
    df : {"satterthwaite", "kenward-roger", "normal"}
        Degrees of freedom of a linear model. Other outcomes have those of Kenward and Roger on
        pseudo-data of the fitted model unless ``"normal"`` is asked for, because the normal test
        errs too often with few people. Where these cannot be had, for example with crossed factors
        or a single attempt for each person, the normal distribution is used and ``warnings`` say
        so.
    link : {"logit", "probit", "cloglog"}, optional
        Link of hits and ratings; logit if not given. Ratings have logit and probit.
    weights : str, optional
        Column of positive weights: the variance of a row is σ² divided by its weight, or the row
        counts so many times in another model. Not for beta-binomial hits.
    offset : str, optional
        Column added to the linear predictor with a coefficient of one, for example the logarithm
        of the minutes during which events were counted.
    variance : str
        ``"equal"``, or the column whose levels have a residual variance each (linear models).
    correlation : {"none", "unstructured", "ar1"}
        ``"ar1"``: residuals at places s and t of one run correlate by ρ^|s − t|; ``within`` names
        the place, and before it what tells a participant's runs apart, ``"session/trial"``; with
        any random part, and a variance for each level of ``variance``. ``"unstructured"``: the
        residuals of one participant correlate freely between the levels of ``within``, one row per
        participant and level, with a random part of ``"0"``; with ``variance=within`` every level
        has its own variance too.
    within : str, optional
        Column that tells a participant's correlated residuals apart, for example the test, or the
        place in a run.

    Returns
    -------
    MixedFit
        Estimates, variances, random effects, the recipe and what can be asked afterwards.

    Raises
    ------
    InputError
        If columns, values or options do not fit the model.
    FormulaError
        If the formula holds anything outside the fixed list.
    FitError
        If the model is not identified by these data.

    References
    ----------
    Bates D, Mächler M, Bolker B, Walker S (2015). J Stat Softw 67(1).
    https://doi.org/10.18637/jss.v067.i01

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({
    ...     "participant": list("aabbccdd"),
    ...     "phase": ["pretest", "retention"] * 4,
    ...     "radial_error": [31.0, 24.0, 38.0, 29.5, 27.0, 25.0, 35.5, 27.0],
    ... })
    >>> fit = fit_mixed("radial_error ~ phase", table, random={"participant": "1"})
    >>> fit.estimates[["term", "estimate", "df"]].round(2)
                     term  estimate    df
    0           Intercept     32.88  4.11
    1  phase[T.retention]     -6.50  3.00
    """
    options = _options(family, link, reml, quadrature, df)
    if correlation == SERIAL and df == "kenward-roger":
        raise InputError(
            "Kenward-Roger is for covariances that are linear in their parameters",
            [correlation],
            "leave df out: Satterthwaite's degrees of freedom",
        )
    if attempts is not None and family not in HITS:
        raise InputError("attempts belong to hits", [attempts], "use family='binomial' or weights")
    if family == "beta-binomial" and (attempts is None or weights is not None):
        raise InputError(
            "hits that scatter need their attempts, and no weights",
            [weights] if attempts else [],
            "give attempts= (of single trials summed by block or test) and leave weights= out",
        )
    roles = Roles(attempts, weights, offset, variance, correlation, within)
    check_residuals(roles, options.family, random)
    prepared = prepare(formula, table, random, roles, family)
    _refuse_large_grid(options.quadrature, prepared.design)
    columns = {
        "outcome": unalias(prepared.formula.response),
        "attempts": attempts,
        "weights": weights,
        "offset": offset,
    }
    recipe = Recipe(
        call="fit_mixed",
        columns={role: name for role, name in columns.items() if name is not None},
        options={
            "formula": formula,
            "random": {k: v if isinstance(v, str) else list(v) for k, v in random.items()},
            **vars(options),
            "variance": variance,
            "correlation": correlation,
            "within": within,
        },
        n=len(prepared.observed),
        left_out=prepared.left_out,
    )
    return fit_prepared(prepared, options, recipe)


def _refuse_large_grid(quadrature: int, design: Design) -> None:
    if quadrature == 1:
        return
    if len(design.random) > 1:
        raise InputError(
            "quadrature needs a single grouping factor",
            [part.group for part in design.random],
            "use quadrature=1, the Laplace approximation",
        )
    points = quadrature ** len(design.random[0].terms)
    if points > MOST_POINTS:
        raise InputError(
            f"{quadrature} nodes for each of {len(design.random[0].terms)} random terms make a "
            "grid too large to evaluate",
            [points],
            "use fewer nodes or fewer random terms",
        )


def _options(family: str, link: str | None, reml: bool, quadrature: int, df: str) -> Options:
    if family not in FAMILIES:
        raise InputError("the family is not known", [family], f"use one of {FAMILIES}")
    links = LINKS_OF[family]
    link = link or links[0]
    if link not in links:
        raise InputError(f"a {family} model has no such link", [link], f"use one of {links}")
    if df not in METHODS:
        raise InputError("the method for df is not known", [df], f"use one of {METHODS}")
    if (
        isinstance(quadrature, bool)
        or not isinstance(quadrature, int | np.integer)
        or not (1 <= quadrature <= 101)
    ):
        raise InputError("quadrature is not a number of nodes from 1 to 101", [quadrature])
    if family in LINEAR and quadrature > 1:
        raise InputError(
            "a linear model needs no quadrature", [quadrature], "leave quadrature at 1"
        )
    if family not in LINEAR:
        few = "normal" if df == "normal" else "kenward-roger"
        return Options(family, link, False, int(quadrature), few)
    if df == "kenward-roger" and not reml:
        raise InputError(
            "Kenward-Roger adjusts restricted maximum likelihood",
            ["reml=False"],
            "use reml=True, or df='satterthwaite'",
        )
    return Options(family, link, bool(reml), 1, df)


def fit_prepared(
    prepared: Prepared, options: Options, recipe: Recipe, start: Any = None
) -> MixedFit:
    """Refuse what is not identified, fit, re-check and put the result together."""
    design, observed, n = prepared.design, prepared.observed, len(prepared.observed)
    refuse(design, observed, options.family)
    solution = solve(design, observed, options, start)
    verdict = _verdict(prepared, solution, options)
    inference = infer(design, observed, solution, options)
    inference = without_separated(inference, verdict.separated)
    verdict = _with_normal_tests(verdict, design, options, inference)
    count = _parameters(solution, options.linear and design.residual is None)
    recipe = replace(
        recipe,
        engine=engine_in_words(options, design.residual, inference.method),
        converged=verdict.converged,
        message=verdict.message,
        at_bound=verdict.at_bound,
    )
    sizes = {part.group: len(part.levels) for part in design.random}
    return MixedFit(
        formula=recipe.options["formula"],
        **{name: getattr(options, name) for name in ("family", "link", "reml")},
        estimates=estimates_frame(design.fixed.columns, solution.beta, inference),
        variances=variances_frame(design.random, solution, design.residual),
        residual_sd=solution.sigma,
        loglik=-solution.deviance / 2,
        aic=solution.deviance + 2 * count,
        bic=solution.deviance + np.log(n) * count,
        n=n,
        n_groups=sizes,
        **{name: getattr(verdict, name) for name in ("converged", "singular", "warnings")},
        effects=effects_frame(design.random, solution),
        fixed_names=design.fixed.columns,
        vcov=inference.vcov,
        covariances=dict(zip(sizes, solution.psi, strict=True)),
        random=recipe.options["random"],
        recipe=recipe,
        design=design,
        observed=observed,
        inference=inference,
        residual_covariance=solution.residual,
        extra=solution.extra,
    )


def _parameters(solution: Solution, sigma: bool) -> int:
    return len(solution.beta) + len(solution.theta) + len(solution.extra) + sigma


def _verdict(prepared: Prepared, solution: Solution, options: Options) -> Verdict:
    """Re-check of the fit, and whether a slope is missing that would matter."""
    design, observed = prepared.design, prepared.observed
    verdict = examine(design, observed, solution, options.family)
    verdict = replace(verdict, warnings=(*prepared.notes, *verdict.warnings))
    if not verdict.converged:
        return verdict
    found = missing_slopes(design, observed, solution, options)
    rows = design.weight.sum() if options.family in HITS else len(observed)
    words = slopes_in_words(found, design, solution, rows)
    return replace(verdict, warnings=(*verdict.warnings, *words))


def _with_normal_tests(
    verdict: Verdict, design: Design, options: Options, inference: Inference
) -> Verdict:
    """Say what the normal test of hits is worth where few people have no other."""
    people = max(len(part.levels) for part in design.random)
    asked = options.df == "kenward-roger" and inference.method == "normal"
    if not asked or verdict.separated or people >= ENOUGH_PEOPLE:
        return verdict
    words = NORMAL_TESTS if options.family in HITS else NORMAL_TESTS_OF_OTHERS
    return replace(verdict, warnings=(*verdict.warnings, words))


def engine_in_words(options: Options, residual: ResidualPart | None, method: str) -> str:
    """Name the numerical method and how degrees of freedom were found."""
    words = {
        "satterthwaite": "Satterthwaite degrees of freedom",
        "kenward-roger": "Kenward-Roger covariance and degrees of freedom",
        "normal": "normal distribution, no degrees of freedom",
    }[method]
    if options.linear:
        likelihood = "restricted maximum likelihood" if options.reml else "maximum likelihood"
        logs = " of the logarithms" if options.family == "lognormal" else ""
        return f"{likelihood}{logs}, {words}{_residuals_in_words(residual)}"
    words += " of the pseudo-data" if method == "kenward-roger" else ""
    way = "the Laplace approximation"
    if options.quadrature > 1:
        way = f"adaptive Gauss-Hermite quadrature, {options.quadrature} nodes"
    return f"maximum likelihood by {way}, {options.link} link, {words}"


def _residuals_in_words(residual: ResidualPart | None) -> str:
    if residual is None:
        return ""
    if residual.correlation == "none":
        return f", a residual variance for each level of {residual.column}"
    variances = "one variance" if residual.variance == "equal" else "a variance for each"
    if residual.correlation == SERIAL:
        by = "" if residual.variance == "equal" else f" level of {residual.variance}"
        return f", residuals autoregressive over {'/'.join(residual.order)}, {variances}{by}"
    return f", residuals correlated freely between levels of {residual.column}, {variances}"
