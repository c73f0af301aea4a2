"""Search for the likelihood of a linear mixed model with residuals of unequal spread."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from motorlearn.exceptions import FitError, RefusedError
from motorlearn.mixed.solve.dense import DenseModel, DensePoint, Padded, PaddedFactor
from motorlearn.mixed.solve.engine import ONE, Cells, Solution, Working, working
from motorlearn.mixed.solve.factors import Factor
from motorlearn.mixed.solve.optimise import (
    Minimum,
    expected_decrease,
    hessian,
    minimise,
    polish,
    positive_inverse,
)
from motorlearn.mixed.solve.residual import ResidualShape
from motorlearn.mixed.solve.serial import STARTS, Places, SerialModel, SerialShape

Array = NDArray[np.float64]

MOST_ENTRIES = 2e7
_COPIES = 1e-8


@dataclass
class Residuals:
    """Level (N,) of the residual of each cell, and which covariances of the levels are free."""

    index: NDArray[np.intp]
    shape: ResidualShape
    run: NDArray[np.intp] | None = None
    place: Array | None = None


def tied_rows(factors: list[Factor]) -> tuple[NDArray[np.intp], NDArray[np.intp], int]:
    """Group of rows that share random effects, place of each row in it, and the largest group."""
    columns, done = [], 0
    for factor in factors:
        columns.append(factor.index + done)
        done += factor.n_levels
    first = np.concatenate([columns[0]] * len(columns))
    graph = sparse.coo_array(
        (np.ones(len(first)), (first, np.concatenate(columns))), shape=(done, done)
    )
    owner = sparse.csgraph.connected_components(graph, directed=False)[1][columns[0]]
    group = np.unique(owner, return_inverse=True)[1]
    order = np.argsort(group, kind="stable")
    counts = np.bincount(group)
    place = np.empty(len(group), dtype=np.intp)
    place[order] = np.arange(len(group)) - np.repeat(np.cumsum(counts) - counts, counts)
    return group, place, int(counts.max())


def padded(work: Working, y: Array, cells: Cells, residuals: Residuals, squares: Array) -> Padded:
    """Rows of a design side by side, one line for each group of rows that are tied."""
    group, place, most = tied_rows(work.factors)
    count, p = int(group.max()) + 1, work.x.shape[1]
    if count * most**2 > MOST_ENTRIES:
        raise RefusedError(
            f"residuals of unequal spread need dense matrices here, {count} of {most} x {most}; "
            "average the trials of a person and test, or leave variance= and correlation= out."
        )
    x = np.zeros((count, most, p))
    outcome = np.zeros((len(y), count, most))
    level = np.full((count, most), -1, dtype=np.intp)
    thin = np.ones((count, most))
    x[group, place], outcome[:, group, place] = work.x, y
    level[group, place], thin[group, place] = residuals.index, 1 / cells.weight
    factors = []
    for factor in work.factors:
        z = np.zeros((count, most, factor.structure.size))
        own = np.full((count, most), -1, dtype=np.intp)
        z[group, place], own[group, place] = factor.z, factor.index
        factors.append(PaddedFactor(z, own, factor.structure, factor.n_levels))
    rows = np.bincount(residuals.index, cells.rows, residuals.shape.size).astype(float)
    tied = np.bincount(residuals.index, minlength=residuals.shape.size).astype(float)
    spare = np.asarray(rows - tied, dtype=float)[: residuals.shape.size]
    logs = cells.log_weights - float(np.sum(np.log(cells.weight)))
    return Padded(x, outcome, level, thin, factors, spare, squares, cells.n, logs)


def solve_dense(
    x: Array, factors: list[Factor], cells: Cells, residuals: Residuals, *, reml: bool
) -> Solution:
    """Fit a linear mixed model by restricted or full maximum likelihood."""
    work = working(x, factors)
    base, y, unit = _standardised(work, cells.y[None], cells)
    squares = np.bincount(residuals.index, cells.within_cell, residuals.shape.size)
    data = padded(work, y, cells, residuals, squares[None] / unit[:, None] ** 2)
    found, curve, model = _best(_models(work, data, residuals, reml))
    if not np.isfinite(found.value[0]):
        raise FitError(
            "the covariance of the residuals cannot be estimated from so few rows; use fewer "
            "levels or leave correlation= out."
        )
    _refuse_copies(model, found)
    return _solution(work, model, found, curve, base[0], float(unit[0]))


def _models(work: Working, data: Padded, residuals: Residuals, reml: bool) -> list[DenseModel]:
    """The model, for neighbours that are alike once for each start of the search."""
    if residuals.run is None or residuals.place is None:
        return [DenseModel(data, residuals.shape, reml)]
    group, place, _ = tied_rows(work.factors)
    run, at = np.full(data.level.shape, -1, dtype=np.intp), np.zeros(data.level.shape)
    run[group, place], at[group, place] = residuals.run, residuals.place
    shapes = [SerialShape(size=residuals.shape.size, rho=rho) for rho in STARTS]
    return [SerialModel(data, shape, reml, Places(run, at)) for shape in shapes]


def _best(models: list[DenseModel]) -> tuple[Minimum, Array, DenseModel]:
    found = [(*search(model), model) for model in models]
    return min(found, key=lambda one: float(one[0].value[0]))


def _refuse_copies(model: DenseModel, found: Minimum) -> None:
    """Refuse levels of the residual that follow from one another."""
    residual = model.at(found.x, ONE).residual[0]
    spread = np.sqrt(np.diag(residual))
    correlation = residual / np.outer(spread, spread)
    if model.shape.kind != "levels" and np.linalg.eigvalsh(correlation)[0] < _COPIES:
        raise FitError(
            "the rows of a participant follow from one another exactly, so that no residual spread "
            "is left to judge differences by; check that rows are not copies of each other or made "
            "from a formula, or take levels out."
        )


def _standardised(work: Working, y: Array, cells: Cells) -> tuple[Array, Array, Array]:
    """Least-squares fit (R, p) of outcomes (R, N), what is left of them, and its spread (R,)."""
    base = y @ work.x / y.shape[1]
    rest = y - base @ work.x.T
    step = rest @ work.x / y.shape[1]
    base, rest = base + step, rest - step @ work.x.T
    unit = np.sqrt((rest**2 @ cells.weight + cells.within) / cells.weight.sum())
    return base, rest / unit[:, None], unit


def search(model: DenseModel) -> tuple[Minimum, Array]:
    """Minimise from a start by moments; gives the minimum and its Hessian."""
    start = first_guess(model)
    found = minimise(model.objective, start, longest=2.0)
    curve = hessian(model.objective, found.x)
    found = polish(model.objective, found, curve)
    return found, hessian(model.objective, found.x)


def first_guess(model: DenseModel) -> Array:
    """Half of the spread to random effects, where there are any, and half to the residuals."""
    data, shape = model.data, model.shape
    present = data.picks.sum(axis=(0, 1))
    terms = sum(factor.structure.size for factor in data.factors)
    share = 0.5 if terms else 1.0
    square = np.einsum("rgm,gma->ra", data.y**2, data.picks)
    variances = np.maximum(share * square / np.maximum(present, 1), 1e-3)
    lines = []
    for one in variances:
        covariance = np.diag(one)
        if shape.kind not in ("levels", "serial"):
            spread = np.sqrt(one)
            covariance = np.outer(spread, spread) * (0.3 + 0.7 * np.eye(shape.size))
        lines.append(shape.start(covariance))
    thetas = [np.sqrt(0.5 / terms) * factor.structure.start for factor in data.factors if terms]
    fixed = np.concatenate([*thetas, np.zeros(0)])
    return np.column_stack([np.tile(fixed, (len(lines), 1)), np.array(lines)])


def natural_jacobian(model: DenseModel, point: Array) -> Array:
    """∂γ/∂(θ, φ) at one point, γ being the free entries of each scaled Ψ and then of R."""
    count = len(point)
    out, row, done = np.zeros((count, count)), 0, 0
    for factor in model.data.factors:
        structure, size = factor.structure, factor.structure.n_free
        theta = point[done : done + size]
        for j in range(size):
            step = 0.5 * np.eye(size)[j]
            ahead, behind = (structure.factor((theta + s)[None])[:, :, 0] for s in (step, -step))
            difference = ahead @ ahead.T - behind @ behind.T
            out[row : row + size, done + j] = difference[structure.entries]
        row, done = row + size, done + size
    out[row:, done:] = model.shape.slopes(point[None, done:])[0]
    return out


def _solution(
    work: Working, model: DenseModel, found: Minimum, curve: Array, base: Array, unit: float
) -> Solution:
    here = model.at(found.x, ONE)
    jacobian = natural_jacobian(model, found.x[0])
    crosses, seconds, traces = model.products(here)
    phi = unit**2 * here.phi[0]
    slopes = -(unit**2) * (here.phi[0] @ crosses[0] @ here.phi[0])
    residual = unit**2 * here.residual[0]
    modes, spread = work.original_effects(*_effects(model, here))
    scaled = [lam[:, :, 0] @ lam[:, :, 0].T for lam in here.lams]
    constant = 2 * model.df * np.log(unit)
    if model.reml:
        constant += 2 * float(np.linalg.slogdet(work.turn)[1])
    psi = [unit**2 * back @ own @ back.T for own, back in zip(scaled, work.backs, strict=True)]
    return Solution(
        beta=work.back @ (base + unit * here.beta[0]),
        vcov=work.back @ phi @ work.back.T,
        psi=psi,
        sigma=mean_spread(model, residual),
        deviance=float(here.value[0]) + constant,
        theta=found.x[0],
        modes=[unit * mode for mode in modes],
        spread=[unit**2 * square for square in spread],
        gradient=found.gradient[0],
        hessian=curve[0],
        expected_decrease=float(expected_decrease(curve, found.gradient)[0]),
        iterations=found.iterations,
        vcov_slopes=np.array([work.back @ slope @ work.back.T for slope in slopes]),
        variance_vcov=jacobian @ (2 * positive_inverse(curve[0])) @ jacobian.T,
        scaled_psi=scaled,
        residual=residual,
        products=(phi, crosses[0] / unit**2, seconds[0] / unit**2, traces[0]),
    )


def mean_spread(model: DenseModel, residual: Array) -> float:
    """Root of the mean residual variance over the rows."""
    data = model.data
    rows = data.picks.sum(axis=(0, 1)) + data.spare
    return float(np.sqrt(np.sum(rows * np.diag(residual)) / rows.sum()))


def _effects(model: DenseModel, here: DensePoint) -> tuple[list[Array], list[Array]]:
    """Conditional modes (G, q) and their covariances (G, q, q) by level, on working scales."""
    modes, spreads = [], []
    for factor, lam in zip(model.data.factors, here.lams, strict=True):
        psi = lam[:, :, 0] @ lam[:, :, 0].T
        size, there = factor.structure.size, factor.level >= 0
        pull = np.zeros((factor.n_levels, size))
        np.add.at(pull, factor.level[there], (factor.z * here.pull[0, :, :, None])[there])
        near = np.einsum("gmn,gnb->gmb", here.inverse[0] * factor.same, factor.z)
        inside = np.zeros((factor.n_levels, size, size))
        np.add.at(inside, factor.level[there], (factor.z[..., :, None] * near[..., None, :])[there])
        modes.append(pull @ psi)
        spreads.append(psi - psi @ inside @ psi)
    return modes, spreads
