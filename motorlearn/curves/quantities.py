"""Quantities with a meaning: level, rate, trials to a criterion, half-life, and group contrasts."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial
from operator import itemgetter
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from motorlearn.curves.forms import Form, named_form
from motorlearn.curves.options import check_level, finite
from motorlearn.curves.population.curve import PopulationCurve
from motorlearn.curves.population.learners import rate_of
from motorlearn.curves.single.curve_fit import CurveFit
from motorlearn.curves.single.df import df_along
from motorlearn.curves.single.rows import as_numbers, check_counts
from motorlearn.exceptions import InputError
from motorlearn.linear.hypotheses import t_quantile
from motorlearn.results import Recipe, Result
from motorlearn.rows import Row, Schema
from motorlearn.tables import Column, Table, estimates_table

FARTHEST = 1e9
_INTERVAL = (
    Column("estimate", kind="number"),
    Column("conf_low", "lower", kind="number"),
    Column("conf_high", "upper", kind="number"),
    Column("reason"),
)
_GROUP, _ASKED = Column("group"), (Column("quantity"), Column("at", kind="number"))
QUANTITIES = Schema((_GROUP, *_ASKED, *_INTERVAL))
CONTRASTS = Schema((_GROUP, Column("reference"), *_ASKED, Column("kind"), *_INTERVAL))
AREA_NODES = 40
SIGNED = ("level_at", "area")
"""Quantities on the scale of the scores, which may be below 0; the others are above 0."""
NOT_REACHED = "the curve does not reach the criterion"
NO_ERROR = "no standard error"
NO_WAY = "too little was gained before"
FROM_CURVE = ("rate_at", "half_life", "trials_to")
"""Quantities that need more than the height of the curve where it was seen."""


@dataclass(frozen=True)
class CurveQuantities(Result):
    """Quantities of a curve: ``group, quantity, at, estimate, conf_low, conf_high, reason``.

    With several groups, ``contrasts`` holds differences of levels and ratios of the others to the
    first group. What is not estimated is missing, with its ``reason``.
    """

    estimates: pd.DataFrame
    contrasts: pd.DataFrame
    recipe: Recipe = field(default_factory=lambda: Recipe("curve_quantities"), repr=False)

    def tables(self) -> Sequence[Table]:
        """Quantities, and contrasts of groups where there are any."""
        shown = [estimates_table("quantities", "Quantities of the curve", self.estimates)]
        if len(self.contrasts):
            shown.append(estimates_table("contrasts", "Groups compared", self.contrasts))
        return tuple(shown)


@dataclass(frozen=True)
class _Parameters:
    """Group cells (asymptote, gain, log rates …) as linear maps of one vector with covariance."""

    point: np.ndarray
    covariance: np.ndarray
    picks: dict[str, np.ndarray]
    df: float
    turns: np.ndarray = field(default_factory=lambda: np.zeros((0, 0, 0)))


def curve_quantities(
    fit: CurveFit | PopulationCurve,
    *,
    level_at: Sequence[float] = (),
    rate_at: Sequence[float] = (),
    criterion: float | None = None,
    area: tuple[float, float] | None = None,
    level: float = 0.95,
) -> CurveQuantities:
    r"""Give quantities of a curve with intervals, and compare groups on them.

    The height :math:`y(n)`, the rate of change :math:`|y'(n)|`, the practice at which the
    curve reaches a criterion, the half-life, and the area under the curve; after a fit with
    ``restart="savings"`` or ``"both"`` also the savings, the share of the way gained that is
    still there when a session begins (at ``at``; of a population there is one for all). Intervals
    are by the delta method: on the scale of the scores for levels and areas, of shares for
    savings, of their logarithms for what is above 0; a half-life by one rate has the limits of the
    log rate turned round. Where limits of a population are profiles (fewer than 30 learners), its
    covariance is taken times m over m less groups, m learners.

    Parameters
    ----------
    fit : CurveFit or PopulationCurve
        A fit; of a population the curve of typical parameters is meant.
    level_at, rate_at : sequence of float
        Practice counts of heights and of rates of change.
    criterion : float, optional
        Score (for hits: probability) to reach.
    area : pair of float, optional
        Practice counts between which the curve is added up, :math:`\int y(n)\,dn`.
    level : float
        Confidence level.

    Raises
    ------
    InputError
        For another kind of fit, or numbers that cannot be used.

    Examples
    --------
    >>> from motorlearn.curves import fit_curve
    >>> trial = np.arange(1, 61)
    >>> fit = fit_curve(trial, 20 + 16 * np.exp(-0.1 * (trial - 1)) + 0.2 * np.sin(trial))
    >>> told = curve_quantities(fit, criterion=24.0).estimates.set_index("quantity")["estimate"]
    >>> round(float(told["trials_to"]), 1)
    14.8
    """
    level = check_level(level)
    if not isinstance(fit, CurveFit | PopulationCurve):
        raise InputError("quantities are those of a curve", [type(fit).__name__])
    asked = [("level_at", n) for n in _places(level_at, "level_at")]
    asked += [("rate_at", n) for n in _places(rate_at, "rate_at")]
    check_counts(named_form(fit.form), np.array([n for _, n in asked]), fit.first)
    asked += [("half_life", np.nan)]
    span = _span(fit, area)
    asked += [("area", float("nan"))] if span else []
    if criterion is not None:
        asked += [("trials_to", finite(criterion, "the criterion is not a finite number"))]
    known = _parameters(fit)
    rows, contrasts = [], []
    for name, at in asked:
        value = _function(fit, name, at, span)
        turn = _by_log_rate(fit) if name == "half_life" else None
        for group, pick in known.picks.items():
            own = _picked(value if turn is None else itemgetter(2), pick)
            row = _interval(known, own, name, level, _reason(fit, name), turn)
            rows.append(QUANTITIES.row(group=group, quantity=name, at=at, **row))
        contrasts += _against_first(fit, known, value, (name, at), level)
    rows += _savings(fit, level)
    recipe = Recipe(
        "curve_quantities", options={"criterion": criterion, "area": span, "level": level}, n=fit.n
    )
    return CurveQuantities(QUANTITIES.frame(rows), CONTRASTS.frame(contrasts), recipe)


def _places(given: Any, what: str) -> list[float]:
    """Practice counts, one or several."""
    places = np.atleast_1d(as_numbers(given, what)).ravel()
    if not np.all(np.isfinite(places)):
        raise InputError(f"{what} must be practice counts", [given])
    found: list[float] = places.tolist()
    return found


def _savings(fit: CurveFit | PopulationCurve, level: float) -> list[Row]:
    """Savings, where sessions were fitted with them: of one learner for the begin of each session.

    Of a population there is one, the same for all learners and sessions.
    """
    if isinstance(fit, CurveFit):
        where, terms = dict(fit.saved), fit.estimates.set_index("term")
        dfs = df_along(np.eye(len(fit.curve)), fit.vcov, fit.turns, fit.df)
        spreads = dict(zip(fit.curve, np.atleast_1d(t_quantile(level, dfs))))
    else:
        where, terms = {"savings": np.nan}, fit.common.set_index("term")
        spreads = {"savings": float(t_quantile(level, np.inf))}
    rows, seen = [], fit.status in ("ok", "asymptote not seen")
    for term in (name for name in where if name in terms.index):
        value, error = float(terms.at[term, "estimate"]), float(terms.at[term, "std_error"])
        half = float(spreads[term]) * error
        known = {"estimate": value, "conf_low": value - half, "conf_high": value + half}
        told = known if np.isfinite(value) else {"reason": NO_WAY if seen else fit.status}
        rows.append(QUANTITIES.row(quantity="savings", at=where[term], **told))
    return rows


def learner_quantity(fit: CurveFit, name: str, at: Any) -> dict[str, Any]:
    """One quantity of one learner: estimate, the same on its scale with standard error, reason.

    The scale is that of the scores for levels and areas, of logarithms for what is above 0.
    """
    span = _span(fit, at) if name == "area" else None
    place = np.nan if name in ("area", "half_life") else finite(at, "at is not a finite number")
    if name in ("level_at", "rate_at"):
        check_counts(named_form(fit.form), np.array([place]), fit.first)
    reason = _reason(fit, name)
    known = _parameters(fit)
    if reason or not np.all(np.isfinite(known.point)):
        return {"reason": reason or fit.status}
    value = _function(fit, name, place, span)
    centre, error, _ = _with_error(known, value)
    if not np.isfinite(centre) or not np.isfinite(error):
        return {"reason": NOT_REACHED if not np.isfinite(centre) else NO_ERROR}
    if name in SIGNED:
        return {"estimate": centre, "scaled": centre, "std_error": error}
    if centre <= 0:
        return {"reason": "not above 0"}
    return {"estimate": centre, "scaled": float(np.log(centre)), "std_error": error / centre}


def _span(fit: CurveFit | PopulationCurve, area: Any) -> tuple[float, float] | None:
    if area is None:
        return None
    ends = as_numbers(list(area), "area") if isinstance(area, list | tuple) else np.zeros(0)
    if ends.shape != (2,) or not np.all(np.isfinite(ends)) or not ends[0] < ends[1]:
        raise InputError("area must be two practice counts in order", [area], "as (1, 60)")
    check_counts(named_form(fit.form), ends, fit.first)
    return float(ends[0]), float(ends[1])


def _picked(
    value: Callable[[np.ndarray], float], pick: np.ndarray
) -> Callable[[np.ndarray], float]:
    """The quantity of one group as a function of all parameters."""
    return lambda p: value(pick @ p)


def _against_first(
    fit: CurveFit | PopulationCurve,
    known: _Parameters,
    value: Callable[[np.ndarray], float],
    asked: tuple[str, float],
    level: float,
) -> list[Row]:
    """Difference (levels) or ratio (the others) of each group and the first."""
    (first, base), *others = known.picks.items()
    name, at = asked
    kind = "difference" if name in SIGNED else "ratio"
    rows = []
    for group, pick in others:

        def between(p: np.ndarray, pick: np.ndarray = pick) -> float:
            one, other = value(pick @ p), value(base @ p)
            return one - other if kind == "difference" else one / other

        row = _interval(known, between, name, level, _reason(fit, name))
        named = {"group": group, "reference": first, "quantity": name}
        rows.append(CONTRASTS.row(**named, at=at, kind=kind, **row))
    return rows


def _parameters(fit: CurveFit | PopulationCurve) -> _Parameters:
    if isinstance(fit, CurveFit):
        terms = list(fit.curve)
        wanted = ["asymptote", "gain", *named_form(fit.form).rates]
        place = [terms.index(name) for name in wanted]
        point = np.array([fit.curve[name] for name in wanted])
        cover = np.asarray(fit.vcov)[np.ix_(place, place)].copy()
        with np.errstate(all="ignore"):
            turn = np.r_[1.0, 1.0, 1 / point[2:]]
            point = np.r_[point[:2], np.log(point[2:])]
        scale = np.outer(turn, turn)
        turns = fit.turns[:, place][:, :, place] * scale if len(fit.turns) else fit.turns
        return _Parameters(point, cover * scale, {"": np.eye(len(point))}, fit.df, turns)
    terms = fit.estimates["term"].tolist()
    names, groups = ("asymptote", fit.amount, "log_rate"), len(fit.groups)
    shared = len(fit.shared)
    point, picks = np.r_[np.empty(len(terms)), fit.shared], {}
    for k, group in enumerate(fit.groups):
        pick = np.zeros((3 + shared, len(point)))
        pick[3:, len(terms) :] = np.eye(shared)
        for row, name in enumerate(names):
            base = terms.index(name)
            pick[row, base] = 1.0
            point[base] = fit.group_cells[0, row]
            if k:
                pick[row, base + k] = 1.0
                point[base + k] = fit.group_cells[k, row] - fit.group_cells[0, row]
        picks[group] = pick
    df = max(float(fit.estimates["df"].min()), len(fit.participants) - groups)
    return _Parameters(point, fit.spread_of_few * np.asarray(fit.whole), picks, df)


def _rates_of(form: Form, several: bool, cell: np.ndarray) -> Any:
    """Rates of one curve from logarithms, or from a log rate and what a population shares."""
    if not several:
        return np.exp(cell[2:])
    return form.shared.rates(rate_of(cell[2]), *form.shared.natural(cell[3:].tolist()))


def _function(
    fit: CurveFit | PopulationCurve, name: str, at: float, span: tuple[float, float] | None = None
) -> Callable[[np.ndarray], float]:
    """The quantity as a function of asymptote, gain (or start) and log rates."""
    form, hits = named_form(fit.form), fit.family == "binomial"
    start = isinstance(fit, PopulationCurve) and fit.amount == "start"
    several = isinstance(fit, PopulationCurve)
    anchored = several and (start or form.anchored)
    rates_of = partial(_rates_of, form, several)

    def height(cell: np.ndarray, n: float, scale: bool = True) -> float:
        rates = rates_of(cell)
        basis = float(form.log_basis(np.array(n), rates, fit.first))
        top = float(form.log_basis(np.array(fit.first), rates, fit.first)) if anchored else 0.0
        amount = cell[1] - cell[0] if start else cell[1]
        eta = cell[0] + amount * np.exp(basis - top)
        return float(expit(eta)) if hits and scale else float(eta)

    def reach(cell: np.ndarray) -> float:
        goal = float(logit(at)) if hits else at
        ends = height(cell, fit.first, False) - goal, cell[0] - goal
        if ends[0] * ends[1] >= 0:
            return np.inf if ends[0] else fit.first
        low, high = fit.first, FARTHEST
        for _ in range(200):
            middle = 0.5 * (low + high)
            early = (height(cell, middle, False) - goal) * ends[0] > 0
            low, high = (middle, high) if early else (low, middle)
        return high

    def change(cell: np.ndarray) -> float:
        step = 1e-4 * max(abs(at), 1.0)
        return abs(height(cell, at + step) - height(cell, at - step)) / (2 * step)

    return {
        "area": lambda cell: _area(lambda n: height(cell, n), span or (0.0, 0.0)),
        "level_at": lambda cell: height(cell, at),
        "rate_at": change,
        "half_life": lambda cell: float(form.half_life(rates_of(cell), fit.first)),
        "trials_to": reach,
    }[name]


def _area(height: Callable[[float], float], span: tuple[float, float]) -> float:
    """Integral of a height over practice, by Gauss-Legendre quadrature."""
    low, high = span
    places, weights = np.polynomial.legendre.leggauss(AREA_NODES)
    n = 0.5 * (high - low) * places + 0.5 * (high + low)
    return 0.5 * (high - low) * float(weights @ [height(place) for place in n])


def _reason(fit: CurveFit | PopulationCurve, name: str) -> str:
    if fit.status == "too few trials" or (name in FROM_CURVE and fit.status in UNKNOWN):
        return fit.status
    return ""


UNKNOWN = ("shape not settled", "rate at a bound", "no change")


def _by_log_rate(fit: CurveFit | PopulationCurve) -> Callable[[float], float] | None:
    """Half-life of a log rate, for a form that has but one."""
    form = named_form(fit.form)
    if len(form.rates) > 1:
        return None
    return lambda log_rate: float(form.half_life([np.exp(log_rate)], fit.first))


def _interval(
    known: _Parameters,
    value: Callable[[np.ndarray], float],
    name: str,
    level: float,
    reason: str,
    turn: Callable[[float], float] | None = None,
) -> dict[str, Any]:
    """Estimate and limits; those of what ``turn`` makes a quantity are turned round."""
    if reason:
        return {"reason": reason}
    centre, error, df = _with_error(known, value)
    if not np.isfinite(centre):
        return {"reason": NOT_REACHED}
    if not np.isfinite(error):
        return {"estimate": centre, "reason": NO_ERROR}
    half = float(t_quantile(level, df)) * error
    if turn is not None:
        centre, *ends = (turn(place) for place in (centre, centre - half, centre + half))
        ends.sort()
    elif name in SIGNED:
        ends = [centre - half, centre + half]
    else:
        wide = np.exp(half / max(centre, 1e-300))
        ends = [centre / wide, centre * wide]
    return {"estimate": centre, "conf_low": ends[0], "conf_high": ends[1], "reason": reason}


def _with_error(
    known: _Parameters, value: Callable[[np.ndarray], float]
) -> tuple[float, float, float]:
    """A quantity, its standard error by the delta method, and its degrees of freedom."""
    centre = value(known.point)
    if not np.isfinite(centre):
        return centre, np.nan, known.df
    steps = np.maximum(np.abs(known.point), 0.1) * 1e-5
    slope = np.array(
        [(value(known.point + h) - value(known.point - h)) / (2 * h.sum()) for h in np.diag(steps)]
    )
    if not np.all(np.isfinite(slope)):
        # A criterion at the very start is reached, and beside it not at all.
        return centre, np.nan, known.df
    df = df_along(slope[None], known.covariance, known.turns, known.df)[0]
    return centre, float(np.sqrt(max(slope @ known.covariance @ slope, 0.0))), float(df)
