r"""Curves of hits of many learners at once, for forms whose log basis is linear in one rate.

With :math:`\rho = -r x` the logit is :math:`\beta_0 + \beta_1 w`, where :math:`x` counts from the
first practice count of each learner and :math:`w = (e^{\rho} - 1) / |e^{\rho_{end}} - 1|` runs from
0 to -1, so that both coefficients are logits whatever the rate. The likelihood is profiled over
the whole range of the rate, and its best places are refined by Newton's method with the observed
information in closed form, all learners at once. Scoring would creep where the curve is nearly
flat; Newton's method does not.
"""

from collections.abc import Iterator

import numpy as np
from scipy.special import xlog1py, xlogy

from motorlearn.curves.batch.climbing import best_of
from motorlearn.curves.batch.hit_rows import HitRows, ahead, inner, level_line, logits
from motorlearn.curves.batch.hit_starts import starts
from motorlearn.curves.batch.padded import Optimum, Padded, extreme, log_bounds, search_one
from motorlearn.curves.single.problem import LARGEST_LOGIT

BLOCK = 400
BLOCK_STEPS, MOST_STEPS = 5, 60
"""Newton steps of the learners of a block, and of those of all blocks who need more."""
ENOUGH, ENOUGH_ROUGH = 1e-9, 1e-11
"""Share of the loss that a step promises to gain below which it is the last: its error is of the
order of its square where the surface bends down."""
CLOSE_BY = 3e-3
"""Step of the log rate from where that is so."""
BEFORE_LEAVING, FAR_BEHIND = 1, 10.0
"""Steps before a start is given up, and how many times what its step promised it must lack."""
WORTH_LEAVING = 0.85
"""Share of learners still climbing below which the others are put aside."""
PLAIN_STEPS, CLEAR_GAIN = 14, 1e-4
"""Newton steps of a straight line before steps are halved, and gain with which it is known."""
LEAST_SHARE, LARGEST_STEP = 1e-7, 5.0


def fit_hits(data: Padded) -> Optimum:
    """Best curve of every learner; those whose search does not come to rest are searched alone."""
    bounds = log_bounds(data)
    tau, beta, loss, settled = _fit(HitRows.of(data), bounds[:, 0])
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
        part = HitRows.of(data.pick(rows))
        found.append(_straight_loss(part, part.basis(tau[rows, 0])))
    return np.concatenate(found)


def _straight_loss(rows: HitRows, v: np.ndarray) -> np.ndarray:
    """Loss of the best line of logits on a basis: Newton's method, with halving where it needs it.

    It is only compared with others, so that it need not be known to the last digit.
    """
    low = v < LEAST_SHARE - 1
    if np.all(low | (v > -LEAST_SHARE)):
        both: np.ndarray = _entropy(rows, low) + _entropy(rows, ~low)
        return both
    beta, found = level_line(rows), np.empty(len(v))
    active, part, basis = np.arange(len(v)), rows, v
    for _ in range(PLAIN_STEPS):
        step, loss, gain = ahead(part, basis, beta)
        found[active] = loss - 0.5 * gain
        going = gain >= CLEAR_GAIN
        if not going.any():
            return found
        beta = (beta + step)[going]
        active, part, basis = active[going], part.pick(going), basis[going]
    found[active] = _halved(part, basis)
    return found


def _entropy(rows: HitRows, where: np.ndarray) -> np.ndarray:
    """Loss of some rows of each learner with one chance of a hit."""
    hits, whole = (np.sum(a, axis=1, where=where) for a in (rows.hits, rows.attempts))
    share = hits / np.maximum(whole, 1.0)
    found: np.ndarray = -(xlogy(hits, share) + xlog1py(whole - hits, -share))
    return found


def _halved(rows: HitRows, v: np.ndarray) -> np.ndarray:
    """The same for learners whose logits may run away: from the flat line, steps halved."""
    beta = level_line(rows)
    loss, share = rows.parts(logits(beta, v))[0], np.ones(len(v))
    for _ in range(MOST_STEPS):
        step, _, gain = ahead(rows, v, beta)
        step = step * share[:, None]
        eta = logits(beta + step, v)
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


Found = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]


def _fit(rows: HitRows, bounds: np.ndarray) -> Found:
    """Log rate, coefficients, loss and whether settled: the best of some climbs of each learner.

    Learners climb in blocks first; those who need more steps than most go on together.
    """
    parts: list[tuple[np.ndarray, ...]] = []
    going: list[np.ndarray] = []
    for block in _blocks(len(rows.hits)):
        own = rows.pick(block)
        who, tau, beta = starts(own, bounds[block])
        point = np.stack([tau, beta[:, 0], beta[:, 0] - beta[:, 1]], axis=1)
        *climbed, active = _climb(own.pick(who), who, point, bounds[block][who], BLOCK_STEPS)
        going.append(active + sum(len(part[0]) for part in parts))
        parts.append((block[who], *climbed))
    who, point, loss, settled = (np.concatenate(column) for column in zip(*parts))
    on = np.concatenate(going)
    if on.size:
        again = _climb(rows.pick(who[on]), who[on], point[on], bounds[who[on]], MOST_STEPS)
        point[on], loss[on], settled[on], _ = again
    best = best_of(who, loss, len(rows.hits))
    point = point[best]
    beta = np.stack([point[:, 1], point[:, 1] - point[:, 2]], axis=1)
    return point[:, 0], beta, loss[best], settled[best]


def _climb(
    rows: HitRows, who: np.ndarray, point: np.ndarray, bounds: np.ndarray, steps: int
) -> Found:
    """Newton's method with step halving: point, loss, whether settled, and who would go on.

    A start leaves after a step that gains nothing. The search moves the log rate and the logits at
    both ends of practice, each inside its bounds. Starts that cannot come as low as another of the
    same learner leave too; ``who`` is in order.
    """
    limit = np.full(len(point), LARGEST_LOGIT)
    low = np.stack([bounds[:, 0], -limit, -limit], axis=1)
    high = np.stack([bounds[:, 1], limit, limit], axis=1)
    point = np.clip(point, low, high)
    begin = np.flatnonzero(np.r_[True, who[1:] != who[:-1]])
    own = np.repeat(np.arange(len(begin)), np.diff(np.r_[begin, len(who)]))
    loss, sums = _looked(rows, point)
    settled, share = np.zeros(len(point), bool), np.ones(len(point))
    active, part = np.arange(len(point)), rows
    for count in range(steps):
        here, floor, top = point[active], low[active], high[active]
        step, gain, rough = _step(sums[:, active], here, floor, top)
        tried = np.clip(here + step * share[active, None], floor, top)
        new, told = _looked(part, tried)
        better = new <= loss[active] + 1e-14 * np.abs(loss[active])
        taken = active[better]
        point[taken], loss[taken], sums[:, taken] = tried[better], new[better], told[:, better]
        enough = np.where(rough | (share[active] < 1), ENOUGH_ROUGH, ENOUGH)
        settled[active] |= better & (gain < enough * (1 + np.abs(loss[active])))
        share[active] *= np.where(better, np.minimum(2.0, 1 / share[active]), 0.2)
        wanted = ~settled[active] & (share[active] > LEAST_SHARE)
        if count >= BEFORE_LEAVING:
            lowest = np.minimum.reduceat(loss, begin)[own[active]]
            wanted &= loss[active] - FAR_BEHIND * gain <= lowest
        if not wanted.any() or count == steps - 1:
            active = active[wanted]
            break
        if wanted.mean() < WORTH_LEAVING:
            active = active[wanted]
            part = rows.pick(active)
    return point, loss, settled, active


def _ends(point: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Logits from those at both ends."""
    found: np.ndarray = (point[:, 1] - point[:, 2])[:, None] * v
    found += point[:, [1]]
    return found


def _looked(rows: HitRows, point: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
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
            inner(early, near),
            -inner(early, v),
            inner(heavy, v),
            height * inner(bent, near),
            -height * inner(bent, v),
            inner(left, near),
            -inner(left, v),
            inner(left, u),
            height**2 * inner(bent, u),
            height * inner(left, turn),
        ]
    )


def _step(
    sums: np.ndarray, point: np.ndarray, low: np.ndarray, high: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Newton step of the log rate and both ends, the gain it promises, and where it is rough.

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
    return (
        step,
        np.abs(first * g + second * h) + np.abs(slope * move),
        rough | (np.abs(move) > CLOSE_BY),
    )
