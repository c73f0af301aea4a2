"""Likelihood-ratio tests of nested models, with chi-squared or a parametric bootstrap."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats
from tqdm.auto import tqdm

from motorlearn.exceptions import InputError, RefusedError
from motorlearn.mixed.formula.designs import RandomPart
from motorlearn.mixed.refitting import refit_each
from motorlearn.mixed.result import MixedFit
from motorlearn.mixed.solve.covariance import Structure
from motorlearn.mixed.solving import shape_of
from motorlearn.mixed.whole import require_whole
from motorlearn.results import Recipe, Result
from motorlearn.tables import Table, estimates_table

Array = NDArray[np.float64]

AT_ONCE = 100


@dataclass(frozen=True)
class LikelihoodRatio(Result):
    """Comparison of two nested models.

    Parameters
    ----------
    statistic : float
        Twice the difference of the log likelihoods.
    df : int
        Difference in the number of parameters.
    p : float
        Upper tail of chi-squared.
    p_bootstrap : float or None
        Share of bootstrap statistics at least as large, (b + 1) / (B + 1).
    simulated : array (B,)
        Bootstrap statistics.
    failed : int
        Bootstrap samples to which a model could not be fitted; they are left out.
    frame : DataFrame
        ``model, parameters, loglik, aic, bic`` of both models.
    notes : tuple of str
        What to keep in mind.
    """

    statistic: float
    df: int
    p: float
    p_bootstrap: float | None
    simulated: Array = field(repr=False)
    failed: int
    frame: pd.DataFrame = field(repr=False)
    notes: tuple[str, ...]
    recipe: Recipe = field(repr=False)

    def tables(self) -> tuple[Table, ...]:
        """The two models, and the test."""
        test = {"chi_squared": [self.statistic], "df": [self.df], "p": [self.p]}
        if self.p_bootstrap is not None:
            test["p_bootstrap"] = [self.p_bootstrap]
        return (
            estimates_table(
                "likelihood-ratio", "Likelihood-ratio test", pd.DataFrame(test), notes=self.notes
            ),
            estimates_table("models", "Models compared", self.frame),
        )


def parameters(fit: MixedFit) -> int:
    """Number of fixed and variance parameters."""
    free = sum(Structure(part.blocks).n_free for part in fit.design.random)
    residual = int(fit.linear) + len(fit.extra)
    if fit.design.residual is not None:
        residual = shape_of(fit.design.residual).n_free
    return len(fit.fixed_names) + free + residual


def likelihood_ratio(
    smaller: MixedFit,
    larger: MixedFit,
    *,
    simulations: int = 0,
    seed: int | None = None,
) -> LikelihoodRatio:
    """Compare two nested models by their likelihoods.

    Parameters
    ----------
    smaller, larger : MixedFit
        Models of the same rows, the first one nested in the second.
    simulations : int
        Samples of the parametric bootstrap: outcomes are drawn from the smaller model and both are
        fitted again. With 0 only chi-squared is used.
    seed : int, optional
        Seed of the bootstrap; needed with simulations.

    Raises
    ------
    RefusedError
        If restricted likelihoods of models with different fixed parts are compared.
    InputError
        If the models do not stand on the same rows or are not nested in size.
    """
    for fit in (smaller, larger):
        require_whole(fit)
    smaller, larger = sorted((smaller, larger), key=parameters)
    _refuse_uncomparable(smaller, larger)
    df = parameters(larger) - parameters(smaller)
    statistic = max(0.0, 2 * (larger.loglik - smaller.loglik))
    simulated, failed, p_bootstrap = np.zeros(0), 0, None
    if simulations:
        if seed is None:
            raise InputError("the bootstrap draws random numbers", [seed], "give a seed")
        simulated, failed = _simulated_ratios(smaller, larger, simulations, seed)
        p_bootstrap = float((np.sum(simulated >= statistic) + 1) / (len(simulated) + 1))
    return LikelihoodRatio(
        statistic=statistic,
        df=df,
        p=float(stats.chi2.sf(statistic, df)),
        p_bootstrap=p_bootstrap,
        simulated=simulated,
        failed=failed,
        frame=_compared(smaller, larger),
        notes=_notes(smaller, larger, failed),
        recipe=Recipe(
            "likelihood_ratio",
            options={"simulations": simulations},
            n=smaller.n,
            seed=seed,
            engine="parametric bootstrap" if simulations else "chi-squared",
        ),
    )


def _refuse_uncomparable(smaller: MixedFit, larger: MixedFit) -> None:
    if (smaller.family, smaller.link) != (larger.family, larger.link):
        raise InputError("the models have different families or links", [smaller.link, larger.link])
    same = smaller.n == larger.n and np.array_equal(smaller.design.row, larger.design.row)
    if not (same and np.allclose(smaller.observed, larger.observed)):
        raise InputError(
            "the models do not stand on the same rows and outcome",
            [smaller.n, larger.n],
            "fit both to the rows that are complete for the larger one",
        )
    _refuse_other_weights(smaller, larger)
    if smaller.reml != larger.reml:
        raise RefusedError(
            "One model is fitted by restricted and one by full maximum likelihood; fit both with "
            "reml=False."
        )
    if smaller.reml and not _same_fixed_part(smaller, larger):
        raise RefusedError(
            "Restricted likelihoods of models with different fixed parts cannot be compared; fit "
            "both with reml=False."
        )
    if parameters(smaller) == parameters(larger):
        raise InputError(
            "the models have the same number of parameters, so neither is nested in the other",
            [parameters(smaller)],
            "compare them by AIC",
        )
    if smaller.recipe.options["quadrature"] != larger.recipe.options["quadrature"]:
        raise InputError(
            "the models use different numbers of quadrature nodes",
            [smaller.recipe.options["quadrature"], larger.recipe.options["quadrature"]],
            "fit both with the same",
        )
    _refuse_not_nested(smaller, larger)


def _refuse_not_nested(smaller: MixedFit, larger: MixedFit) -> None:
    x = larger.design.x[larger.design.cell]
    inside = smaller.design.x[smaller.design.cell]
    residual = inside - x @ np.linalg.lstsq(x, inside, rcond=None)[0]
    if np.abs(residual).max() > 1e-6 * max(1.0, np.abs(inside).max()):
        raise InputError(
            "the fixed part of the smaller model is not inside that of the larger one",
            [smaller.formula, larger.formula],
            "compare them by AIC",
        )

    if not _residuals_inside(smaller, larger):
        raise InputError(
            "the residuals of the smaller model are not inside those of the larger one",
            [fit.recipe.options["variance"] for fit in (smaller, larger)],
            "compare them by AIC",
        )
    if not _random_part_inside(smaller, larger):
        raise InputError(
            "the random part of the smaller model is not inside that of the larger one",
            [str(dict(smaller.random)), str(dict(larger.random))],
            "compare them by AIC",
        )


def _refuse_other_weights(smaller: MixedFit, larger: MixedFit) -> None:
    pairs = {
        "weights": (smaller.design.weight, larger.design.weight),
        "offsets": tuple(fit.design.offset[fit.design.cell] for fit in (smaller, larger)),
    }
    for what, (one, two) in pairs.items():
        if not np.allclose(one, two):
            raise InputError(
                f"the models have different {what}, so their likelihoods are of different outcomes",
                [
                    fit.recipe.columns.get(what.rstrip("s") if what == "offsets" else what, "none")
                    for fit in (smaller, larger)
                ],
                "fit both with the same",
            )


def _residuals_inside(smaller: MixedFit, larger: MixedFit) -> bool:
    """Whether variances and correlations of the smaller model are among those of the larger."""
    small, large = smaller.design.residual, larger.design.residual
    if small is None:
        return True
    if large is None or small.column != large.column:
        return False
    wider = large.variance != "equal" or small.variance == "equal"
    return wider and small.correlation in ("none", large.correlation)


def _is_level_of(part: RandomPart, larger: MixedFit) -> bool:
    """Whether a random intercept is among correlations that are free within its own levels."""
    residual = larger.design.residual
    free = residual is not None and residual.correlation == "unstructured"
    return free and part.terms == ("Intercept",) and part.group == larger.design.random[0].group


def _random_part_inside(smaller: MixedFit, larger: MixedFit) -> bool:
    """Whether every block of random terms lies within one block of the same grouping factor."""
    spaces = {
        part.group: [part.z[larger.design.cell][:, list(block)] for block in part.blocks]
        for part in larger.design.random
    }
    for part in smaller.design.random:
        if _is_level_of(part, larger):
            continue
        for block in part.blocks:
            inside = part.z[smaller.design.cell][:, list(block)]
            if not any(_within(inside, space) for space in spaces.get(part.group, ())):
                return False
    return True


def _within(inside: Array, space: Array) -> bool:
    scale = np.maximum(np.linalg.norm(inside, axis=0), 1e-300)
    columns = inside / scale
    rest = columns - space @ np.linalg.lstsq(space, columns)[0]
    return bool(np.abs(rest).max() < 1e-6)


def _same_fixed_part(one: MixedFit, two: MixedFit) -> bool:
    a, b = one.design.x[one.design.cell], two.design.x[two.design.cell]
    return a.shape == b.shape and np.allclose(a, b)


def _compared(smaller: MixedFit, larger: MixedFit) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {
                "formula": fit.formula,
                "random": str(dict(fit.random)),
                "parameters": parameters(fit),
                "loglik": fit.loglik,
                "aic": fit.aic,
                "bic": fit.bic,
            }
            for fit in (smaller, larger)
        ]
    )


def _notes(smaller: MixedFit, larger: MixedFit, failed: int) -> tuple[str, ...]:
    notes = []
    if _same_fixed_part(smaller, larger):
        notes.append(
            "A variance of zero lies on the edge of what is possible, so the chi-squared p is too "
            "large, for a single variance about twice; the bootstrap is not affected."
        )
    if failed:
        notes.append(f"{failed} bootstrap samples could not be fitted and are left out.")
    return tuple(notes)


def _simulated_ratios(
    smaller: MixedFit, larger: MixedFit, simulations: int, seed: int
) -> tuple[Array, int]:
    draws = smaller.simulate(simulations, seed=seed)
    ratios: list[float] = []
    failed = 0
    with tqdm(total=simulations, disable=None, desc="parametric bootstrap") as progress:
        for start in range(0, simulations, AT_ONCE):
            chunk = draws[start : start + AT_ONCE]
            (small, kept), (large, held) = refit_each(smaller, chunk), refit_each(larger, chunk)
            both = kept & held
            gain = small.deviance[both[kept]] - large.deviance[both[held]]
            ratios.extend(np.maximum(0.0, gain))
            failed += int((~both).sum())
            progress.update(len(chunk))
    return np.array(ratios), failed
