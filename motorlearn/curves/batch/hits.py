r"""Curves of hits of many learners at once, for forms whose log basis is linear in one rate.

With :math:`\rho = -r x` the logit is :math:`\beta_0 + \beta_1 w`, where :math:`x` counts from the
first practice count of each learner and :math:`w = (e^{\rho} - 1) / |e^{\rho_{end}} - 1|` runs from
0 to -1, so that both coefficients are logits whatever the rate. The likelihood is profiled over
the whole range of the rate, and its best places are refined by Newton's method with the observed
information in closed form, all learners at once. Scoring would creep where the curve is nearly
flat; Newton's method does not.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import minimum_filter
from scipy.special import xlog1py, xlogy

from motorlearn.curves.batch.climbing import best_of
from motorlearn.curves.batch.padded import Optimum, Padded, extreme, log_bounds, search_one, shares
from motorlearn.curves.forms.shape import LARGEST_DROP
from motorlearn.curves.single.problem import LARGEST_LOGIT

NODES, STARTS, BLOCK = 24, 3, 400
MOST_STEPS, ENOUGH = 60, 1e-11
"""Most Newton steps, and gain in log-likelihood below which one more step is the last."""
BEFORE_LEAVING, FAR_BEHIND = 2, 10.0
"""Steps before a start is given up, and how many times what its step promised it must lack."""
WORTH_LEAVING = 0.7
"""Share of learners still climbing below which the others are put aside."""
PLAIN_STEPS, CLEAR_GAIN = 14, 1e-4
"""Newton steps of a straight line before steps are halved, and gain with which it is known."""
LEAST_SHARE, LARGEST_STEP = 1e-7, 5.0


@dataclass(frozen=True)
class _Rows:
    """Hits, attempts and practice since the first count, which a rate turns into the log basis.

    ``whole`` is the longest practice of each learner, as a column.
    """

    hits: np.ndarray
    attempts: np.ndarray
    since: np.ndarray
    whole: np.ndarray

    @classmethod
    def of(cls, data: Padded) -> "_Rows":
        since = -data.fallen(np.zeros((len(data.y), 1)))
        return cls(data.y, data.weights, since, since.max(axis=1, keepdims=True))

    def pick(self, rows: np.ndarray) -> "_Rows":
        return _Rows(self.hits[rows], self.attempts[rows], self.since[rows], self.whole[rows])

    def basis(self, tau: np.ndarray) -> np.ndarray:
        """The basis from 0 to -1."""
        rate = np.exp(tau)[:, None]
        found: np.ndarray = np.expm1(-rate * self.since) / -np.expm1(-rate * self.whole)
        return found

    def bent(self, tau: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """The basis and its two derivatives by the log rate."""
        rate = np.exp(tau)[:, None]
        rho, end = -rate * self.since, -rate * self.whole
        v, depth = np.expm1(rho), np.expm1(end)
        u, low = rho * (v + 1), end * (depth + 1)
        first, second = low / depth, low * (1 + end) / depth
        turn = u * (1 + rho) - 2 * first * u + (2 * first**2 - second) * v
        return v / -depth, (u - first * v) / -depth, turn / -depth

    def parts(self, eta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Loss of each learner and the chances of a hit."""
        size = np.abs(eta)
        small = np.exp(-size)
        whole = small + 1
        soft = np.log(whole)
        soft += np.maximum(eta, 0.0)
        chance = np.where(eta >= 0, 1.0, small)
        chance /= whole
        return _sum(self.attempts, soft) - _sum(self.hits, eta), chance


def _logit(beta: np.ndarray, v: np.ndarray) -> np.ndarray:
    found: np.ndarray = beta[:, [1]] * v
    found += beta[:, [0]]
    return found


def _sum(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Inner products of rows."""
    found: np.ndarray = np.einsum("ij,ij->i", a, b)
    return found


def fit_hits(data: Padded) -> Optimum:
    """Best curve of every learner; those whose search does not come to rest are searched alone."""
    bounds = log_bounds(data)
    parts = [_fit(_Rows.of(data.pick(rows)), bounds[rows, 0]) for rows in _blocks(len(data.y))]
    tau, beta, loss, settled = (np.concatenate(column) for column in zip(*parts))
    beta[:, 1] /= -np.expm1(data.fallen(tau[:, None]).min(axis=1))
    low, high = bounds[:, 0, 0], bounds[:, 0, 1]
    stuck = (tau <= low + 1e-6) | (tau >= high - data.form.edges[0])
    found = Optimum(tau[:, None], beta, loss, stuck[:, None], settled)
    found.settled[extreme(data, found)] = True
    for k in np.flatnonzero(~found.settled):
        search_one(data, found, int(k))
    return found


def hit_loss(data: Padded, tau: np.ndarray) -> np.ndarray:
    """Loss of every learner with the log rate given, shape (learners, 1)."""
    found = []
    for rows in _blocks(len(data.y)):
        part = _Rows.of(data.pick(rows))
        found.append(_straight_loss(part, part.basis(tau[rows, 0])))
    return np.concatenate(found)


def _straight_loss(rows: _Rows, v: np.ndarray) -> np.ndarray:
    """Loss of the best line of logits on a basis: Newton's method, with halving where it needs it.

    It is only compared with others, so that it need not be known to the last digit.
    """
    low = v < LEAST_SHARE - 1
    if np.all(low | (v > -LEAST_SHARE)):
        both: np.ndarray = _entropy(rows, low) + _entropy(rows, ~low)
        return both
    beta, found = _level(rows), np.empty(len(v))
    active, part, basis = np.arange(len(v)), rows, v
    for _ in range(PLAIN_STEPS):
        step, loss, gain = _ahead(part, basis, beta)
        found[active] = loss - 0.5 * gain
        going = gain >= CLEAR_GAIN
        if not going.any():
            return found
        beta = (beta + step)[going]
        active, part, basis = active[going], part.pick(going), basis[going]
    found[active] = _halved(part, basis)
    return found


def _entropy(rows: _Rows, where: np.ndarray) -> np.ndarray:
    """Loss of some rows of each learner with one chance of a hit."""
    hits, whole = (np.sum(a, axis=1, where=where) for a in (rows.hits, rows.attempts))
    share = hits / np.maximum(whole, 1.0)
    found: np.ndarray = -(xlogy(hits, share) + xlog1py(whole - hits, -share))
    return found


def _halved(rows: _Rows, v: np.ndarray) -> np.ndarray:
    """The same for learners whose logits may run away: from the flat line, steps halved."""
    beta = _level(rows)
    loss, share = rows.parts(_logit(beta, v))[0], np.ones(len(v))
    for _ in range(MOST_STEPS):
        step, _, gain = _ahead(rows, v, beta)
        step = step * share[:, None]
        eta = _logit(beta + step, v)
        new = np.where(np.max(np.abs(eta), axis=1) > LARGEST_LOGIT, np.inf, rows.parts(eta)[0])
        better = new <= loss
        beta[better] += step[better]
        loss = np.where(better, new, loss)
        share *= np.where(better, np.minimum(2.0, 1 / share), 0.1)
        if not np.any((gain > CLEAR_GAIN) & (share > LEAST_SHARE)):
            break
    return loss


def _blocks(count: int) -> Iterator[np.ndarray]:
    """Rows in blocks that stay in the cache."""
    for low in range(0, count, BLOCK):
        yield np.arange(low, min(low + BLOCK, count))


def _level(rows: _Rows) -> np.ndarray:
    """Coefficients of the flat line."""
    hits, misses = rows.hits.sum(axis=1), (rows.attempts - rows.hits).sum(axis=1)
    logit = np.log((hits + 0.5) / (misses + 0.5))
    return np.stack([logit, np.zeros(len(logit))], axis=1)


Found = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]


def _fit(rows: _Rows, bounds: np.ndarray) -> Found:
    """Log rate, coefficients, loss and whether settled: the best of some climbs of each learner."""
    who, tau, beta = _starts(rows, bounds)
    order = np.argsort(who, kind="stable")
    who, tau, beta = who[order], tau[order], beta[order]
    tau, beta, loss, settled = _climb(rows.pick(who), who, tau, beta, bounds[who])
    best = best_of(who, loss, len(rows.hits))
    return tau[best], beta[best], loss[best], settled[best]


def _starts(rows: _Rows, bounds: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Places of the rate that are better than their neighbours: learner, log rate, coefficients.

    From node to node the coefficients are carried over and take one step of Newton's; what is left
    to gain is told by that step.
    """
    places = bounds[:, [0]] + shares(NODES) * (bounds[:, [1]] - bounds[:, [0]])
    beta, count = _level(rows), len(rows.hits)
    kept, losses = np.empty((NODES, count, 2)), np.empty((NODES, count))
    for k in range(NODES):
        v = rows.basis(places[:, k])
        for _ in range(1 if k else 3):
            step, loss, gain = _ahead(rows, v, beta)
            beta, losses[k] = beta + step, loss - 0.5 * gain
        kept[k] = beta
    around = minimum_filter(losses, size=(3, 1), mode="nearest")
    ranked = np.where(losses <= around, losses, np.inf)
    chosen = np.argsort(ranked, axis=0, kind="stable")[:STARTS]
    rank, who = np.nonzero(np.isfinite(np.take_along_axis(ranked, chosen, axis=0)))
    node = chosen[rank, who]
    lone, tau, coefficients = _from_the_limit(rows, bounds)
    return (
        np.concatenate([who, lone]),
        np.concatenate([places[who, node], tau]),
        np.concatenate([kept[node, who], coefficients]),
    )


def _from_the_limit(rows: _Rows, bounds: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """One start more for learners who began with nothing but misses, or nothing but hits.

    Their best curve may begin at the farthest logit and fall within a trial or two.
    """
    first = rows.since == 0
    hits, attempts = _sum(rows.hits, first), _sum(rows.attempts, first)
    lone = np.flatnonzero((hits == 0) | (hits == attempts))
    top = np.where(hits[lone] == 0, -LARGEST_LOGIT, LARGEST_LOGIT)
    fast = bounds[lone, 1] - np.log(LARGEST_DROP)
    return lone, fast, np.stack([top, top - _level(rows.pick(lone))[:, 0]], axis=1)


def _ahead(
    rows: _Rows, v: np.ndarray, beta: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Newton step of the coefficients, the loss here, and twice the gain the step promises.

    Logits are kept in reach.
    """
    eta = np.clip(_logit(beta, v), -LARGEST_LOGIT, LARGEST_LOGIT)
    loss, chance = rows.parts(eta)
    expected = rows.attempts * chance
    left, weight = rows.hits - expected, expected * (1 - chance)
    heavy = weight * v
    a, b, c = weight.sum(axis=1), heavy.sum(axis=1), _sum(heavy, v)
    g, h = left.sum(axis=1), _sum(left, v)
    volume = np.maximum(a * c - b * b, 1e-12 * a * c + 1e-300)
    step = np.stack([c * g - b * h, a * h - b * g], axis=1) / volume[:, None]
    gain = step[:, 0] * g + step[:, 1] * h
    size = np.max(np.abs(step), axis=1, keepdims=True)
    return step * np.minimum(1.0, 3.0 / np.maximum(size, 1e-300)), loss, gain


def _climb(
    rows: _Rows, who: np.ndarray, tau: np.ndarray, beta: np.ndarray, bounds: np.ndarray
) -> Found:
    """Newton's method with step halving; a start leaves after a step that gains nothing.

    The search moves the log rate and the logits at both ends of practice, each inside its bounds.
    Starts that cannot come as low as another of the same learner leave too; ``who`` is in order.
    """
    limit = np.full(len(tau), LARGEST_LOGIT)
    low = np.stack([bounds[:, 0], -limit, -limit], axis=1)
    high = np.stack([bounds[:, 1], limit, limit], axis=1)
    point = np.stack([tau, beta[:, 0], beta[:, 0] - beta[:, 1]], axis=1)
    point = np.clip(point, low, high)
    begin = np.flatnonzero(np.r_[True, who[1:] != who[:-1]])
    own = np.repeat(np.arange(len(begin)), np.diff(np.r_[begin, len(who)]))
    loss, sums = _looked(rows, point)
    settled, share = np.zeros(len(tau), bool), np.ones(len(tau))
    active, part = np.arange(len(tau)), rows
    for count in range(MOST_STEPS):
        here, floor, top = point[active], low[active], high[active]
        step, gain = _step(sums[:, active], here, floor, top)
        tried = np.clip(here + step * share[active, None], floor, top)
        new, told = _looked(part, tried)
        better = new <= loss[active] + 1e-14 * np.abs(loss[active])
        taken = active[better]
        point[taken], loss[taken], sums[:, taken] = tried[better], new[better], told[:, better]
        settled[active] |= better & (gain < ENOUGH * (1 + np.abs(loss[active])))
        share[active] *= np.where(better, np.minimum(2.0, 1 / share[active]), 0.2)
        wanted = ~settled[active] & (share[active] > LEAST_SHARE)
        if count >= BEFORE_LEAVING:
            lowest = np.minimum.reduceat(loss, begin)[own[active]]
            wanted &= loss[active] - FAR_BEHIND * gain <= lowest
        if not wanted.any():
            break
        if wanted.mean() < WORTH_LEAVING:
            active = active[wanted]
            part = rows.pick(active)
    beta = np.stack([point[:, 1], point[:, 1] - point[:, 2]], axis=1)
    return point[:, 0], beta, loss, settled


def _ends(point: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Logits from those at both ends."""
    found: np.ndarray = (point[:, 1] - point[:, 2])[:, None] * v
    found += point[:, [1]]
    return found


def _looked(rows: _Rows, point: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Loss at a point, and the sums from which the next step is made."""
    v, u, turn = rows.bent(point[:, 0])
    height = point[:, 1] - point[:, 2]
    eta = _ends(point, v)
    loss, chance = rows.parts(eta)
    expected = rows.attempts * chance
    left, weight = rows.hits - expected, expected * (1 - chance)
    near = 1 + v
    heavy, early = weight * v, weight * near
    bent = weight * u
    return loss, np.stack(
        [
            height,
            _sum(early, near),
            -_sum(early, v),
            _sum(heavy, v),
            height * _sum(bent, near),
            -height * _sum(bent, v),
            _sum(left, near),
            -_sum(left, v),
            _sum(left, u),
            height**2 * _sum(bent, u),
            height * _sum(left, turn),
        ]
    )


def _step(
    sums: np.ndarray, point: np.ndarray, low: np.ndarray, high: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Newton step of the log rate and both ends, and the gain it promises.

    What would leave its bounds is held. Where the surface does not bend down along the rate the
    expected curvature stands in.
    """
    height, a, b, c, d, e, g, h, pull, firm, curl = sums
    held = ((point <= low) & (np.stack([height * pull, g, h], axis=1) < 0)) | (
        (point >= high) & (np.stack([height * pull, g, h], axis=1) > 0)
    )
    free_g, free_h = ~held[:, 1], ~held[:, 2]
    b, g, h, d, e = b * (free_g & free_h), g * free_g, h * free_h, d * free_g, e * free_h
    a, c = np.where(free_g, a, 1.0), np.where(free_h, c, 1.0)
    volume = np.maximum(a * c - b * b, 1e-14 * a * c + 1e-300)
    # The curve bends by the ends and the rate together as well.
    bent_d, bent_e = d - pull * free_g, e + pull * free_h
    x, y = (c * bent_d - b * bent_e) / volume, (a * bent_e - b * bent_d) / volume
    bend = firm - curl - bent_d * x - bent_e * y
    plain_x, plain_y = (c * d - b * e) / volume, (a * e - b * d) / volume
    scoring = np.maximum(firm - d * plain_x - e * plain_y, 1e-14 * firm + 1e-300)
    rough = bend < 1e-3 * scoring
    x, y = np.where(rough, plain_x, x), np.where(rough, plain_y, y)
    slope = height * pull - x * g - y * h
    move = slope / np.where(rough, scoring, bend)
    beyond = ((point[:, 0] <= low[:, 0]) & (move < 0)) | ((point[:, 0] >= high[:, 0]) & (move > 0))
    move = np.where(beyond, 0.0, np.clip(move, -1.5, 1.5))
    first, second = (c * g - b * h) / volume, (a * h - b * g) / volume
    step = np.stack([move, first - x * move, second - y * move], axis=1)
    size = np.max(np.abs(step), axis=1)
    step *= np.minimum(1.0, LARGEST_STEP / np.maximum(size, 1e-300))[:, None]
    return step, np.abs(first * g + second * h) + np.abs(slope * move)
