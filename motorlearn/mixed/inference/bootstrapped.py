"""Tests of contrasts and terms by parametric bootstrap, in every family."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.linalg import null_space
from tqdm.auto import tqdm

from motorlearn.exceptions import FitError, InputError
from motorlearn.mixed.contrast_kinds import Kind, kind_in_words
from motorlearn.mixed.frames import variances_frame
from motorlearn.mixed.inference.degrees_of_freedom import f_test
from motorlearn.mixed.inference.hypotheses import AT_ONCE
from motorlearn.mixed.inference.terms import columns_of
from motorlearn.mixed.means import contrast_lines
from motorlearn.mixed.refitting import options_of, refit_many
from motorlearn.mixed.replicates import ManyFits
from motorlearn.mixed.result import MixedFit
from motorlearn.mixed.solve.engine import Solution
from motorlearn.mixed.solving import solve
from motorlearn.mixed.variability import statistics_of_spread, under_equal_spread
from motorlearn.mixed.variability_result import VariabilityFit
from motorlearn.mixed.whole import require_whole
from motorlearn.results import Recipe, Result
from motorlearn.tables import Table, estimates_table

Array = NDArray[np.float64]

FEWEST = 20
NOTE = (
    "p of the bootstrap: outcomes are drawn from the model in which the hypothesis holds, the "
    "whole model is fitted to each, and (b + 1) / (B + 1) of the Wald statistics are as large as "
    "that of the study."
)


@dataclass(frozen=True)
class BootstrapTests(Result):
    """Tests by parametric bootstrap beside those of the fit.

    Parameters
    ----------
    frame : DataFrame
        Columns of ``within``, then ``hypothesis, estimate, df1, df2, statistic, p, p_bootstrap,
        simulations, failed``; ``statistic`` and ``p`` are the F test of the fit, the estimate that
        of a single contrast on the scale of the link.
    """

    frame: pd.DataFrame
    recipe: Recipe = field(repr=False)

    def tables(self) -> Sequence[Table]:
        """The table of tests."""
        title = "Tests by parametric bootstrap"
        return (estimates_table("bootstrap-tests", title, self.frame, notes=(NOTE,)),)


def bootstrap_tests(
    fit: MixedFit | VariabilityFit,
    by: str | Sequence[str] | None = None,
    *,
    terms: str | Sequence[str] | None = None,
    within: str | Sequence[str] | None = None,
    kind: Kind = "pairwise",
    reference: object = None,
    simulations: int = 1000,
    seed: int,
) -> BootstrapTests:
    """Test contrasts, or terms of the formula jointly, by parametric bootstrap.

    For the hypothesis Lβ = 0 the model is fitted under it, ``simulations`` outcomes are drawn from
    that fit with new random effects, and the whole model is fitted to each, side by side. p is
    (b + 1) / (B + 1), b of B statistics W = (Lβ)'(LVL')⁻¹Lβ being at least that of the study.

    Parameters
    ----------
    fit : MixedFit or VariabilityFit
        A mixed model of any family; of a model of spread, hypotheses are those of log σ and the
        scores drawn are fitted one by one, some ten a second.
    by, within, kind, reference
        Contrasts of marginal means on the scale of the link, as in :func:`contrasts`; each is a
        hypothesis of its own.
    terms : str or sequence of str, optional
        Instead of ``by``: terms of the formula, all of whose columns are zero under one hypothesis.
    simulations : int
        Outcomes drawn for each hypothesis.
    seed : int
        Seed of the random numbers.

    Returns
    -------
    BootstrapTests
        One row for each hypothesis.

    Raises
    ------
    InputError
        If not one of ``by`` and ``terms`` is given, or they are not of the model.
    FitError
        If hardly any outcome drawn can be fitted.

    References
    ----------
    Davison AC, Hinkley DV (1997). Bootstrap methods and their application. Cambridge University
    Press. https://doi.org/10.1017/CBO9780511802843

    Examples
    --------
    >>> from motorlearn.mixed import fit_mixed
    >>> table = pd.DataFrame({
    ...     "participant": list("aabbccddeeff"),
    ...     "phase": ["pretest", "retention"] * 6,
    ...     "hits": [5, 9, 3, 8, 7, 8, 4, 9, 6, 7, 5, 8],
    ...     "throws": 12,
    ... })
    >>> fit = fit_mixed("hits ~ phase", table, random={"participant": "1"},
    ...                 family="binomial", attempts="throws")
    >>> found = bootstrap_tests(fit, "phase", simulations=200, seed=1)
    >>> found.frame[["hypothesis", "simulations"]]
                hypothesis  simulations
    0  retention - pretest          200
    """
    if (by is None) == (terms is None):
        raise InputError("name contrasts by= or terms=, one of them", [by, terms])
    if isinstance(simulations, bool) or simulations < FEWEST:
        raise InputError(
            "too few simulations for a p value", [simulations], f"use {FEWEST} or more"
        )
    asked_of = fit.of_spread if isinstance(fit, VariabilityFit) else fit
    if asked_of is fit:
        require_whole(fit)
    if by is not None:
        named, lines = contrast_lines(asked_of, by, within=within, kind=kind, reference=reference)
        hypotheses = [line[None] for line in lines]
    else:
        asked = [terms] if isinstance(terms, str) else list(terms or ())
        columns, own = columns_of(asked, asked_of.design.fixed)
        hypotheses = [np.eye(len(asked_of.beta))[columns]]
        named = pd.DataFrame({"hypothesis": [" and ".join(own)]})
    rows = [
        _tested(fit, lines, simulations, seed + place) for place, lines in enumerate(hypotheses)
    ]
    options: dict[str, Any] = {"by": by, "terms": terms, "within": within}
    options |= {"kind": kind_in_words(kind), "simulations": simulations}
    frame = pd.concat([named.reset_index(drop=True), pd.DataFrame(rows)], axis=1)
    recipe = Recipe("bootstrap_tests", fit.recipe.columns, options, fit.n, seed=seed)
    return BootstrapTests(frame, replace(recipe, engine="parametric bootstrap of Wald statistics"))


def _tested(
    fit: MixedFit | VariabilityFit, lines: Array, simulations: int, seed: int
) -> dict[str, float]:
    """The test of the fit, and its p by the bootstrap."""
    view = fit.of_spread if isinstance(fit, VariabilityFit) else fit
    plain = f_test(lines, view.beta, view.inference)
    seen = _refitted(fit, view.observed[None], lines)
    drawn = _under(fit, lines).simulate(simulations, seed=seed)
    found: list[Array] = []
    with tqdm(total=simulations, disable=None, desc="parametric bootstrap") as progress:
        for start in range(0, simulations, AT_ONCE):
            chunk = drawn[start : start + AT_ONCE]
            found.append(_refitted(fit, chunk, lines))
            progress.update(len(chunk))
    values = np.concatenate(found)
    if not len(seen) or len(values) < FEWEST:
        raise FitError(
            f"only {len(values)} of {simulations} outcomes drawn from the model could be fitted; "
            "simplify the model."
        )
    return {
        "estimate": float(lines[0] @ view.beta) if len(lines) == 1 else np.nan,
        "df1": plain.df1,
        "df2": plain.df2,
        "statistic": plain.statistic,
        "p": plain.p,
        "p_bootstrap": float((np.sum(values >= seen[0]) + 1) / (len(values) + 1)),
        "simulations": len(values),
        "failed": simulations - len(values),
    }


def _refitted(fit: MixedFit | VariabilityFit, draws: Array, lines: Array) -> Array:
    """Wald statistics of the same model fitted to each row of ``draws``."""
    if isinstance(fit, VariabilityFit):
        return statistics_of_spread(fit, draws, lines)
    return _statistics(refit_many(fit, draws)[0], lines)


def _under(fit: MixedFit | VariabilityFit, lines: Array) -> MixedFit | VariabilityFit:
    if isinstance(fit, VariabilityFit):
        return under_equal_spread(fit, lines)
    return under_hypothesis(fit, lines)


def _statistics(found: ManyFits, lines: Array) -> Array:
    """Wald statistics (R,) of Lβ = 0; fits without one are left out."""
    if not len(found.beta):
        return np.zeros(0)
    estimate = found.beta @ lines.T
    covariance = lines @ found.vcov @ lines.T
    good = np.isfinite(covariance).all(axis=(1, 2)) & np.isfinite(estimate).all(axis=1)
    estimate, covariance = estimate[good], covariance[good]
    good = np.linalg.eigvalsh(covariance)[:, 0] > 0
    estimate, covariance = estimate[good], covariance[good]
    solved = np.linalg.solve(covariance, estimate[..., None])[..., 0]
    return np.asarray(np.sum(estimate * solved, axis=1))


def under_hypothesis(fit: MixedFit, lines: Array) -> MixedFit:
    """The fit with Lβ = 0: its coefficients, variances and the outcome's own parameters."""
    free = null_space(lines)
    design = replace(fit.design, x=fit.design.x @ free)
    if free.shape[1]:
        found = solve(design, fit.observed, options_of(fit))
    else:
        raise InputError("the hypothesis leaves no effect of the model", [len(lines)])
    return _moved(fit, found, free @ found.beta)


def _moved(fit: MixedFit, found: Solution, beta: Array) -> MixedFit:
    groups = [part.group for part in fit.design.random]
    return replace(
        fit,
        estimates=fit.estimates.assign(estimate=beta),
        variances=variances_frame(fit.design.random, found, fit.design.residual),
        covariances=dict(zip(groups, found.psi, strict=True)),
        residual_sd=found.sigma,
        residual_covariance=found.residual,
        extra=found.extra,
    )
