"""Estimated marginal means and contrasts between them.

The means are predictions over a balanced grid: every combination of the categorical columns of the
fixed part with equal weight, numeric columns at their mean.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.exceptions import InputError
from motorlearn.linear.hypotheses import require_level
from motorlearn.linear.multiplicity import holm
from motorlearn.mixed.contrast_kinds import Kind, contrast_weights, kind_in_words
from motorlearn.mixed.estimates import Estimates
from motorlearn.mixed.frames import inference_columns
from motorlearn.mixed.grids import At, GridRows, balanced_grid, several_values
from motorlearn.mixed.inference.simultaneous import adjusted, critical, max_t_tail, tukey_tail
from motorlearn.mixed.quantities import (
    EACH,
    OF_MEANS,
    SCALES,
    check_scale,
    explanation,
    place_of,
    quantity,
)
from motorlearn.mixed.result import MixedFit
from motorlearn.mixed.scales import Scale, differences, means_on_scale
from motorlearn.mixed.whole import require_mixed
from motorlearn.results import Recipe

Array = NDArray[np.float64]

ADJUSTMENTS = ("holm", "none", "tukey", "dunnett", "mvt")
TOGETHER = ("tukey", "dunnett", "mvt")
"""Adjustments that make the intervals hold together too."""


def marginal_means(
    fit: MixedFit,
    by: str | Sequence[str],
    *,
    within: str | Sequence[str] | None = None,
    scale: str = "link",
    level: float = 0.95,
    slope: str | None = None,
    at: At | None = None,
    rating: object = None,
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
    scale : {"link", "typical", "average", "median"}
        ``link``: on the scale of the linear predictor. ``typical``: the mean (a probability, a mean
        rating or count) for a participant whose random effects are zero. ``average``: averaged
        over participants. ``median``: of a lognormal outcome, for a typical participant.
    level : float
        Confidence level of the intervals.
    slope : str, optional
        Numeric column whose slope is estimated instead of a mean: the change of the linear
        predictor per unit of the column, at its mean or where ``at`` says.
    at : mapping, optional
        Values of columns by name: numbers for a numeric column instead of its mean, levels for a
        category instead of all of them. A column with several values is a column of the answer.
    rating : optional
        Of an ordinal model: the rating whose probability is estimated instead of the mean rating,
        or ``"each"``.

    Returns
    -------
    Estimates
        Acts as its frame: columns of ``within``, ``at`` and ``by``, then ``estimate, std_error, df,
        conf_low, conf_high`` and ``quantity``, which says what the estimate is. The difference
        between a typical participant and the average is explained in ``note``.

    Raises
    ------
    InputError
        If a column is not a categorical column of the fixed part, or the scale is not known.
    """
    require_level(level)
    require_mixed(fit)
    inside = [*_listed(within), *several_values(fit, at)]
    asked = list(dict.fromkeys([*inside, *_listed(by)]))
    _check(fit, [*_listed(within), *_listed(by)], slope, at)
    check_scale(fit, scale, OF_MEANS, slope, rating)
    grid, rows = balanced_grid(fit, asked, at, slope)
    frames = []
    for one in fit.design.categories if rating == EACH else (rating,):
        kind = Scale(scale, None if one is None else place_of(fit, one))
        frame = _frame_of_means(fit, rows, kind, level)
        if rating == EACH:
            frame.insert(0, "rating", one)
        frames.append(pd.concat([grid, frame], axis=1))
    out = pd.concat(frames, ignore_index=True)
    out["quantity"] = quantity(fit, scale, slope, rating)
    options = {"by": tuple(asked), "scale": scale, "level": level, "slope": slope, "at": at}
    return _told("marginal_means", out, fit, options | {"rating": rating})


def _frame_of_means(
    fit: MixedFit, rows: Sequence[GridRows], scale: Scale, level: float
) -> pd.DataFrame:
    low, high, estimate, error, df = means_on_scale(fit, rows, scale, level)
    return pd.DataFrame(
        {"estimate": estimate, "std_error": error, "df": df, "conf_low": low, "conf_high": high}
    )


def contrasts(
    fit: MixedFit,
    by: str | Sequence[str],
    *,
    within: str | Sequence[str] | None = None,
    adjust: str = "holm",
    scale: str = "link",
    kind: Kind = "pairwise",
    reference: object = None,
    level: float = 0.95,
    slope: str | None = None,
    at: At | None = None,
    rating: object = None,
) -> Estimates:
    """Compare estimated means between the levels of factors.

    Parameters
    ----------
    fit : MixedFit
        A fitted model.
    by : str or sequence of str
        Columns whose levels are compared, categories or columns of ``at``; several make up
        combined levels.
    within : str or sequence of str, optional
        Columns within whose levels the comparison is made, each a family of its own.
    adjust : {"holm", "none", "tukey", "dunnett", "mvt"}
        Adjustment within each family. Holm's changes p alone; ``tukey`` (all pairs), ``dunnett``
        (each level and the reference) and ``mvt`` (any kind), by the multivariate t distribution
        with the correlations of the estimates, change the intervals too, so that all of them hold
        together at ``level``. ``tukey`` takes the studentised range.
    scale : {"link", "typical", "average", "median", "ratio"}
        Scale of the difference; ``ratio`` gives exp of the difference on the link scale: the odds
        ratio of a logistic model, the ratio of means of counts and amounts, or the ratio of
        geometric means of a lognormal outcome or of ``log(column)``.
    kind : {"pairwise", "reference", "polynomial", "helmert"} or mapping
        All pairs (later level less earlier level), each level less the reference, linear,
        quadratic ... trends over equally spaced levels, each level less the mean of those before
        it, or weights of one's own by name, such as ``{"late - early": [-1, 0, 1]}``.
    reference : level, optional
        Reference level; the first one if not given.
    level : float
        Confidence level of the intervals.
    slope : str, optional
        Numeric column whose slopes are compared instead of means.
    at : mapping, optional
        Values of columns by name, as in :func:`marginal_means`; the comparison is made within each
        value of a column that has several.
    rating : optional
        Of an ordinal model: the rating whose probabilities are compared instead of mean ratings.

    Returns
    -------
    Estimates
        Acts as its frame: columns of ``within`` and ``at``, then ``contrast, estimate,
        std_error, df, statistic, p, p_adjusted, conf_low, conf_high, quantity``.

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
    require_mixed(fit)
    asked = _listed(by)
    places = [name for name in several_values(fit, at) if name not in asked]
    inside = list(dict.fromkeys([*_listed(within), *places]))
    _check(fit, [*_listed(within), *asked], slope, at)
    check_scale(fit, scale, tuple(SCALES), slope, rating)
    _check_adjustment(adjust, kind, reference)
    on = Scale(scale, None if rating is None else place_of(fit, rating))
    grid, rows = balanced_grid(fit, [*inside, *asked], at, slope)
    frames = []
    for family, members in _families(grid, inside):
        names = [" ".join(map(str, line)) for line in grid.loc[members, asked].to_numpy()]
        labels, weights = contrast_weights(names, kind, reference)
        frame = _compare(fit, [rows[i] for i in members], weights, on, level, adjust)
        frame.insert(0, "contrast", labels)
        for position, (name, value) in enumerate(zip(inside, family, strict=True)):
            frame.insert(position, name, value)
        frames.append(frame)
    out = pd.concat(frames, ignore_index=True)
    out["quantity"] = quantity(fit, scale, slope, rating)
    options = {"by": tuple(asked), "scale": scale, "level": level, "adjust": adjust}
    options |= {"kind": kind_in_words(kind), "slope": slope, "at": at, "rating": rating}
    return _told("contrasts", out, fit, options)


def contrast_lines(
    fit: MixedFit,
    by: str | Sequence[str],
    *,
    within: str | Sequence[str] | None = None,
    kind: Kind = "pairwise",
    reference: object = None,
) -> tuple[pd.DataFrame, Array]:
    """Columns of ``within`` with ``hypothesis``, and lines (k, p) of contrasts on the link's scale.

    Arguments are those of :func:`contrasts`.
    """
    asked, inside = _listed(by), _listed(within)
    _check(fit, [*inside, *asked], None, None)
    grid, rows = balanced_grid(fit, [*inside, *asked])
    frames, lines = [], []
    for family, members in _families(grid, inside):
        names = [" ".join(map(str, line)) for line in grid.loc[members, asked].to_numpy()]
        labels, weights = contrast_weights(names, kind, reference)
        lines.append(weights @ np.array([rows[i].x.mean(axis=0) for i in members]))
        frames.append(
            pd.DataFrame({**dict(zip(inside, family, strict=True)), "hypothesis": labels})
        )
    whole = np.concatenate(lines)
    return pd.concat(frames, ignore_index=True), np.where(np.abs(whole) > 1e-12, whole, 0.0)


def predict_ratings(
    fit: MixedFit,
    table: pd.DataFrame,
    *,
    participants: str = "known",
    offset: str | None = None,
) -> pd.DataFrame:
    """Predict the probability of each rating in new rows.

    Parameters
    ----------
    fit : MixedFit
        A model of family ``"ordinal"``.
    table : DataFrame
        Rows with the columns of the model.
    participants : {"known", "population"}
        As in ``MixedFit.predict``.
    offset : str, optional
        As in ``MixedFit.predict``.

    Returns
    -------
    DataFrame
        One row for each row of ``table``, one column for each rating; rows sum to one.

    Raises
    ------
    InputError
        If the model is none of ratings, or rows do not fit it.

    Examples
    --------
    >>> from motorlearn.mixed import fit_mixed
    >>> table = pd.DataFrame({
    ...     "participant": list("aabbccddeeff"),
    ...     "phase": ["pretest", "retention"] * 6,
    ...     "rating": [1, 2, 2, 3, 1, 3, 2, 2, 1, 1, 3, 3],
    ... })
    >>> fit = fit_mixed("rating ~ phase", table, random={"participant": "1"}, family="ordinal")
    >>> new = pd.DataFrame({"phase": ["pretest", "retention"]})
    >>> predict_ratings(fit, new, participants="population").round(2)
          1     2     3
    0  0.49  0.45  0.06
    1  0.06  0.45  0.49
    """
    require_mixed(fit)
    if fit.family != "ordinal":
        raise InputError("the model is none of ratings", [fit.family], "use its predict()")
    eta = fit.predict(table, participants=participants, scale="link", offset=offset)
    found = fit.response.probabilities(eta.to_numpy())
    return pd.DataFrame(found, index=table.index, columns=list(fit.design.categories))


def _check_adjustment(adjust: str, kind: Kind, reference: object) -> None:
    if adjust not in ADJUSTMENTS:
        raise InputError("the adjustment is not known", [adjust], f"use one of {ADJUSTMENTS}")
    pairs = kind == "pairwise" and reference is None
    if adjust == "tukey" and not pairs:
        raise InputError(
            "Tukey's adjustment is one for all pairs of levels",
            [kind_in_words(kind), reference],
            "use adjust='mvt'",
        )
    if adjust == "dunnett" and not (kind == "reference" or (kind == "pairwise" and not pairs)):
        raise InputError(
            "Dunnett's adjustment is one for each level and the reference",
            [kind_in_words(kind)],
            "use kind='reference', or adjust='mvt'",
        )


def _listed(names: str | Sequence[str] | None) -> list[str]:
    return [] if names is None else [names] if isinstance(names, str) else list(names)


def _check(fit: MixedFit, asked: Sequence[str], slope: str | None, at: At | None) -> None:
    known = fit.design.fixed.levels
    unknown = [name for name in asked if name not in known and name not in several_values(fit, at)]
    if unknown or not (asked or slope or at):
        raise InputError(
            "means are asked for by columns that are not categories of the fixed part",
            unknown,
            f"its categories are {', '.join(known) or 'none'}",
        )
    if len(set(asked)) < len(asked):
        raise InputError("a column is named twice", asked)


def _compare(
    fit: MixedFit,
    rows: Sequence[GridRows],
    weights: Array,
    scale: Scale,
    level: float,
    adjust: str = "none",
) -> pd.DataFrame:
    estimate, covariance, df = differences(fit, rows, weights, scale)
    with np.errstate(invalid="ignore"):
        error = np.sqrt(np.diag(covariance))
    frame = pd.DataFrame(inference_columns(estimate, error, df, level))
    p = frame["p"].to_numpy()
    if adjust in TOGETHER and (error > 0).all():
        correlation = covariance / np.outer(error, error)
        tail = tukey_tail(weights.shape[1]) if adjust == "tukey" else max_t_tail(correlation)
        p = adjusted(tail, frame["statistic"].to_numpy(), df)
        margin = critical(tail, df, level) * error
        frame["conf_low"], frame["conf_high"] = estimate - margin, estimate + margin
    elif adjust == "holm":
        p = holm(p)
    frame.insert(frame.columns.get_loc("p") + 1, "p_adjusted", p)
    if scale.name == "ratio":
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


def _told(call: str, frame: pd.DataFrame, fit: MixedFit, options: dict[str, object]) -> Estimates:
    scale, note = SCALES[str(options["scale"])], explanation(fit)
    frame.attrs |= {"scale": scale, "note": note}
    recipe = Recipe(call, fit.recipe.columns, options, fit.n, engine=fit.recipe.engine)
    return Estimates(frame, scale, note, recipe)
