"""From the best points of many learners to natural parameters and their standard errors."""

from dataclasses import dataclass, fields

import numpy as np

from motorlearn.curves.batch.hits import HitFits
from motorlearn.curves.batch.padded import Optimum, Padded, extreme, log_bounds, working
from motorlearn.curves.batch.quick_sums import inverse_of_three, quadratic
from motorlearn.curves.status import gain_adrift

CLEAR = 1e-6
"""Determinant of columns of length 1 from which their products have digits enough."""


@dataclass(frozen=True)
class Described:
    """Natural parameters and standard errors; ``rates`` has one column per rate."""

    asymptote: np.ndarray
    gain: np.ndarray
    rates: np.ndarray
    start: np.ndarray
    se_asymptote: np.ndarray
    se_gain: np.ndarray
    se_rates: np.ndarray
    progress: np.ndarray
    change: np.ndarray
    extreme: np.ndarray


def describe(data: Padded, best: Optimum, noise: np.ndarray) -> Described:
    """Turn the optimum into natural parameters; ``noise`` is the residual variance (1 for hits)."""
    form, tau, beta = data.form, best.tau, best.beta
    jacobian, _, weight = working(data, tau, beta)
    covariance = noise[:, None, None] * _inverse(jacobian, weight, best.at_bound)
    rates = [np.exp(tau[:, k]) for k in range(tau.shape[1])]
    origin = data.origin[:, 0]
    with np.errstate(over="ignore", invalid="ignore"):
        lift = np.exp(-form.log_basis(origin, rates, data.first))
        gain = beta[:, 1] * lift
        turns = [r * s for r, s in zip(rates, form.slopes(origin, rates, data.first))]
        to_gain = np.stack([0 * gain, lift, *[-gain * turn for turn in turns]], axis=1)
        var_gain = np.einsum("ik,ikl,il->i", to_gain, covariance, to_gain)
    to_a = np.zeros_like(to_gain)
    to_a[:, 0], to_a[:, 1] = 1.0, -1.0
    var_a = np.einsum("ik,ikl,il->i", to_a, covariance, to_a)
    asymptote = beta[:, 0] - beta[:, 1]
    at = form.log_basis(np.full(len(origin), data.first), rates, data.first)
    with np.errstate(over="ignore", invalid="ignore"):
        rise = beta[:, 1] * np.exp(at - form.log_basis(origin, rates, data.first))
    fallen = np.where(data.weights > 0, data.fallen(tau), 0.0)
    log_var = np.maximum(np.einsum("ikk->ik", covariance)[:, 2:], 0)
    return Described(
        asymptote=asymptote,
        gain=gain,
        rates=np.stack(rates, axis=1),
        start=asymptote + rise,
        se_asymptote=np.sqrt(np.maximum(var_a, 0)),
        se_gain=np.sqrt(np.maximum(var_gain, 0)),
        se_rates=np.stack(rates, axis=1) * np.sqrt(log_var),
        progress=-fallen.min(axis=1),
        change=np.abs(beta[:, 1] * np.expm1(fallen.min(axis=1))),
        extreme=extreme(data, best),
    )


def describe_hits(data: Padded, best: Optimum, fits: HitFits) -> Described:
    """The same from the sums that the search for the curves of hits ended with.

    Whose products have too few digits, or who was searched alone, is described with care.
    """
    form, rate = data.form, np.exp(best.tau[:, 0])
    _, a, b, c, d, e, *_, firm, _ = fits.sums
    progress = -data.fallen(best.tau).min(axis=1)
    seen, free = -np.expm1(-progress), ~best.at_bound[:, 0]
    gram = (a, b, d * free, c, e * free, np.where(free, firm, 1.0))
    inverse, clear = inverse_of_three(gram)
    bend = progress * np.exp(-progress) / seen
    fall, origin = best.beta[:, 1], data.origin[:, 0]
    at = form.log_basis(np.full(len(rate), data.first), [rate], data.first)

    def error(*slopes: np.ndarray) -> np.ndarray:
        """From slopes by the logits at both ends and by the log rate."""
        variance = quadratic(inverse, (*slopes[:2], np.where(free, slopes[2], 0.0)))
        found: np.ndarray = np.sqrt(np.maximum(variance, 0.0))
        return found

    with np.errstate(over="ignore", invalid="ignore"):
        lift = np.exp(-form.log_basis(origin, [rate], data.first))
        turn = rate * form.slopes(origin, [rate], data.first)[0]
        told = Described(
            asymptote=best.beta[:, 0] - fall,
            gain=fall * lift,
            rates=rate[:, None],
            start=best.beta[:, 0] - fall + fall * np.exp(at) * lift,
            se_asymptote=error(1 - 1 / seen, 1 / seen, fall * bend),
            se_gain=error(lift / seen, -lift / seen, -fall * lift * (bend + turn)),
            se_rates=(rate * error(0 * rate, 0 * rate, 0 * rate + 1))[:, None],
            progress=progress,
            change=np.abs(fall * seen),
            extreme=extreme(data, best),
        )
    rows = np.flatnonzero(~clear)
    if rows.size:
        careful = describe(data.pick(rows), best.pick(rows), np.ones(rows.size))
        for item in fields(Described):
            getattr(told, item.name)[rows] = getattr(careful, item.name)
    return told


def _inverse(jacobian: np.ndarray, weight: np.ndarray, at_bound: np.ndarray) -> np.ndarray:
    """Inverse information with rates at a bound held; infinite where it is singular."""
    held = np.concatenate([np.zeros((len(at_bound), 2), bool), at_bound], axis=1)
    weighted = np.sqrt(weight)[:, :, None] * np.where(held[:, None, :], 0.0, jacobian)
    scale = np.linalg.norm(weighted, axis=1)
    scale[scale == 0] = 1.0
    weighted = weighted / scale[:, None, :]
    index = np.arange(scale.shape[1])
    gram = np.swapaxes(weighted, 1, 2) @ weighted
    gram[:, index, index] += held
    clear = np.abs(np.linalg.det(gram)) > CLEAR
    inverse: np.ndarray = np.empty_like(gram)
    inverse[clear] = np.linalg.inv(gram[clear]) / (
        scale[clear][:, :, None] * scale[clear][:, None, :]
    )
    rest = np.flatnonzero(~clear)
    if rest.size:
        inverse[rest] = _by_triangle(weighted[rest], scale[rest], held[rest])
    inverse[held[:, :, None] | held[:, None, :]] = 0.0
    return inverse


def _by_triangle(weighted: np.ndarray, scale: np.ndarray, held: np.ndarray) -> np.ndarray:
    """Inverse through the triangle, which keeps more digits."""
    index = np.arange(scale.shape[1])
    # A held rate gets a row of its own, so that the triangle stays invertible.
    extra = np.zeros((len(held), scale.shape[1], scale.shape[1]))
    extra[:, index, index] = held
    triangle = np.asarray(np.linalg.qr(np.concatenate([weighted, extra], axis=1), mode="r"))
    weak = np.abs(triangle[:, index, index]).min(axis=1) < 1e-14
    triangle[weak] = np.eye(scale.shape[1])
    root = np.linalg.inv(triangle) / scale[:, :, None]
    inverse: np.ndarray = root @ np.swapaxes(root, 1, 2)
    inverse[weak] = np.inf
    return inverse


def tail_at_lowest(data: Padded, best: Optimum) -> np.ndarray | bool:
    """Whether the rate that sends the asymptote away lies at its lowest."""
    if data.form.tail is None:
        return False
    k = data.form.rates.index(data.form.tail)
    found: np.ndarray = best.at_bound[:, k] & (best.tau < log_bounds(data).mean(axis=2))[:, k]
    return found


def gain_lost(data: Padded, told: Described) -> np.ndarray:
    """Whose gain belongs to a trial long before the first, and is not known."""
    rates = list(told.rates.T)
    with np.errstate(over="ignore"):
        lift = np.exp(-data.form.log_basis(data.origin[:, 0], rates, data.first))
    return np.asarray(gain_adrift(told.gain, told.se_gain, lift))
