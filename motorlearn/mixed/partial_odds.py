"""Ratings whose odds are not proportional: some terms with an effect at each cut of the scale."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from motorlearn.exceptions import FitError, InputError
from motorlearn.linear.hypotheses import require_level
from motorlearn.mixed.frames import inference_columns
from motorlearn.mixed.inference.terms import columns_of
from motorlearn.mixed.refitting import options_of
from motorlearn.mixed.result import MixedFit
from motorlearn.mixed.solve.engine import Solution
from motorlearn.mixed.solve.partial_ratings import PartialOrdinal
from motorlearn.mixed.solve.search_general import solve_general
from motorlearn.mixed.solving import Material, material
from motorlearn.mixed.whole import require_mixed
from motorlearn.results import Recipe, Result
from motorlearn.tables import Table, estimates_table

Array = NDArray[np.float64]

FEWEST = 20
MOST_ERROR = 20.0
"""Standard error on the link from which an effect is as good as without one."""


@dataclass(frozen=True)
class PartialOdds(Result):
    """A model of ratings in which some terms have an effect at each cut of the scale.

    Parameters
    ----------
    cuts : DataFrame
        ``cut, term, estimate, std_error, df, statistic, p, conf_low, conf_high``: effects on the
        link of a rating above ``cut``.
    common : DataFrame
        The same, without ``cut``, of terms with one effect.
    thresholds : DataFrame
        ``threshold, estimate, std_error`` where the columns of ``terms`` are zero.
    test : DataFrame
        ``statistic, df, p, p_bootstrap``: twice what the log likelihood gains over proportional
        odds.
    sds : DataFrame
        ``group, term, sd`` of the random effects.
    warnings : tuple of str
        Effects that run off to infinity, which have no standard error.
    loglik, aic : float
        Log likelihood and criterion.
    """

    cuts: pd.DataFrame = field(repr=False)
    common: pd.DataFrame = field(repr=False)
    thresholds: pd.DataFrame = field(repr=False)
    test: pd.DataFrame = field(repr=False)
    sds: pd.DataFrame = field(repr=False)
    warnings: tuple[str, ...]
    loglik: float
    aic: float
    recipe: Recipe = field(repr=False)

    def tables(self) -> Sequence[Table]:
        """Effects at each cut, common effects, the test against one effect for all cuts."""
        note = (
            "Effects on the link of a rating above the cut; exp of one is an odds ratio by logit."
        )
        return (
            estimates_table(
                "cuts", "Effects at each cut of the scale", self.cuts, notes=(note, *self.warnings)
            ),
            estimates_table("common", "Effects that are the same at every cut", self.common),
            estimates_table("test", "Partial against proportional odds", self.test),
            estimates_table("thresholds", "Thresholds", self.thresholds),
        )


@dataclass(frozen=True)
class _Asked:
    """Columns with an effect at each cut, and what brings them to a scale of one."""

    columns: list[int]
    scale: Array
    ready: Material


def partial_odds(
    fit: MixedFit,
    terms: str | Sequence[str],
    *,
    level: float = 0.95,
    simulations: int = 0,
    seed: int | None = None,
) -> PartialOdds:
    """Let terms of a model of ratings have an effect at each cut of the scale.

    P(rating ≤ k) = F(α_k − η − w'δ_k), w the columns of ``terms`` and δ = 0 at the first cut, so
    that the effect at cut k is β + δ_k; random effects and all other terms keep one effect. It is
    the model to turn to where :func:`check_assumptions` doubts proportional odds.

    Parameters
    ----------
    fit : MixedFit
        A model of family ``"ordinal"`` with three ratings or more.
    terms : str or sequence of str
        Terms of its formula, for example ``"group"`` or ``["group", "group:phase"]``.
    level : float
        Confidence level of the intervals (normal distribution).
    simulations : int
        Outcomes drawn from the proportional model for a bootstrap of the test; none if 0.
    seed : int, optional
        Seed of the bootstrap; needed with simulations.

    Returns
    -------
    PartialOdds
        Effects at each cut, common effects, thresholds, and the test against proportional odds.

    Raises
    ------
    InputError
        If the model is none of three ratings or more, or has no such term.
    FitError
        If the thresholds of some rows would have to cross, so that no maximum is found.

    References
    ----------
    Peterson B, Harrell FE (1990). Journal of the Royal Statistical Society C 39:205-217.
    https://doi.org/10.2307/2347760

    Examples
    --------
    >>> from motorlearn.mixed import fit_mixed
    >>> rng = np.random.default_rng(1)
    >>> person = np.repeat(np.arange(30), 8)
    >>> group = np.where(person < 15, "blocked", "random")
    >>> latent = rng.normal(0, 0.7, 30)[person] + rng.logistic(size=240)
    >>> cuts = np.where(person < 15, 1.5, 0.2)  # the groups differ at the upper cut alone
    >>> table = pd.DataFrame({
    ...     "participant": person, "group": group, "rating": (latent > -1) * 1 + (latent > cuts),
    ... })
    >>> fit = fit_mixed("rating ~ group", table, random={"participant": "1"}, family="ordinal")
    >>> partial_odds(fit, "group").cuts[["cut", "term", "estimate"]].round(1)
       cut             term  estimate
    0    0  group[T.random]      -0.3
    1    1  group[T.random]       1.1
    """
    require_level(level)
    require_mixed(fit)
    if fit.family != "ordinal" or len(fit.design.categories) < 3:
        raise InputError(
            "an effect at each cut needs a model of three ratings or more",
            [fit.family, *fit.design.categories],
            "fit family='ordinal'",
        )
    if simulations and seed is None:
        raise InputError("the bootstrap draws random numbers", [seed], "give a seed")
    listed = [terms] if isinstance(terms, str) else list(terms)
    columns, named = columns_of(listed, fit.design.fixed)
    if "Intercept" in [fit.fixed_names[i] for i in columns]:
        raise InputError("thresholds stand for the intercept", listed, "name another term")
    asked = _asked(fit, columns, fit.observed)
    found = _solved(fit, asked, fit.beta, fit.extra)
    gain = max(0.0, -found.deviance - 2 * fit.loglik)
    df = len(columns) * (len(fit.design.categories) - 2)
    test = {"statistic": gain, "df": df, "p": float(stats.chi2.sf(gain, df))}
    if simulations:
        test["p_bootstrap"] = _bootstrapped(fit, columns, gain, simulations, int(seed or 0))
    count = len(found.beta) + len(found.theta) + len(found.extra)
    options = {"terms": named, "level": level, "simulations": simulations}
    cuts, common, thresholds = _frames(fit, asked, found, level)
    return PartialOdds(
        *(cuts, common, thresholds),
        pd.DataFrame([test]),
        _sds(fit, found),
        _endless(cuts),
        -found.deviance / 2,
        found.deviance + 2 * count,
        Recipe("partial_odds", fit.recipe.columns, options, fit.n, seed=seed),
    )


def _asked(fit: MixedFit, columns: list[int], observed: Array) -> _Asked:
    ready = material(fit.design, observed, options_of(fit))
    scale = np.sqrt(np.mean(ready.x[:, columns] ** 2, axis=0))
    return _Asked(columns, scale, ready)


def _solved(fit: MixedFit, asked: _Asked, beta: Array, steps: Array) -> Solution:
    """The partial model, from the proportional one."""
    ready, k = asked.ready, len(fit.design.categories)
    own = ready.x[:, asked.columns] / asked.scale
    extra = np.concatenate([steps, np.zeros((k - 2) * len(asked.columns))])
    psi = [fit.covariances[part.group] for part in fit.design.random]
    try:
        with np.errstate(all="ignore"):
            return solve_general(
                ready.x,
                ready.factors,
                ready.cells,
                ready.offset,
                likelihood=PartialOrdinal(fit.link, k, own),
                quadrature=fit.recipe.options["quadrature"],
                start=(beta, psi, extra),
            )
    except np.linalg.LinAlgError:
        raise FitError(
            "thresholds of some rows would have to cross, so that no effects at each cut can be "
            "had; use fewer terms, or put neighbouring ratings together."
        ) from None


def _bootstrapped(
    fit: MixedFit, columns: list[int], gain: float, simulations: int, seed: int
) -> float:
    """Share of outcomes drawn from proportional odds that gain as much."""
    above = done = 0
    options = options_of(fit)
    likelihood = options.likelihood(fit.design)
    for observed in fit.simulate(simulations, seed=seed):
        asked = _asked(fit, columns, observed)
        ready = asked.ready
        psi = [fit.covariances[part.group] for part in fit.design.random]
        try:
            with np.errstate(all="ignore"):
                plain = solve_general(
                    ready.x,
                    ready.factors,
                    ready.cells,
                    ready.offset,
                    likelihood=likelihood,  # type: ignore[arg-type]
                    quadrature=options.quadrature,
                    start=(fit.beta, psi, fit.extra),
                )
            wider = _solved(fit, asked, plain.beta, plain.extra)
        except (FitError, np.linalg.LinAlgError):
            continue
        done += 1
        above += plain.deviance - wider.deviance >= gain
    if done < FEWEST:
        raise FitError(f"only {done} of {simulations} outcomes drawn could be fitted.")
    return (above + 1) / (done + 1)


def _frames(
    fit: MixedFit, asked: _Asked, found: Solution, level: float
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Effects at each cut, common effects and thresholds."""
    p, k, m = len(found.beta), len(fit.design.categories), len(asked.columns)
    joint = found.joint_vcov
    whole = np.concatenate([found.beta, np.zeros(len(joint) - p - len(found.extra)), found.extra])
    first = len(whole) - len(found.extra) + (k - 2)
    lines, cuts, names = [], [], []
    for cut in range(k - 1):
        for place, column in enumerate(asked.columns):
            line = np.zeros(len(whole))
            line[column] = 1.0
            if cut:
                line[first + (cut - 1) * m + place] = 1 / asked.scale[place]
            lines.append(line)
            cuts.append(fit.design.categories[cut])
            names.append(fit.fixed_names[column])
    effects = _told(np.array(lines), whole, joint, level)
    rest = [
        i
        for i, name in enumerate(fit.fixed_names)
        if i not in asked.columns and name != "Intercept"
    ]
    common = _told(np.eye(len(whole))[rest], whole, joint, level)
    return (
        pd.DataFrame({"cut": cuts, "term": names, **effects}),
        pd.DataFrame({"term": [fit.fixed_names[i] for i in rest], **common}),
        _thresholds(fit, found, first),
    )


def _endless(cuts: pd.DataFrame) -> tuple[str, ...]:
    """Take the tests of effects out that have none, and say which these are."""
    lost = ~(cuts["std_error"] < MOST_ERROR)
    cuts.loc[lost, [name for name in cuts if name not in ("cut", "term", "estimate")]] = np.nan
    named = [f"{row.term} above {row.cut}" for row in cuts[lost].itertuples()]
    if not named:
        return ()
    return (
        f"Ratings on one side of a cut are lacking for {', '.join(named)}: such an effect runs off "
        "to infinity and has no standard error; put neighbouring ratings together.",
    )


def _told(lines: Array, whole: Array, joint: Array, level: float) -> dict[str, Array]:
    error = np.sqrt(np.clip(np.einsum("ki,ij,kj->k", lines, joint, lines), 0, None))
    return inference_columns(lines @ whole, error, np.full(len(lines), np.inf), level)


def _thresholds(fit: MixedFit, found: Solution, first: int) -> pd.DataFrame:
    k, at = len(fit.design.categories), fit.fixed_names.index("Intercept")
    steps = np.exp(found.extra[: k - 2])
    lines = np.zeros((k - 1, len(found.joint_vcov)))
    lines[:, at] = -1.0
    for i, step in enumerate(steps):
        lines[i + 1 :, first - (k - 2) + i] = step
    t = np.concatenate([[0.0], np.cumsum(steps)]) - found.beta[at]
    error = np.sqrt(np.einsum("ki,ij,kj->k", lines, found.joint_vcov, lines))
    names = [
        f"{a}|{b}" for a, b in zip(fit.design.categories, fit.design.categories[1:], strict=False)
    ]
    return pd.DataFrame({"threshold": names, "estimate": t, "std_error": error})


def _sds(fit: MixedFit, found: Solution) -> pd.DataFrame:
    rows = [
        (part.group, term, float(np.sqrt(psi[i, i])))
        for part, psi in zip(fit.design.random, found.psi, strict=True)
        for i, term in enumerate(part.terms)
    ]
    return pd.DataFrame(rows, columns=["group", "term", "sd"])
