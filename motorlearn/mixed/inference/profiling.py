"""Profile likelihood of one standard deviation of a mixed model, with any grouping factors.

The term in question is put first in its block, so that its standard deviation is a single entry of
Λ; that entry is held and everything else is searched anew, each search from where the last ended.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motorlearn.mixed.solve.covariance import Structure
from motorlearn.mixed.solve.engine import Cells, Working, lifted, working
from motorlearn.mixed.solve.factors import Factor
from motorlearn.mixed.solve.likelihoods import Likelihood
from motorlearn.mixed.solve.optimise import minimise
from motorlearn.mixed.solve.search_general import general_model
from motorlearn.mixed.solve.search_linear import LinearModel, linear_model

Array = NDArray[np.float64]
ONE = np.array([0])


@dataclass(frozen=True)
class Setting:
    """A model and where its estimates lie; ``psi`` are the covariances of its factors."""

    x: Array
    factors: list[Factor]
    cells: Cells
    offset: Array
    likelihood: Likelihood | None
    reml: bool
    quadrature: int
    beta: Array
    psi: list[Array]
    sigma: float
    extra: Array


def profile_of_term(setting: Setting, place: int, number: int) -> Callable[[float], float]:
    """Minimum of −2 log likelihood as a function of the standard deviation of one random term.

    The term is the ``number``-th of the factor at ``place``.
    """
    factor = setting.factors[place]
    blocks = tuple(
        (number, *(i for i in block if i != number)) if number in block else block
        for block in factor.structure.blocks
    )
    turned = Factor(factor.index, factor.z, Structure(blocks), factor.n_levels)
    rows, columns = turned.structure.entries
    before = sum(other.structure.n_free for other in setting.factors[:place])
    held = before + int(np.flatnonzero((rows == number) & (columns == number))[0])
    factors = [turned if i == place else other for i, other in enumerate(setting.factors)]
    work = working(setting.x, factors, first_alone=True)
    scale = work.turns[place][number, number]
    if setting.likelihood is None:
        return _linear_profile(setting, work, held, scale)
    theta = lifted(work.theta(setting.psi))
    kind, p = setting.likelihood, setting.x.shape[1]
    model = general_model(work, setting.cells, setting.offset, kind, setting.quadrature)
    whole = np.concatenate([work.turn @ setting.beta, theta, setting.extra])
    state = [np.delete(whole, p + held)]

    def profile(spread: float) -> float:
        def objective(points: Array, which: NDArray[np.intp]) -> tuple[Array, Array]:
            whole = np.insert(points, p + held, spread * scale, axis=1)
            value, gradient = model.objective(whole, which)
            return value, np.delete(gradient, p + held, axis=1)

        found = minimise(objective, state[0][None], tolerance=1e-10)
        state[0] = found.x[0]
        return float(found.value[0])

    return profile


def _linear_profile(
    setting: Setting, work: Working, held: int, scale: float
) -> Callable[[float], float]:
    model = linear_model(work, setting.cells, setting.reml)
    theta = lifted(work.theta([psi / setting.sigma**2 for psi in setting.psi]))
    state = [np.concatenate([[np.log(setting.sigma)], np.delete(theta, held)])]

    def profile(spread: float) -> float:
        def objective(points: Array, which: NDArray[np.intp]) -> tuple[Array, Array]:
            sigma = np.exp(points[0, 0])
            own = spread * scale / sigma
            value, slope, by_log_sigma = _open(model, np.insert(points[:, 1:], held, own, 1), sigma)
            by_log_sigma = by_log_sigma - slope[held] * own
            return np.array([value]), np.concatenate([[by_log_sigma], np.delete(slope, held)])[None]

        found = minimise(objective, state[0][None], tolerance=1e-10, longest=1.0)
        state[0] = found.x[0]
        return float(found.value[0])

    return profile


def profile_of_residual(setting: Setting) -> Callable[[float], float]:
    """Minimum of −2 log likelihood as a function of the residual standard deviation."""
    work = working(setting.x, setting.factors)
    model = linear_model(work, setting.cells, setting.reml)
    state = [lifted(work.theta([psi / setting.sigma**2 for psi in setting.psi]))]

    def profile(sigma: float) -> float:
        def objective(points: Array, which: NDArray[np.intp]) -> tuple[Array, Array]:
            value, slope, _ = _open(model, points, sigma)
            return np.array([value]), slope[None]

        found = minimise(objective, state[0][None], tolerance=1e-10, longest=1.0)
        state[0] = found.x[0]
        return float(found.value[0])

    return profile


def _open(model: LinearModel, theta: Array, sigma: float) -> tuple[float, Array, float]:
    """Criterion at (θ, σ), not profiled over σ, with its slopes in θ and log σ."""
    here = model.evaluate(theta, ONE)
    rss, df = here.rss[0], model.df
    rest = here.value[0] - df * (1 + np.log(2 * np.pi * rss / df))
    value = rest + rss / sigma**2 + df * np.log(2 * np.pi * sigma**2)
    slope = here.log_slope[0] + here.rss_slope[0] / sigma**2
    return float(value), slope, float(2 * df - 2 * rss / sigma**2)
