"""One batch of learners, every form: which engine fits whom, and what each fit can claim."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from motorlearn.curves.batch.cells import laid_out
from motorlearn.curves.batch.claims import INTERNAL, claims, end_losses, steps_anywhere
from motorlearn.curves.batch.closely import Closely, fit_closely
from motorlearn.curves.batch.described import (
    Described,
    describe,
    describe_hits,
    gain_lost,
    tail_at_lowest,
)
from motorlearn.curves.batch.grids import Grid, make_grid, shares_one_scale
from motorlearn.curves.batch.hit_rows import deviance, ways
from motorlearn.curves.batch.hits import fit_hits
from motorlearn.curves.batch.incomplete import Cells, GappyGrid, fit_gappy, make_gappy_grid
from motorlearn.curves.batch.padded import Optimum, Padded, log_bounds
from motorlearn.curves.batch.quickly import fit_quickly, is_quick
from motorlearn.curves.batch.several import fit_several
from motorlearn.curves.batch.shared import Scores, fit_shared
from motorlearn.curves.batch.straight import SharedFit
from motorlearn.curves.forms import FORMS, Form
from motorlearn.curves.status import FLAT, NO_CHANGE, TOO_FEW, all_but_a_step, information_criteria

Found = dict[str, np.ndarray]
PLAIN = Closely()


@dataclass(frozen=True)
class Batch:
    """Rows of some learners, one learner after the other.

    ``ends`` holds where each learner's rows end. ``weights`` are attempts where the outcome is
    binomial, precision weights otherwise, or None for ones. Missing outcomes are NaN.
    """

    ends: np.ndarray
    n: np.ndarray
    y: np.ndarray
    weights: np.ndarray | None
    binomial: bool
    session: np.ndarray | None = None


def columns_of(forms: Sequence[str], asked: Closely = PLAIN) -> tuple[str, ...]:
    """Numeric columns of the result for some forms, in the order of the table."""
    rates = list(dict.fromkeys(name for form in forms for name in FORMS[form].rates))
    return (
        "n",
        "asymptote",
        "gain",
        *rates,
        "start",
        "se_asymptote",
        "se_gain",
        *(f"se_{name}" for name in rates),
        *asked.columns,
        "sse",
        "loglik",
        "aicc",
        "bic",
        "status",
        "converged",
    )


def fit_batch(
    batch: Batch, forms: Sequence[str], first: float, asked: Closely = PLAIN
) -> dict[str, np.ndarray]:
    """Fit every form to every learner.

    Returns
    -------
    dict of str to array, shape (learners, forms)
        ``status`` holds indices into ``STATUSES``; a rate a form does not have is NaN. Columns of
        ``INTERNAL`` say what is not estimated; the values are those of the best curve all the same.
    """
    count = len(batch.ends)
    names = (*columns_of(forms, asked), *INTERNAL)
    result = {name: np.full((count, len(forms)), np.nan) for name in names}
    result["converged"] = np.zeros((count, len(forms)), bool)
    result["status"] = np.full((count, len(forms)), TOO_FEW, np.int8)
    if not asked.plain:
        for column, name in enumerate(forms):
            for row, told in enumerate(fit_closely(batch, FORMS[name], first, asked)):
                for term, value in told.items():
                    result[term][row, column] = value
        return result
    _plain(batch, forms, first, result)
    return result


def _plain(batch: Batch, forms: Sequence[str], first: float, result: Found) -> None:
    """Fit plain curves, each learner by the engine that suits the rows."""
    count, square = len(batch.ends), _as_square(batch)
    alike, n, y = _alike(batch, square) if square else (np.zeros(count, bool), None, None)
    rest = np.flatnonzero(~alike)
    scores = Scores.of(y) if y is not None and alike.any() else None
    laid = [] if batch.binomial or not rest.size else list(laid_out(batch, rest))
    for column, name in enumerate(forms):
        form = FORMS[name]
        slow = np.arange(count)
        if shares_one_scale(form):
            slow = rest
            if n is not None and y is not None and scores is not None:
                chosen = slice(None) if alike.all() else np.flatnonzero(alike)
                _fill(result, chosen, column, _quick(form, first, n, y, scores))
            for part in laid:
                slow = np.setdiff1d(slow, _gappy(result, column, form, first, *part))
        elif n is not None and scores is not None and is_quick(form, n, first):
            found, sure = fit_quickly(form, n, scores, first)
            chosen = np.flatnonzero(alike)[sure]
            _fill(result, chosen, column, {name: part[sure] for name, part in found.items()})
            slow = np.setdiff1d(slow, chosen)
        if slow.size:
            _slow(result, slow, column, batch, form, first)


def _as_square(batch: Batch) -> int:
    """Row length where all learners have as many rows, no weights and no hits; 0 otherwise."""
    lengths = np.diff(batch.ends, prepend=0)
    alike = lengths.size and lengths[0] > 0 and np.all(lengths == lengths[0])
    return int(lengths[0]) if alike and batch.weights is None and not batch.binomial else 0


def _alike(batch: Batch, length: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Learners without a gap whose practice counts are those of the first learner."""
    n, y = (a.reshape(-1, length) for a in (batch.n, batch.y))
    same, there = n == n[0], np.isfinite(y)
    if same.all() and there.all():
        alike = np.ones(len(n), bool)
    else:
        alike = same.all(axis=1) & there.all(axis=1)
    alike &= len(np.unique(n[0])) == n.shape[1] > 3
    return alike, n[0], y if alike.all() else y[alike]


def _gappy(
    result: Found,
    column: int,
    form: Form,
    first: float,
    chosen: np.ndarray,
    counts: np.ndarray,
    cells: Cells,
) -> np.ndarray:
    """Fit learners with gaps; give those whose digits suffice."""
    fit, sure = fit_gappy(_gappy_grid(form.name, counts.tobytes(), first), cells)
    origin = counts[np.argmax(cells.weight > 0, axis=1)]
    told = _told(fit, cells.rows, cells.logs, origin, first)
    rows: np.ndarray = chosen[sure]
    _fill(result, rows, column, {name: values[sure] for name, values in told.items()})
    return rows


@lru_cache(maxsize=64)
def _gappy_grid(form: str, counts: bytes, first: float) -> GappyGrid:
    n = np.frombuffer(counts)
    beyond = -FORMS[form].log_basis(n, [1.0], first)
    return make_gappy_grid(_grid(form, counts, first), beyond - beyond.min())


@lru_cache(maxsize=64)
def _grid(form: str, counts: bytes, first: float) -> Grid:
    return make_grid(FORMS[form], np.frombuffer(counts), first)


def _quick(
    form: Form, first: float, n: np.ndarray, y: np.ndarray, scores: Scores
) -> dict[str, np.ndarray]:
    fit = fit_shared(_grid(form.name, np.ascontiguousarray(n, float).tobytes(), first), scores)
    rows = np.full(len(y), float(y.shape[1]))
    found = _told(fit, rows, 0.0, np.full(len(y), float(n.min())), first)
    constant = fit.total <= 1e-28 * y.shape[1] * np.maximum(y[:, 0] ** 2, 1e-300)
    if constant.any():
        nothing, unknown = np.zeros(len(y)), np.full(len(y), np.nan)
        known = {"level": y[:, 0], "gain": nothing, "sse": nothing, "start_lost": nothing}
        for name in set(found) - {"n", "status", "lost"}:
            found[name] = np.where(constant, known.get(name, unknown), found[name])
        found["status"] = np.where(constant, NO_CHANGE, found["status"])
        found["lost"] = np.where(constant, FLAT, found["lost"])
        found["converged"] = np.ones(len(y), bool)
    return found


def _told(
    fit: SharedFit, rows: np.ndarray, logs: np.ndarray | float, origin: np.ndarray, first: float
) -> dict[str, np.ndarray]:
    """Columns of the result from a fit by straight lines; ``logs`` are sums of log weights."""
    said = claims(
        best=fit.sse / 2,
        flat=fit.total / 2,
        line=fit.line / 2,
        step=fit.step / 2,
        n=rows,
        wanted=3,
        rates=1,
        at_bound=fit.at_bound,
        progress=fit.progress,
        error=fit.se_asymptote,
        change=fit.change,
        seen=fit.progress,
        binomial=False,
        origin=origin,
        first=first,
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        loglik = -0.5 * rows * (np.log(2 * np.pi * fit.sse / rows) + 1) + 0.5 * logs
    aicc, bic = information_criteria(loglik, rows, 4)
    return {
        "n": rows,
        "asymptote": fit.asymptote,
        "gain": fit.gain,
        "rate": fit.rate,
        "start": fit.start,
        "se_asymptote": fit.se_asymptote,
        "se_gain": fit.se_gain,
        "se_rate": np.where(fit.at_bound, np.nan, fit.se_rate),
        "sse": fit.sse,
        "loglik": loglik,
        "aicc": aicc,
        "bic": bic,
        "converged": np.ones(len(rows), bool),
        "level": fit.level,
        "level_error": fit.level_error,
        **said,
    }


def _fill(result: Found, rows: np.ndarray | slice, column: int, found: Found) -> None:
    for name, values in found.items():
        result[name][rows, column] = values


def _slow(
    result: Found, rows: np.ndarray, column: int, batch: Batch, form: Form, first: float
) -> None:
    """Fit learners by the padded engine, those with enough rows."""
    data = _pad(batch, rows, form, first)
    used = data.weights > 0
    n = used.sum(axis=1)
    result["n"][rows, column] = n
    wanted = 2 + len(form.rates)
    different = _different(data.n, used)
    fittable = (n > wanted) & (different >= wanted)
    still = _constant(data)
    for k in np.flatnonzero(fittable & still):
        _flat_row(result, int(rows[k]), column, data, int(k))
    chosen = np.flatnonzero(fittable & ~still)
    if chosen.size:
        part = data.pick(chosen)
        _fill(result, rows[chosen], column, _fitted(part, n[chosen], wanted))


def _different(n: np.ndarray, used: np.ndarray) -> np.ndarray:
    """Number of different practice counts of each learner."""
    if np.all(used == used[0]) and np.all(n == n[0]):
        return np.full(len(n), len(np.unique(n[0][used[0]])))
    return np.array([len(np.unique(a[b])) for a, b in zip(n, used)])


def _pad(batch: Batch, rows: np.ndarray, form: Form, first: float) -> Padded:
    starts = np.r_[0, batch.ends[:-1]][rows]
    lengths = batch.ends[rows] - starts
    place = np.minimum(np.arange(lengths.max(initial=1)), np.maximum(lengths[:, None] - 1, 0))
    index = np.minimum(starts[:, None] + place, max(len(batch.n) - 1, 0))
    inside = np.arange(place.shape[1]) < lengths[:, None]
    y = batch.y[index]
    weights = np.ones(y.shape) if batch.weights is None else batch.weights[index]
    usable = inside & np.isfinite(y) & np.isfinite(weights)
    weights = np.where(usable, weights, 0.0)
    n = batch.n[index]
    # Padding repeats a practice count in use, so that it can never be out of range.
    some = np.take_along_axis(n, np.argmax(usable, axis=1)[:, None], axis=1)
    n = np.where(usable, n, some)
    return Padded(form, n, np.where(usable, y, 0.0), weights, batch.binomial, first)


def _constant(data: Padded) -> np.ndarray:
    used = data.weights > 0
    if data.binomial:
        hits, attempts = data.y.sum(axis=1), data.weights.sum(axis=1)
        found: np.ndarray = (hits == 0) | (hits == attempts)
        return found
    top = np.max(np.where(used, data.y, -np.inf), axis=1)
    found = top == np.min(np.where(used, data.y, np.inf), axis=1)
    return found


def _flat_row(result: Found, row: int, column: int, data: Padded, k: int) -> None:
    result["status"][row, column], result["converged"][row, column] = NO_CHANGE, True
    result["lost"][row, column] = FLAT
    if not data.binomial:
        level = data.y[k][data.weights[k] > 0][0]
        known = {"level": level, "gain": 0.0, "sse": 0.0}
        for name, value in known.items():
            result[name][row, column] = value


def _fitted(data: Padded, n: np.ndarray, wanted: int) -> dict[str, np.ndarray]:
    if data.binomial and shares_one_scale(data.form):
        best, fits = fit_hits(data)
        told, ends = describe_hits(data, best, fits), (fits.line, fits.step)
    else:
        best = fit_several(data)
        noise = np.ones(len(n)) if data.binomial else 2 * best.loss / (n - wanted)
        told, ends = describe(data, best, noise), end_losses(data)
    level, flat, level_error = _flat_line(data)
    said = _claims(data, best, told, (flat, *ends), n, wanted)
    loglik = _loglik(data, best.loss, n)
    aicc, bic = information_criteria(loglik, n, wanted + (0 if data.binomial else 1))
    found = {
        "asymptote": told.asymptote,
        "gain": told.gain,
        "start": told.start,
        "se_asymptote": told.se_asymptote,
        "se_gain": told.se_gain,
        "sse": deviance(data.y, data.weights, best.loss) if data.binomial else 2 * best.loss,
        "loglik": loglik,
        "aicc": aicc,
        "bic": bic,
        "converged": best.settled,
        "level": level,
        "level_error": level_error,
        "gain_lost": gain_lost(data, told),
        **said,
    }
    for k, name in enumerate(data.form.rates):
        found[name] = told.rates[:, k]
        found[f"se_{name}"] = np.where(best.at_bound[:, k], np.nan, told.se_rates[:, k])
    return found


def _claims(
    data: Padded,
    best: Optimum,
    told: Described,
    simple: tuple[np.ndarray, ...],
    n: np.ndarray,
    wanted: int,
) -> dict[str, np.ndarray]:
    """What the fits can claim; ``simple`` are losses of flat line, straight line and step."""
    lone = len(data.form.rates) == 1
    stuck = best.at_bound[:, 0]
    return claims(
        best=best.loss,
        **dict(zip(("flat", "line", "step"), simple)),
        n=n,
        wanted=wanted,
        rates=len(data.form.rates),
        at_bound=stuck if lone else _runaway(data, best, told),
        progress=told.progress,
        error=told.se_asymptote,
        change=told.change,
        seen=np.where(told.extreme, -np.inf, told.progress),
        binomial=data.binomial,
        origin=data.origin[:, 0],
        first=data.first,
        stuck=tail_at_lowest(data, best),
        **steps_anywhere(data.form, data.n, data.y, data.weights, binomial=data.binomial),
    )


def _runaway(data: Padded, best: Optimum, told: Described) -> np.ndarray:
    """Whether a form of several rates ran to all low ends or a high one, or nearly to a step."""
    both, ends = best.at_bound.all(axis=1), log_bounds(data)
    high = best.at_bound & (best.tau > ends.mean(axis=2))
    step = all_but_a_step(told.rates[:, 0], told.se_rates[:, 0], np.exp(ends[:, 0, 1]))
    return np.asarray(both | high.any(axis=1) | step)


def _flat_line(data: Padded) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Level, loss and standard error of a flat line."""
    whole, rows = data.weights.sum(axis=1), (data.weights > 0).sum(axis=1)
    if not data.binomial:
        mean = np.einsum("ij,ij->i", data.weights, data.y) / whole
        loss = 0.5 * np.einsum("ij,ij->i", data.weights, (data.y - mean[:, None]) ** 2)
        return mean, loss, np.sqrt(2 * loss / np.maximum(rows - 1, 1) / whole)
    hits = data.y.sum(axis=1)
    share = hits / whole
    loss = -(hits * np.log(share) + (whole - hits) * np.log1p(-share))
    return np.log(share / (1 - share)), loss, 1 / np.sqrt(whole * share * (1 - share))


def _loglik(data: Padded, loss: np.ndarray, n: np.ndarray) -> np.ndarray:
    used = data.weights > 0
    if data.binomial:
        found: np.ndarray = ways(data.y, data.weights) - loss
        return found
    logs = np.log(np.where(used, data.weights, 1.0)).sum(axis=1)
    with np.errstate(divide="ignore"):
        found = -0.5 * n * (np.log(4 * np.pi * loss / n) + 1) + 0.5 * logs
        return found
