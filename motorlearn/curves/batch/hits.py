r"""Curves of hits of many learners at once, for forms whose log basis is linear in one rate.

With :math:`\rho = -r x` the logit is :math:`\beta_0 + \beta_1 w`, where :math:`x` counts from the
first practice count of each learner and :math:`w = (e^{\rho} - 1) / |e^{\rho_{end}} - 1|` runs from
0 to -1, so that both coefficients are logits whatever the rate. The likelihood is profiled over
the whole range of the rate, and its best places are refined by Newton's method with the observed
information in closed form, all learners at once. Scoring would creep where the curve is nearly
flat; Newton's method does not.
"""

from dataclasses import dataclass, fields

import numpy as np
from scipy.special import xlog1py, xlogy

from motorlearn.curves.batch.climbing import best_of
from motorlearn.curves.batch.hit_rows import HitRows, ahead, inner, level_line
from motorlearn.curves.batch.hit_starts import starts
from motorlearn.curves.batch.padded import (
    Optimum,
    Padded,
    extreme,
    for_counts,
    log_bounds,
    search_one,
)
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


@dataclass(frozen=True)
class HitFits:
    """Best log rate and logits at both ends, one column per learner, with loss and whether settled.

    ``sums`` are those of :func:`_looked` there; ``line`` and ``step`` the losses of both ends of
    the rate.
    """

    point: np.ndarray
    loss: np.ndarray
    settled: np.ndarray
    sums: np.ndarray
    line: np.ndarray
    step: np.ndarray

    def in_order(self, other: "HitFits", order: np.ndarray) -> "HitFits":
        """These learners and others, in an order."""
        pairs = ((getattr(self, item.name), getattr(other, item.name)) for item in fields(self))
        return HitFits(*(np.concatenate(pair, axis=-1)[..., order] for pair in pairs))


def fit_hits(data: Padded) -> tuple[Optimum, HitFits]:
    """Best curve of every learner; those whose search does not come to rest are searched alone.

    Whoever has as many attempts in every trial is fitted apart from the others, so that nobody
    else changes how losses are summed.
    """
    even = np.all(data.weights == data.weights[:, :1], axis=1)
    groups = [rows for rows in map(np.flatnonzero, (even, ~even)) if rows.size]
    fits = _fit(data if len(groups) == 1 else data.pick(groups[0]))
    if len(groups) > 1:
        fits = fits.in_order(_fit(data.pick(groups[1])), np.argsort(np.concatenate(groups)))
    bounds, (tau, top, end) = log_bounds(data), fits.point
    low, high = bounds[:, 0, 0], bounds[:, 0, 1]
    stuck = (tau <= low + 1e-6) | (tau >= high - data.form.edges[0])
    beta = np.stack([top, (top - end) / -np.expm1(data.fallen(tau[:, None]).min(axis=1))], axis=1)
    found = Optimum(tau[:, None], beta, fits.loss, stuck[:, None], fits.settled)
    found.settled[extreme(data, found)] = True
    for k in np.flatnonzero(~found.settled):
        search_one(data, found, int(k))
        fits.sums[:, k] = np.nan
    return found, fits


def _straight_loss(rows: HitRows, v: np.ndarray, beta: np.ndarray) -> np.ndarray:
    """Loss of the best line of logits on a basis: Newton's method, with halving where it needs it.

    It is only compared with others, so that it need not be known to the last digit.
    """
    low = v < LEAST_SHARE - 1
    if np.all(low | (v > -LEAST_SHARE)):
        both: np.ndarray = _entropy(rows, low) + _entropy(rows, ~low)
        return both
    active, found, part, basis = np.arange(len(rows.whole)), np.empty(len(rows.whole)), rows, v
    for _ in range(PLAIN_STEPS):
        step, loss, gain = ahead(part, basis, beta)
        found[active] = loss - 0.5 * gain
        going = gain >= CLEAR_GAIN
        if not going.any():
            return found
        beta = (beta + step)[:, going]
        active, part, basis = active[going], part.pick(going), basis[:, going]
    found[active] = _halved(part, basis)
    return found


def _entropy(rows: HitRows, where: np.ndarray) -> np.ndarray:
    """Loss of some trials of each learner with one chance of a hit."""
    hits, whole = (inner(part, where.astype(float)) for part in (rows.hits, rows.attempts))
    share = hits / np.maximum(whole, 1.0)
    found: np.ndarray = -(xlogy(hits, share) + xlog1py(whole - hits, -share))
    return found


def _halved(rows: HitRows, v: np.ndarray) -> np.ndarray:
    """The same for learners whose logits may run away: from the flat line, steps halved."""
    beta = level_line(rows)
    loss, share = rows.parts(beta[1] * v + beta[0])[0], np.ones(len(rows.whole))
    for _ in range(MOST_STEPS):
        step, _, gain = ahead(rows, v, beta)
        step = step * share
        eta = (beta[1] + step[1]) * v + (beta[0] + step[0])
        far = np.max(np.abs(eta), axis=0) > LARGEST_LOGIT
        with np.errstate(over="ignore"):
            new = np.where(far, np.inf, rows.parts(np.clip(eta, -LARGEST_LOGIT, LARGEST_LOGIT))[0])
        better = new <= loss
        beta[:, better] += step[:, better]
        loss = np.where(better, new, loss)
        share *= np.where(better, np.minimum(2.0, 1 / share), 0.1)
        if not np.any((gain > CLEAR_GAIN) & (share > LEAST_SHARE)):
            break
    return loss


def _fit(data: Padded) -> HitFits:
    """The best of some climbs of each learner.

    Learners climb in blocks first; those who need more steps than most go on together.
    """
    rows, bounds = HitRows.of(data), log_bounds(data)[:, 0]
    ends = for_counts(data, data.form.extremes)[:, :, 0]
    parts, going, count = [], [], 0
    for low in range(0, len(rows.whole), BLOCK):
        block = slice(low, low + BLOCK)
        own = rows.pick(block)
        who, tau, beta, line = starts(own, bounds[block])
        point = np.stack([tau, beta[0], beta[0] - beta[1]])
        *climbed, active = _climb(own.pick(who), who, point, bounds[block][who], BLOCK_STEPS)
        pair = [
            _straight_loss(own, own.basis(end), start)
            for end, start in zip(ends[block].T, (line, level_line(own)))
        ]
        going.append(active + count)
        count += len(who)
        parts.append((who + low, *climbed, np.stack(pair)))
    who, point, loss, settled, sums, pairs = (
        np.concatenate(column, axis=-1) for column in zip(*parts)
    )
    on = np.concatenate(going)
    if on.size:
        again = _climb(rows.pick(who[on]), who[on], point[:, on], bounds[who[on]], MOST_STEPS)
        point[:, on], loss[on], settled[on], sums[:, on], _ = again
    best = best_of(who, loss, len(rows.whole))
    found = HitFits(point[:, best], loss[best], settled[best], sums[:, best], *pairs)
    _to_the_bound(rows, found, ends[:, 1])
    return found


def _to_the_bound(rows: HitRows, found: HitFits, steep: np.ndarray) -> None:
    """Take whom a step serves as well to the rate of the step: on the way there all is level."""
    chosen = np.flatnonzero(found.step <= found.loss)
    if not chosen.size:
        return
    point = found.point[:, chosen].copy()
    point[0] = steep[chosen]
    held = np.stack([point[0], point[0]], axis=1)
    own = np.arange(len(chosen))
    new, loss, settled, sums, _ = _climb(rows.pick(chosen), own, point, held, MOST_STEPS)
    better = loss <= found.loss[chosen] * (1 + 1e-12)
    taken = chosen[better]
    found.point[:, taken], found.sums[:, taken] = new[:, better], sums[:, better]
    found.loss[taken], found.settled[taken] = loss[better], settled[better]


def _climb(
    rows: HitRows, who: np.ndarray, point: np.ndarray, bounds: np.ndarray, steps: int
) -> tuple[np.ndarray, ...]:
    """Newton's method with step halving: point, loss, whether settled, sums, and who would go on.

    A start leaves after a step that gains nothing. The search moves the log rate and the logits at
    both ends of practice, each inside its bounds. Starts that cannot come as low as another of the
    same learner leave too; ``who`` is in order.
    """
    limit = np.full(len(who), LARGEST_LOGIT)
    low, high = np.stack([bounds[:, 0], -limit, -limit]), np.stack([bounds[:, 1], limit, limit])
    point = np.clip(point, low, high)
    begin = np.flatnonzero(np.r_[True, who[1:] != who[:-1]])
    own = np.repeat(np.arange(len(begin)), np.diff(np.r_[begin, len(who)]))
    loss, sums = _looked(rows, point)
    settled, share = np.zeros(len(who), bool), np.ones(len(who))
    active, part, wanted = np.arange(len(who)), rows, np.ones(len(who), bool)
    for count in range(steps):
        here, floor, top = point[:, active], low[:, active], high[:, active]
        step, gain, rough = _step(sums[:, active], here, floor, top)
        tried = np.clip(here + step * share[active], floor, top)
        new, told = _looked(part, tried)
        before = loss[active]
        better = wanted & (new <= before + 1e-14 * np.abs(before))
        taken = active[better]
        point[:, taken], loss[taken], sums[:, taken] = (
            tried[:, better],
            new[better],
            told[:, better],
        )
        enough = np.where(rough | (share[active] < 1), ENOUGH_ROUGH, ENOUGH)
        settled[active] |= better & (gain < enough * (1 + np.abs(loss[active])))
        share[active] *= np.where(better, np.minimum(2.0, 1 / share[active]), 0.2)
        wanted &= ~settled[active] & (share[active] > LEAST_SHARE)
        if count >= BEFORE_LEAVING:
            lowest = np.minimum.reduceat(loss, begin)[own[active]]
            wanted &= loss[active] - FAR_BEHIND * gain <= lowest
        if not wanted.any() or count == steps - 1:
            active = active[wanted]
            break
        if wanted.mean() < WORTH_LEAVING:
            active, wanted = active[wanted], wanted[wanted]
            part = rows.pick(active)
    return point, loss, settled, sums, active


def _looked(rows: HitRows, point: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Loss at a point, and the sums from which the next step and the errors are made."""
    v, u, turn = rows.bent(point[0])
    height = point[1] - point[2]
    eta = height * v
    eta += point[1]
    loss, expected, weight = rows.parts(eta)
    left = np.subtract(rows.hits, expected, out=expected)
    heavy, bent = weight * v, weight * u
    first, both, late = weight.sum(axis=0), heavy.sum(axis=0), inner(heavy, v)
    turned, crossed = bent.sum(axis=0), inner(bent, v)
    pulled = inner(left, v)
    return loss, np.stack(
        [
            height,
            first + 2 * both + late,
            -both - late,
            late,
            height * (turned + crossed),
            -height * crossed,
            left.sum(axis=0) + pulled,
            -pulled,
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
    held = ((point <= low) & (np.stack([height * pull, g, h]) < 0)) | (
        (point >= high) & (np.stack([height * pull, g, h]) > 0)
    )
    free_g, free_h = ~held[1], ~held[2]
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
    beyond = ((point[0] <= low[0]) & (move < 0)) | ((point[0] >= high[0]) & (move > 0))
    move = np.where(beyond, 0.0, np.clip(move, -1.5, 1.5))
    first, second = (c * g - b * h) / volume, (a * h - b * g) / volume
    step = np.stack([move, first - x * move, second - y * move])
    size = np.max(np.abs(step), axis=0)
    step *= np.minimum(1.0, LARGEST_STEP / np.maximum(size, 1e-300))
    return (
        step,
        np.abs(first * g + second * h) + np.abs(slope * move),
        rough | (np.abs(move) > CLOSE_BY),
    )
