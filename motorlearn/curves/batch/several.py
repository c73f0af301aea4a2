"""Best curves by forms with several rates: which search suits whom."""

from collections.abc import Callable

import numpy as np

from motorlearn.curves.batch.padded import Optimum, Padded, fit_padded, search_one
from motorlearn.curves.batch.s_shaped import fit_s_shaped
from motorlearn.curves.batch.two_processes import fit_two_processes

TOGETHER: dict[str, Callable[[np.ndarray, np.ndarray], Optimum]] = {
    "s_shaped": fit_s_shaped,
    "two_processes": fit_two_processes,
}
"""Forms whose learners are searched together where they share their practice counts."""
FROM_THE_FIRST = ("two_processes",)
"""Those of them that must have been seen from the first trial on."""


def fit_several(data: Padded) -> Optimum:
    """Best curve of every learner."""
    search = TOGETHER.get(data.form.name)
    rows = _alike(data) if search is not None else np.zeros(len(data.y), bool)
    if search is None or not rows.any():
        return fit_padded(data)
    found = search(data.n[np.argmax(rows)].copy(), data.y[rows])
    if not rows.all():
        found = _mixed(rows, found, fit_padded(data.pick(np.flatnonzero(~rows))))
    for k in np.flatnonzero(rows & ~found.settled):
        search_one(data, found, int(k))
    return found


def _alike(data: Padded) -> np.ndarray:
    """Learners without gaps and weights whose rising practice counts are the same."""
    whole = np.all(data.weights == 1.0, axis=1) & (not data.binomial)
    model = data.n[np.argmax(whole)]
    rising = bool(np.all(np.diff(model) > 0))
    if data.form.name in FROM_THE_FIRST:
        rising &= bool(model[0] == data.first)
    found: np.ndarray = whole & np.all(data.n == model, axis=1) & rising
    return found


def _mixed(rows: np.ndarray, some: Optimum, others: Optimum) -> Optimum:
    """Both parts of the learners in their order."""
    order = np.argsort(np.concatenate([np.flatnonzero(rows), np.flatnonzero(~rows)]))
    return some.joined(others).pick(order)
