"""Tables of a population curve: fixed effects with their intervals, variation between learners."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy.special import ndtri, stdtr, stdtrit

from motorlearn.curves.population.arrays import Scale
from motorlearn.curves.population.layout import RATE, Layout
from motorlearn.curves.population.learners import Learners
from motorlearn.curves.population.maximum import PopulationFit
from motorlearn.rows import Schema
from motorlearn.tables import Column

VARIANCES = Schema(
    (
        Column("group"),
        Column("term"),
        Column("other", "with"),
        Column("variance", "(co)variance", "significant", decimals=4),
        Column("sd", "SD", "significant", decimals=4),
        Column("correlation", kind="number"),
    ),
    ("term", "other", "variance", "sd", "correlation"),
)


def _term_names(layout: Layout, groups: Sequence[str], amount: str) -> list[tuple[str, int]]:
    """Fixed effects in the order of the vector, with the parameter each belongs to."""
    terms = []
    for row, name in enumerate(("asymptote", amount, "log_rate")):
        terms.append((name, row))
        terms += [(f"{name}[{group}]", row) for group in groups[1:] if layout.differ[row]]
    return terms


def degrees_of_freedom(fit: PopulationFit, groups: Sequence[str], learners: int) -> np.ndarray:
    """Learners less groups where a parameter varies, rows less terms where it does not."""
    layout = fit.layout
    rows = [row for _, row in _term_names(layout, groups, "gain")]
    spare = [
        learners - len(groups) if row in layout.vary else fit.rows - layout.fixed for row in rows
    ]
    found: np.ndarray = np.maximum(np.array(spare, float), 1)
    return found


def estimate_terms(
    fit: PopulationFit,
    scale: Scale,
    groups: Sequence[str],
    amount: str,
    level: float,
    df: np.ndarray,
    limits: np.ndarray | None = None,
) -> tuple[pd.DataFrame, np.ndarray]:
    """Fixed effects with intervals, and their covariance, on the scale of the scores.

    ``limits`` are those of a profile on the scale of the fit; without them they are Wald's.
    """
    layout = fit.layout
    terms = _term_names(layout, groups, amount)
    unit = np.array([1.0 if row == RATE else scale.unit for _, row in terms])
    shift = np.array(
        [
            scale.middle * (row == 0 or (row == 1 and amount == "start")) * ("[" not in name)
            for name, row in terms
        ]
    )
    count = layout.fixed
    estimate = fit.summit.point[:count] * unit + shift
    vcov = fit.covariance[:count, :count] * np.outer(unit, unit)
    error = np.sqrt(np.maximum(np.diag(vcov), 0))
    half = -stdtrit(df, (1 - level) / 2) * error
    ends = np.stack([estimate - half, estimate + half], axis=1)
    if limits is not None:
        ends = limits * unit[:, None] + shift[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        statistic = estimate / error
    frame = pd.DataFrame(
        {
            "term": [name for name, _ in terms],
            "estimate": estimate,
            "std_error": error,
            "df": df,
            "statistic": statistic,
            "p": 2 * stdtr(df, -np.abs(statistic)),
            "conf_low": ends[:, 0],
            "conf_high": ends[:, 1],
        }
    )
    return frame, vcov


def whole_covariance(fit: PopulationFit, scale: Scale, shared: int) -> np.ndarray:
    """Covariance of the fixed effects and of what learners share of the rates, which come after."""
    layout = fit.layout
    later = layout.size - layout.extra + np.arange(shared)
    places = np.r_[np.arange(layout.fixed), later]
    unit = np.array([1.0 if row == RATE else scale.unit for row in layout.rows] + [1.0] * shared)
    found: np.ndarray = fit.covariance[np.ix_(places, places)] * np.outer(unit, unit)
    return found


def between_learners(fit: PopulationFit, scale: Scale) -> np.ndarray:
    """Covariance between learners of asymptote, amount and log rate, shape (3, 3)."""
    root = fit.layout.root(fit.summit.point) * np.array([[scale.unit], [scale.unit], [1.0]])
    found: np.ndarray = root @ root.T
    return found


def variance_terms(
    cover: np.ndarray, vary: Sequence[int], amount: str, lost: Sequence[int]
) -> pd.DataFrame:
    """Variances, SDs and correlations of what varies between learners, missing of what is lost."""
    names = ("asymptote", amount, "log_rate")
    cover = cover.copy()
    cover[lost, :] = cover[:, lost] = np.nan
    sd = np.sqrt(np.diag(cover))
    rows = [
        VARIANCES.row(group="participant", term=names[a], variance=cover[a, a], sd=sd[a])
        for a in vary
    ]
    for place, a in enumerate(vary):
        for b in vary[place + 1 :]:
            both = sd[a] * sd[b]
            rows.append(
                VARIANCES.row(
                    group="participant",
                    term=names[a],
                    other=names[b],
                    variance=cover[a, b],
                    correlation=cover[a, b] / both if both > 0 else np.nan,
                )
            )
    return VARIANCES.frame(rows)


COMMON = Schema(
    (
        Column("term"),
        Column("estimate", kind="number"),
        Column("std_error", kind="number"),
        Column("conf_low", kind="number"),
        Column("conf_high", kind="number"),
    )
)


_NOTHING = COMMON.frame()
NOTHING = 1e-9
"""Relative standard error of a rate below which the rows do not depend on it."""
ENDLESS = 1e6
"""Upper limit of a shared rate, by its estimate, from which there is none."""
AT_END = 1e-3
"""Distance from an end of the range of what is shared, by the range, below which it is there."""
ALONG, LEVEL = np.linspace(-1.0, 1.0, 65), 1e-4
"""Places between the limits of a common term, and the relative slope below which it is level."""


def common_frame(
    data: Learners, fit: PopulationFit, level: float, *, flat: bool = False
) -> pd.DataFrame:
    """What all learners have in common; limits are taken on the scale without bounds.

    Missing is what the curve's shape needs where nothing changes (``flat``), savings among it, and
    a restart rate or a shared rate that moves nothing or whose interval has no upper end, and
    what came to an end of its range.
    """
    if data.common is None:
        return _NOTHING.copy()
    count = fit.layout.extra
    values, natural = fit.layout.common(fit.summit.point), data.common.natural
    error = np.sqrt(np.maximum(np.diag(fit.covariance[-count:, -count:]), 0))
    half = -ndtri((1 - level) / 2) * error
    step = 1e-6 * np.maximum(np.abs(values), 1e-3)
    with np.errstate(over="ignore"):
        slope = (natural(values + step) - natural(values - step)) / (2 * step)
        along = np.stack([natural(values + share * half) for share in ALONG])
    error = np.abs(slope) * error
    # Where a scale turns round, at its end, it has no slope to tell an error by.
    error[np.abs(slope) < LEVEL * np.abs(natural(values))] = np.nan
    frame = pd.DataFrame(
        {
            "term": list(data.common.names),
            "estimate": natural(values),
            "std_error": error,
            "conf_low": along.min(axis=0),
            "conf_high": along.max(axis=0),
        }
    )
    bent = frame["term"].isin(["restart_rate", *data.form.shared.names])
    size = frame["estimate"].abs()
    ends = dict(zip(data.form.shared.names, data.form.shared.ends))
    stuck = [_at_end(value, ends.get(name)) for name, value in zip(frame["term"], natural(values))]
    lost = np.array(stuck, bool) | bent & (
        (error <= NOTHING * size) | (frame["conf_high"] > ENDLESS * np.maximum(size, 1))
    )
    if flat:
        lost |= frame["term"].isin(["savings", *data.form.shared.names])
    frame.loc[lost, frame.columns[1:]] = np.nan
    return frame


def _at_end(value: float, ends: tuple[float, float] | None) -> bool:
    """Whether something shared came to an end of its range."""
    if ends is None:
        return False
    edge = AT_END * (ends[1] - ends[0])
    return bool(value < ends[0] + edge or value > ends[1] - edge)
