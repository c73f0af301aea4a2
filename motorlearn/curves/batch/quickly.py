"""Quick best curves by forms with several rates, of learners who share their practice counts.

Each learner's squares are compared over a grid of both log rates in single precision; from every
peak that may be the highest Newton's method goes up with exact derivatives. Whoever ends inside
all bounds, at rest and with digits enough is told; the others are left to the careful search.
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from motorlearn.curves.batch import quick_s_shaped, quick_two_processes
from motorlearn.curves.batch.claims import claims
from motorlearn.curves.batch.climbing import Surface, best_of, climb
from motorlearn.curves.batch.quick_starts import Nodes, peaks
from motorlearn.curves.batch.quick_sums import Plain
from motorlearn.curves.batch.shared import Scores
from motorlearn.curves.forms import Form
from motorlearn.curves.status import all_but_a_step, information_criteria

PEAKS_AT_ONCE, BLOCK = 256, 800
"""Learners whose grids, and whose climbs, stay in the cache."""
BLOCK_STEPS, STEPS = 4, 14
SAME_PLACE = 0.05
"""Distance of log rates within which two starts have come to the same place."""
CLOSE_BEHIND = 1.05
"""Loss, as a multiple of the least, below which a start that was given up leaves a doubt."""
EDGE = 1e-3
"""Distance of log rates from their bounds below which a learner is searched with care."""


@dataclass(frozen=True)
class Quick:
    """How a form is searched quickly: nodes, squares on them, surface, and what it means.

    ``steps`` is the loss of the best step, of a form that can turn into one anywhere.
    """

    nodes: Callable[[bytes], Nodes]
    explained: Callable[[Nodes, np.ndarray], np.ndarray]
    look: Callable[[np.ndarray, np.ndarray, np.ndarray], Surface]
    described: Callable[[np.ndarray, np.ndarray, Surface, np.ndarray], Plain]
    doubtful: Callable[[np.ndarray, np.ndarray, np.ndarray, Scores], np.ndarray]
    from_the_first: bool = False
    steps: Callable[[Scores], np.ndarray] | None = None


def _quick(module: Any, **more: Any) -> Quick:
    parts = module.nodes_of, module.explained, module.look, module.described, module.doubtful
    return Quick(*parts, **more)


QUICK = {
    "s_shaped": _quick(quick_s_shaped, steps=quick_s_shaped.least_of_plain_steps),
    "two_processes": _quick(quick_two_processes, from_the_first=True),
}


def is_quick(form: Form, n: np.ndarray, first: float) -> bool:
    """Whether a form can be searched quickly on rising practice counts."""
    search = QUICK.get(form.name)
    enough = len(n) > 2 + len(form.rates)
    if search is None or not enough or not np.all(np.diff(n) > 0):
        return False
    return not search.from_the_first or bool(n[0] == first)


def fit_quickly(
    form: Form, n: np.ndarray, scores: Scores, first: float
) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Columns of the result for every learner, and who is sure."""
    search, n = QUICK[form.name], np.ascontiguousarray(n, float)
    bounds = np.log(np.array(form.bounds(n)))[:2]
    with np.errstate(all="ignore"):
        point, best, sure = _searched(search, n, scores, bounds)
        told = search.described(n, point, best, scores.level)
        line, step = _ends(form, n, scores)
        sure &= told.sure & _inside(point, bounds)
        sure &= (best.loss > 1e-10 * scores.total) & (best.loss <= np.minimum(line, step))
        sure &= ~search.doubtful(n, point, best.loss, scores)
        found = _columns(form, n, scores, first, told, best.loss, (line, step))
    return found, sure


def _blocks(count: int, size: int) -> list[slice]:
    return [slice(low, low + size) for low in range(0, count, size)]


def _starts(search: Quick, n: np.ndarray, centred: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Learner and log rates of every peak worth climbing."""
    nodes = search.nodes(n.tobytes())
    learners, points = [], []
    for block in _blocks(len(centred), PEAKS_AT_ONCE):
        learner, point = peaks(nodes, search.explained(nodes, centred[block]))
        learners.append(learner + block.start)
        points.append(point)
    return np.concatenate(learners), np.concatenate(points)


def _searched(
    search: Quick, n: np.ndarray, scores: Scores, bounds: np.ndarray
) -> tuple[np.ndarray, Surface, np.ndarray]:
    """Best point of every learner, the surface there, and whether it is the best for sure.

    Starts climb in blocks that stay in the cache; who needs more steps goes on with all others.
    """
    learner, start = _starts(search, n, scores.centred)
    cuts = np.searchsorted(learner, np.arange(0, len(scores.level) + BLOCK, BLOCK))
    parts = []
    for low, high in pairwise(cuts):
        own = learner[low:high]
        parts.append(_climbed(search, n, scores, own, start[low:high], bounds, BLOCK_STEPS))
    point, here, settled = _joined(parts)
    best = best_of(learner, here.loss, len(scores.level))
    again = np.flatnonzero((~settled[best] & _inside(point[best], bounds))[learner])
    if again.size:
        on = _climbed(search, n, scores, learner[again], point[again], bounds, STEPS)
        point[again], settled[again] = on[0], on[2]
        here.put(again, on[1], np.ones(len(again), bool))
        best = best_of(learner, here.loss, len(scores.level))
    return (
        point[best],
        here.pick(best),
        settled[best] & ~_doubted(learner, point, here, settled, best),
    )


def _inside(point: np.ndarray, bounds: np.ndarray) -> np.ndarray:
    """Whether both log rates lie apart from their bounds."""
    found: np.ndarray = np.all(
        (point > bounds[:, 0] + EDGE) & (point < bounds[:, 1] - EDGE), axis=1
    )
    return found


def _doubted(
    learner: np.ndarray, point: np.ndarray, here: Surface, settled: np.ndarray, best: np.ndarray
) -> np.ndarray:
    """Whose other start was given up close by, so that it might have come lower in the end."""
    close = ~settled & (here.loss < CLOSE_BEHIND * here.loss[best][learner])
    close &= np.abs(point - point[best][learner]).max(axis=1) > SAME_PLACE
    found = np.zeros(len(best), bool)
    found[learner[close]] = True
    return found


def _climbed(
    search: Quick,
    n: np.ndarray,
    scores: Scores,
    learner: np.ndarray,
    start: np.ndarray,
    bounds: np.ndarray,
    steps: int,
) -> tuple[np.ndarray, Surface, np.ndarray]:
    rows = scores.centred[learner]

    def look(chosen: np.ndarray, at: np.ndarray) -> Surface:
        return search.look(n, rows if len(chosen) == len(rows) else rows[chosen], at)

    low, high = (np.broadcast_to(end, (len(learner), 2)) for end in bounds.T)
    floor = 1e-30 * scores.total[learner]
    return climb(look, learner, start, (low, high), floor, most=steps, early=True)


def _joined(
    parts: list[tuple[np.ndarray, Surface, np.ndarray]],
) -> tuple[np.ndarray, Surface, np.ndarray]:
    points, surfaces, settled = zip(*parts)
    return np.concatenate(points), Surface.joined(surfaces), np.concatenate(settled)


def _ends(form: Form, n: np.ndarray, scores: Scores) -> list[np.ndarray]:
    """Losses of the straight line and of the step."""
    basis = np.array([form.basis(n, list(rates), float(n[0])) for rates in form.extremes(n)])
    basis -= basis.mean(axis=1, keepdims=True)
    basis /= np.linalg.norm(basis, axis=1, keepdims=True)
    explained = (scores.centred @ basis.T) ** 2
    return [0.5 * (scores.total - part) for part in explained.T]


def _columns(
    form: Form,
    n: np.ndarray,
    scores: Scores,
    first: float,
    told: Plain,
    loss: np.ndarray,
    ends: tuple[np.ndarray, np.ndarray],
) -> dict[str, np.ndarray]:
    count, wanted = len(n), 2 + len(form.rates)
    rows = np.full(len(loss), float(count))
    noise = 2 * loss / (count - wanted)
    error = np.sqrt(noise * told.var_asymptote)
    loglik = -0.5 * count * (np.log(4 * np.pi * loss / count) + 1)
    aicc, bic = information_criteria(loglik, rows, wanted + 1)
    found = {
        "n": rows,
        "asymptote": told.asymptote,
        "gain": told.gain,
        "start": told.asymptote + told.gain * form.basis(np.array(first), list(told.rates), first),
        "se_asymptote": error,
        "se_gain": np.sqrt(noise * told.var_gain),
        "sse": 2 * loss,
        "loglik": loglik,
        "aicc": aicc,
        "bic": bic,
        "converged": np.ones(len(loss), bool),
        "level": scores.level,
        "level_error": np.sqrt(scores.total / (count - 1) / count),
        **_said(form, n, scores, first, told, error, loss, ends),
    }
    for name, rate, variance in zip(form.rates, told.rates, told.var_rates):
        found[name], found[f"se_{name}"] = rate, np.sqrt(noise * variance)
    return found


def _said(
    form: Form,
    n: np.ndarray,
    scores: Scores,
    first: float,
    told: Plain,
    error: np.ndarray,
    loss: np.ndarray,
    ends: tuple[np.ndarray, np.ndarray],
) -> dict[str, np.ndarray]:
    """What the fits can claim."""
    steps, highest = QUICK[form.name].steps, form.bounds(n)[0][1]
    return claims(
        best=loss,
        flat=scores.total / 2,
        line=ends[0],
        step=ends[1],
        n=np.full(len(loss), float(len(n))),
        wanted=2 + len(form.rates),
        rates=len(form.rates),
        at_bound=all_but_a_step(
            told.rates[0], error * np.sqrt(told.var_rates[0] / told.var_asymptote), highest
        ),
        progress=told.progress,
        error=error,
        change=told.change,
        seen=told.progress,
        binomial=False,
        origin=np.full(len(loss), n[0]),
        first=first,
        **({} if steps is None else {"anywhere": steps(scores)}),
    )
