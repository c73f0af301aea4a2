"""Estimated marginal means and contrasts between them.

The means are predictions over a balanced grid: every combination of the categorical columns of the
fixed part with equal weight, numeric columns at their mean.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, product
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.exceptions import InputError
from motorlearn.linear.hypotheses import require_level, t_quantile
from motorlearn.linear.multiplicity import holm
from motorlearn.mixed.averaging import average_over_normal, slope_in_variance
from motorlearn.mixed.estimates import Estimates
from motorlearn.mixed.formula.formulas import is_logarithm
from motorlearn.mixed.frames import inference_columns
from motorlearn.mixed.inference.degrees_of_freedom import contrast_covariance, degrees_of_freedom
from motorlearn.mixed.result import MixedFit
from motorlearn.mixed.solve.covariance import Structure
from motorlearn.mixed.solve.links import INVERSE_LINKS, mean_slope
from motorlearn.results import Recipe

Array = NDArray[np.float64]


@dataclass(frozen=True)
class GridRows:
    """Grid rows behind one mean: fixed part (m, p), and what each variance parameter adds.

    The variance of the linear predictor between participants is ``loadings @ variances``.
    """

    x: Array
    loadings: Array
    variances: Array


SCALES = {
    "link": "on the scale of the linear predictor",
    "typical": "for a participant whose random effects are zero",
    "average": "averaged over participants",
    "ratio": "ratio, for a participant whose random effects are zero",
}
GEOMETRIC = "ratio of geometric means"
EXPLANATION = (
    "A typical participant has random effects of zero; the average is taken over the spread of "
    "participants. With a curved link the two differ: by the logit and probit links the average "
    "probability lies nearer to one half. An odds ratio speaks of one typical participant, a "
    "difference of averages of the whole group."
)
ADJUSTMENTS = ("holm", "none")


def marginal_means(
    fit: MixedFit,
    by: str | Sequence[str],
    *,
    within: str | Sequence[str] | None = None,
    scale: str = "link",
    level: float = 0.95,
) -> Estimates:
    """Estimate means for the levels of factors, balanced over the other factors.

    Parameters
    ----------
    fit : MixedFit
        A fitted model.
    by : str or sequence of str
        Categorical columns of the fixed part whose levels are asked for.
    within : str or sequence of str, optional
        Further columns whose levels stand in front.
    scale : {"link", "typical", "average"}
        ``link``: on the scale of the linear predictor. ``typical``: the mean (a probability) for a
        participant whose random effects are zero. ``average``: averaged over participants.
    level : float
        Confidence level of the intervals.

    Returns
    -------
    Estimates
        Acts as its frame: columns of ``within`` and ``by``, then ``estimate, std_error, df,
        conf_low, conf_high`` and ``quantity``, which says what the estimate is. The difference
        between a typical participant and the average is explained in ``note``.

    Raises
    ------
    InputError
        If a column is not a categorical column of the fixed part, or the scale is not known.
    """
    require_level(level)
    asked = [*_listed(within), *_listed(by)]
    _check(fit, asked, scale, ("link", "typical", "average"))
    grid, rows = _grid(fit, asked)
    low, high, estimate, error, df = _means(fit, rows, scale, level)
    frame = pd.DataFrame(
        {"estimate": estimate, "std_error": error, "df": df, "conf_low": low, "conf_high": high}
    )
    frame["quantity"] = _quantity(fit, scale)
    options = {"by": tuple(asked), "scale": scale, "level": level}
    return _told("marginal_means", pd.concat([grid, frame], axis=1), fit, options)


def contrasts(
    fit: MixedFit,
    by: str | Sequence[str],
    *,
    within: str | Sequence[str] | None = None,
    adjust: str = "holm",
    scale: str = "link",
    kind: str = "pairwise",
    reference: object = None,
    level: float = 0.95,
) -> Estimates:
    """Compare estimated means between the levels of factors.

    Parameters
    ----------
    fit : MixedFit
        A fitted model.
    by : str or sequence of str
        Categorical columns whose levels are compared; several make up combined levels.
    within : str or sequence of str, optional
        Columns within whose levels the comparison is made, each a family of its own.
    adjust : {"holm", "none"}
        Adjustment of p within each family; intervals are never adjusted.
    scale : {"link", "typical", "average", "ratio"}
        Scale of the difference; ``ratio`` gives exp of the difference on the link scale: the odds
        ratio of a logistic model, or the ratio of geometric means where the outcome is
        ``log(column)``.
    kind : {"pairwise", "reference", "polynomial"}
        All pairs (later level less earlier level), each level less the reference, or linear,
        quadratic ... trends over equally spaced levels.
    reference : level, optional
        Reference level; the first one if not given.
    level : float
        Confidence level of the intervals.

    Returns
    -------
    Estimates
        Acts as its frame: columns of ``within``, then ``contrast, estimate, std_error, df,
        statistic, p, p_adjusted, conf_low, conf_high, quantity``.

    Raises
    ------
    InputError
        If a column is not a category of the fixed part, or an option is not known.

    Examples
    --------
    >>> from motorlearn.mixed import fit_mixed
    >>> table = pd.DataFrame({
    ...     "participant": list("aabbccdd"),
    ...     "phase": ["pretest", "retention"] * 4,
    ...     "hits": [5, 9, 3, 8, 7, 8, 4, 9],
    ...     "throws": 12,
    ... })
    >>> fit = fit_mixed("hits ~ phase", table, random={"participant": "1"},
    ...                 family="binomial", attempts="throws")
    >>> contrasts(fit, "phase", scale="ratio")[["contrast", "estimate"]].round(2)
                  contrast  estimate
    0  retention - pretest      3.71
    >>> contrasts(fit, "phase", scale="average")["estimate"].round(2).item()
    0.31
    """
    require_level(level)
    inside, asked = _listed(within), _listed(by)
    _check(fit, [*inside, *asked], scale, tuple(SCALES))
    if adjust not in ADJUSTMENTS:
        raise InputError("the adjustment is not known", [adjust], f"use one of {ADJUSTMENTS}")
    if scale == "ratio" and not (fit.link == "logit" or is_logarithm(fit.formula)):
        raise InputError(
            "a ratio needs a logit link or an outcome that is the logarithm of a column",
            [fit.formula],
            "use scale='link', 'typical' or 'average'",
        )
    grid, rows = _grid(fit, [*inside, *asked])
    frames = []
    for family, members in _families(grid, inside):
        names = [" ".join(map(str, line)) for line in grid.loc[members, asked].to_numpy()]
        labels, weights = _weights(names, kind, reference)
        frame = _compare(fit, [rows[i] for i in members], weights, scale, level)
        frame.insert(0, "contrast", labels)
        adjusted = holm(frame["p"]) if adjust == "holm" else frame["p"]
        frame.insert(frame.columns.get_loc("p") + 1, "p_adjusted", adjusted)
        for position, (name, value) in enumerate(zip(inside, family, strict=True)):
            frame.insert(position, name, value)
        frames.append(frame)
    out = pd.concat(frames, ignore_index=True)
    out["quantity"] = _quantity(fit, scale)
    options = {"by": tuple(asked), "scale": scale, "level": level, "adjust": adjust, "kind": kind}
    return _told("contrasts", out, fit, options)


def _listed(names: str | Sequence[str] | None) -> list[str]:
    return [] if names is None else [names] if isinstance(names, str) else list(names)


def _check(fit: MixedFit, asked: Sequence[str], scale: str, scales: Sequence[str]) -> None:
    known = fit.design.fixed.levels
    unknown = [name for name in asked if name not in known]
    if unknown or not asked:
        raise InputError(
            "means are asked for by columns that are not categories of the fixed part",
            unknown,
            f"its categories are {', '.join(known) or 'none'}",
        )
    if len(set(asked)) < len(asked):
        raise InputError("a column is named twice", asked)
    if scale not in scales:
        raise InputError("the scale is not known", [scale], f"use one of {tuple(scales)}")


def _grid(fit: MixedFit, asked: Sequence[str]) -> tuple[pd.DataFrame, list[GridRows]]:
    """Levels asked for and, for each, the rows of the grid that it averages."""
    plan = fit.design.fixed
    others = [name for name in plan.levels if name not in asked]
    order = [*asked, *others]
    combos = list(product(*(plan.levels[name] for name in order)))
    table = pd.DataFrame(combos, columns=order)
    for name, mean in plan.means.items():
        table[name] = mean
    matrix = plan.apply(table)
    loadings, variances = _loadings(fit, table)
    grid = table[list(asked)].drop_duplicates().reset_index(drop=True)
    size = len(table) // len(grid)
    pieces = [slice(start, start + size) for start in range(0, len(table), size)]
    return grid, [GridRows(matrix[piece], loadings[piece], variances) for piece in pieces]


def _loadings(fit: MixedFit, table: pd.DataFrame) -> tuple[Array, Array]:
    """What each free entry of the covariances adds to the variance of the linear predictor."""
    table = table.copy()
    columns, values = [], []
    for part in fit.design.random:
        for plan in part.plans:
            for name, mean in plan.means.items():
                table[name] = table.get(name, mean)
            for name, levels in plan.levels.items():
                table[name] = table.get(name, levels[0])
        none = np.zeros((len(table), 0))
        z = np.concatenate([none, *(plan.apply(table) for plan in part.plans)], axis=1)
        covariance = fit.covariances[part.group]
        for a, b in zip(*Structure(part.blocks).entries, strict=True):
            columns.append(z[:, a] * z[:, b] * (1 if a == b else 2))
            values.append(covariance[a, b])
    return np.array(columns).reshape(len(values), len(table)).T, np.array(values)


def _means(fit: MixedFit, rows: Sequence[GridRows], scale: str, level: float) -> tuple[Array, ...]:
    weights = np.eye(len(rows))
    if scale != "link" and fit.link != "identity":
        found = [_on_mean_scale(fit, block, scale) for block in rows]
        return _probability_intervals(fit, rows, found, level)
    frame = _compare(fit, rows, weights, "link", level)
    return tuple(
        frame[name].to_numpy() for name in ("conf_low", "conf_high", "estimate", "std_error", "df")
    )


def _probability_intervals(
    fit: MixedFit, rows: Sequence[GridRows], found: Sequence[tuple[float, Array]], level: float
) -> tuple[Array, ...]:
    """Intervals of probabilities, made on the logit scale so that they stay inside 0 to 1."""
    p = np.array([value for value, _ in found])
    error = np.array([np.sqrt(_delta_variance(fit, slope)) for _, slope in found])
    lines = np.array([block.x.mean(axis=0) for block in rows])
    factor, df = _small_sample(fit, lines)
    error = error * factor
    margin = t_quantile(level, df) * error / (p * (1 - p))
    logit = np.log(p / (1 - p))
    inverse = INVERSE_LINKS["logit"]
    return inverse(logit - margin), inverse(logit + margin), p, error, df


def _small_sample(fit: MixedFit, lines: Array) -> tuple[Array, Array]:
    """What few people add to the standard errors of β-lines (k, p), as a factor, and their df."""
    inference, count = fit.inference, lines.shape[1]
    plain = inference.joint_vcov[:count, :count]
    own, used = (
        np.array([contrast_covariance(line[None], vcov)[0, 0] for line in lines])
        for vcov in (plain, inference.vcov)
    )
    df = np.array([degrees_of_freedom(line, inference) for line in lines])
    return np.sqrt(np.divide(used, own, out=np.ones(len(lines)), where=own > 0)), df


def _on_mean_scale(fit: MixedFit, rows: GridRows, scale: str) -> tuple[float, Array]:
    """Mean of grid rows on the scale of the outcome, and its gradient in β and the variances."""
    eta = rows.x @ fit.beta
    if scale == "typical":
        value, by_eta = INVERSE_LINKS[fit.link](eta), mean_slope(fit.link, eta)
        by_variance = np.zeros(len(eta))
    else:
        variance = rows.loadings @ rows.variances
        value, by_eta = average_over_normal(fit.link, eta, variance)
        by_variance = slope_in_variance(fit.link, eta, variance)
    slope = np.concatenate([by_eta @ rows.x, by_variance @ rows.loadings]) / len(eta)
    return float(value.mean()), slope


def _delta_variance(fit: MixedFit, slope: Array) -> float:
    return float(contrast_covariance(slope[None], fit.inference.joint_vcov)[0, 0])


def _compare(
    fit: MixedFit, rows: Sequence[GridRows], weights: Array, scale: str, level: float
) -> pd.DataFrame:
    lines = weights @ np.array([block.x.mean(axis=0) for block in rows])
    lines = np.where(np.abs(lines) > 1e-12, lines, 0.0)
    if scale in ("link", "ratio") or fit.link == "identity":
        estimate = lines @ fit.beta
        with np.errstate(invalid="ignore"):
            error = np.sqrt([contrast_covariance(line[None], fit.vcov)[0, 0] for line in lines])
        df = np.array([degrees_of_freedom(line, fit.inference) for line in lines])
    else:
        found = [_on_mean_scale(fit, block, scale) for block in rows]
        slopes = weights @ np.array([slope for _, slope in found])
        estimate = weights @ np.array([value for value, _ in found])
        error = np.sqrt([_delta_variance(fit, slope) for slope in slopes])
        factor, df = _small_sample(fit, lines)
        error = error * factor
    frame = pd.DataFrame(inference_columns(estimate, error, df, level))
    if scale == "ratio":
        for name in ("estimate", "conf_low", "conf_high"):
            frame[name] = np.exp(frame[name])
        frame["std_error"] = frame["estimate"] * error
    return frame


def _families(
    grid: pd.DataFrame, inside: Sequence[str]
) -> list[tuple[tuple[Any, ...], NDArray[np.intp]]]:
    if not inside:
        return [((), np.arange(len(grid)))]
    groups = grid.groupby(list(inside), sort=False, observed=True).indices
    return [(key if isinstance(key, tuple) else (key,), index) for key, index in groups.items()]


def _weights(names: Sequence[str], kind: str, reference: object) -> tuple[list[str], Array]:
    count = len(names)
    if count < 2:
        raise InputError("a contrast needs at least two levels", names, "name another column")
    if kind == "polynomial":
        return _polynomial(count)
    if kind not in ("pairwise", "reference"):
        raise InputError(
            "the kind of contrast is not known",
            [kind],
            "use 'pairwise', 'reference' or 'polynomial'",
        )
    base = names[0] if reference is None else str(reference)
    if base not in names:
        raise InputError("the reference is not a level", [reference], f"use one of {names}")
    start = names.index(base)
    pairs = (
        list(combinations(range(count), 2))
        if kind == "pairwise" and reference is None
        else [(start, other) for other in range(count) if other != start]
    )
    weights = np.zeros((len(pairs), count))
    for line, (first, second) in zip(weights, pairs, strict=True):
        line[first], line[second] = -1, 1
    return [f"{names[second]} - {names[first]}" for first, second in pairs], weights


def _polynomial(count: int) -> tuple[list[str], Array]:
    names = ["linear", "quadratic", "cubic", "quartic", "quintic"][: count - 1]
    steps = np.arange(count) - (count - 1) / 2
    q, r = np.linalg.qr(np.vander(steps, len(names) + 1, increasing=True))
    return names, (q * np.sign(np.diag(r))).T[1:]


def _quantity(fit: MixedFit, scale: str) -> str:
    if scale == "ratio":
        return "odds ratio, typical participant" if fit.link == "logit" else GEOMETRIC
    if fit.family == "gaussian":
        return "mean"
    return {
        "link": f"{fit.link}, typical participant",
        "typical": "probability, typical participant",
        "average": "probability, average over participants",
    }[scale]


def _told(call: str, frame: pd.DataFrame, fit: MixedFit, options: dict[str, object]) -> Estimates:
    scale, note = SCALES[str(options["scale"])], EXPLANATION if fit.family == "binomial" else ""
    frame.attrs |= {"scale": scale, "note": note}
    recipe = Recipe(call, fit.recipe.columns, options, fit.n, engine=fit.recipe.engine)
    return Estimates(frame, scale, note, recipe)
