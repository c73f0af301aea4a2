"""Predictions, simulated responses and explained variance of a fitted mixed model."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.exceptions import InputError
from motorlearn.mixed.formula.designs import Design, RandomPart
from motorlearn.mixed.formula.matrices import require_columns
from motorlearn.mixed.responses import Response
from motorlearn.mixed.solve.covariance import Structure

Array = NDArray[np.float64]


def level_numbers(part: RandomPart, table: pd.DataFrame) -> NDArray[np.intp]:
    """Number of the known level of each row, −1 for an unknown one."""
    require_columns(table, part.columns)
    if len(part.columns) == 1:
        labels = table[part.columns[0]].astype(object)
    else:
        rows = table[list(part.columns)].itertuples(index=False, name=None)
        labels = pd.Series([":".join(map(str, row)) for row in rows], dtype=object)
    known = {level: number for number, level in enumerate(part.levels)}
    return np.array([known.get(label, -1) for label in labels], dtype=np.intp)


def random_matrix(part: RandomPart, table: pd.DataFrame) -> Array:
    """Random terms of new rows, (m, q)."""
    none = np.zeros((len(table), 0))
    return np.concatenate([none, *(plan.apply(table) for plan in part.plans)], axis=1)


def refuse_gaps(design: Design, table: pd.DataFrame) -> None:
    """Refuse rows for which a column of the model is missing."""
    plans = [design.fixed, *(plan for part in design.random for plan in part.plans)]
    names = tuple(dict.fromkeys(n for plan in plans for n in (*plan.means, *plan.levels)))
    require_columns(table, names)
    gaps = [name for name in names if table[name].isna().any()]
    if gaps:
        raise InputError(
            "a row to predict has no value in a column of the model", gaps, "fill or drop it"
        )


def known_effects(design: Design, effects: pd.DataFrame, table: pd.DataFrame) -> Array:
    """Sum of the random effects of the known levels of each row.

    Raises
    ------
    InputError
        If a row belongs to a level the model was not fitted to.
    """
    total = np.zeros(len(table))
    for part in design.random:
        number = level_numbers(part, table)
        if (number < 0).any():
            unknown = table[list(part.columns)].to_numpy()[number < 0]
            raise InputError(
                f"the model has no random effects for some levels of {part.group!r}",
                dict.fromkeys(":".join(map(str, row)) for row in unknown),
                "predict with participants='population', or fit the model with them",
            )
        if not part.terms:
            continue
        modes = effects.loc[effects["group"] == part.group, "estimate"].to_numpy()
        total += np.sum(random_matrix(part, table) * modes.reshape(-1, len(part.terms))[number], 1)
    return total


def between_variance(
    random: Sequence[RandomPart], covariances: Mapping[str, Array], z: list[Array]
) -> Array:
    """Variance of the linear predictor between participants, row by row."""
    found: Array = sum(
        np.einsum("na,ab,nb->n", rows, covariances[part.group], rows)
        for part, rows in zip(random, z, strict=True)
    )
    return found


def population_mean(response: Response, eta: Array, variance: Array, scale: str) -> Array:
    """Turn the linear predictor into what was asked for."""
    if scale == "link" or response.link == "identity":
        return eta
    return response.mean(eta, variance if scale == "average" else None).value


def whose(participants: str) -> str:
    """Whose prediction is asked for, checked."""
    if participants not in ("known", "population"):
        raise InputError(
            "whose prediction is not known", [participants], "use 'known' or 'population'"
        )
    return participants


def scale_of(scale: str, participants: str) -> str:
    """Scale of a prediction, checked."""
    if scale not in ("response", "link", "average"):
        raise InputError("the scale is not known", [scale], "use 'response', 'link' or 'average'")
    if scale == "average" and participants == "known":
        raise InputError(
            "an average over participants is not a prediction for known ones",
            [scale],
            "predict with participants='population'",
        )
    return scale


def draw_effects(
    design: Design, covariances: Mapping[str, Array], draws: int, rng: np.random.Generator
) -> Array:
    """Sum of newly drawn random effects for each cell, (draws, N)."""
    total = np.zeros((draws, len(design.x)))
    for part in design.random:
        structure = Structure(part.blocks)
        theta = structure.theta_of(covariances[part.group])
        lam = structure.factor(theta[None])[:, :, 0]
        u = rng.standard_normal((draws, len(part.levels), len(part.terms)))
        total += np.einsum("na,dna->dn", part.z, (u @ lam.T)[:, part.index])
    return total


def draw_correlated(
    design: Design, covariance: Array, draws: int, rng: np.random.Generator
) -> Array:
    """Residuals of each analysed row that correlate within a participant, (draws, n)."""
    part, levels = design.random[0], design.residual
    if levels is None:
        raise InputError("the residuals of this model do not correlate", [part.group])
    root = np.linalg.cholesky(covariance)
    u = rng.standard_normal((draws, len(part.levels), len(covariance))) @ root.T
    return u[:, part.index, levels.index][:, design.cell]


def draw_residuals(
    design: Design,
    covariance: Array,
    neighbours: float,
    spread: Array,
    shape: tuple[int, ...],
    rng: np.random.Generator,
) -> Array:
    """Residuals of each analysed row of a linear model, (draws, n), as they hang together."""
    part = design.residual
    if np.isfinite(neighbours):
        return draw_serial(design, neighbours, shape[0], rng) * spread
    if part is not None and part.correlation != "none":
        return draw_correlated(design, covariance, shape[0], rng)
    return rng.standard_normal(shape) * spread


def serial_order(
    run: NDArray[np.intp], place: Array
) -> tuple[NDArray[np.intp], NDArray[np.bool_], Array]:
    """Rows by run and place; whether a row begins its run, and its lag from the one before."""
    order = np.lexsort((place, run))
    first = np.ones(len(order), dtype=bool)
    first[1:] = np.diff(run[order]) != 0
    lag = np.ones(len(order))
    lag[1:] = np.where(first[1:], 1.0, np.diff(place[order]))
    return order, first, lag


def draw_serial(design: Design, rho: float, draws: int, rng: np.random.Generator) -> Array:
    """Residuals of variance one of each analysed row, autoregressive in runs, (draws, n)."""
    part = design.residual
    if part is None or part.run is None or part.place is None:
        raise InputError("the residuals of this model do not follow one another", None)
    order, first, lag = serial_order(part.run, part.place)
    u = rng.standard_normal((draws, len(order)))
    near = np.where(first, 0.0, np.sign(rho) ** (lag % 2) * np.abs(rho) ** lag)
    for i in range(1, len(order)):
        if not first[i]:
            u[:, i] = near[i] * u[:, i - 1] + np.sqrt(1 - near[i] ** 2) * u[:, i]
    out = np.empty_like(u)
    out[:, order] = u
    return out[:, design.cell]


def explained_variance(eta: Array, between: Array, residual: float) -> tuple[float, float, float]:
    """Marginal R², conditional R² and the intraclass correlation.

    References
    ----------
    Nakagawa S, Schielzeth H (2013). Methods Ecol Evol 4:133-142.
    https://doi.org/10.1111/j.2041-210x.2012.00261.x
    Johnson PCD (2014). Methods Ecol Evol 5:944-946. https://doi.org/10.1111/2041-210X.12225
    """
    fixed, random = float(np.var(eta)), float(np.mean(between))
    total = fixed + random + residual
    return fixed / total, (fixed + random) / total, random / (random + residual)
