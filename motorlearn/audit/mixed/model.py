"""A fitted mixed model as arrays: conditional modes of many data sets, simulated outcomes.

Random effects are written b = Λu with u ~ N(0, I), so that a variance of zero is an ordinary case.
The modes of u given the estimated parameters are found by penalised least squares, once for a
linear model and by Newton steps for a binomial one.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.linalg import splu

from motorlearn.mixed import MixedFit
from motorlearn.mixed.prediction import serial_order
from motorlearn.mixed.solve.links import INVERSE_LINKS, LINKS

Floats = NDArray[np.float64]

_NEWTON_STEPS = 50


@dataclass(frozen=True)
class MixedModel:
    """A mixed model taken apart for its audit.

    Outcomes are handled by cell (rows that share every covariate): hits and attempts of a binomial
    model, weighted means of a linear one.
    """

    fit: MixedFit

    @property
    def binomial(self) -> bool:
        """Whether the outcome is hits among attempts."""
        return self.fit.family == "binomial"

    @property
    def cells(self) -> int:
        """Number of cells."""
        return len(self.fit.design.x)

    @cached_property
    def weight(self) -> Floats:
        """Attempts or summed weights of each cell."""
        design = self.fit.design
        return np.bincount(design.cell, design.weight, self.cells).astype(float)

    @cached_property
    def spread(self) -> Floats:
        """Residual standard deviation of a row of weight one, by cell; one for counts."""
        part = self.fit.design.residual
        if self.binomial:
            return np.ones(self.cells)
        if part is None:
            return np.full(self.cells, self.fit.residual_sd)
        return np.asarray(np.sqrt(np.diag(self.fit.residual_covariance))[part.index], dtype=float)

    @property
    def correlated(self) -> bool:
        """Whether the residuals of a participant correlate."""
        part = self.fit.design.residual
        return part is not None and part.correlation != "none"

    @cached_property
    def whitener(self) -> sparse.csr_matrix:
        """W by cell with ``W R W' = I``, R being the residual covariance of the cells' means."""
        if not self.correlated:
            return sparse.diags(np.sqrt(self.weight) / self.spread, format="csr")
        part, person = self.fit.design.residual, self.fit.design.random[0].index
        if part is not None and part.run is not None and part.place is not None:
            return self._serial_whitener(part.run, part.place)
        blocks = sparse.lil_matrix((self.cells, self.cells))
        for own in np.split(np.argsort(person, kind="stable"), np.cumsum(np.bincount(person))[:-1]):
            level = part.index[own] if part is not None else own
            root = np.linalg.cholesky(self.fit.residual_covariance[np.ix_(level, level)])
            blocks[np.ix_(own, own)] = np.linalg.inv(root)
        return sparse.csr_matrix(blocks)

    def _serial_whitener(self, run: NDArray[np.intp], place: Floats) -> sparse.csr_matrix:
        """Each residual less what its neighbour before it says of it, by the standard deviation."""
        order, first, lag = serial_order(run, place)
        rho = self.fit.neighbours
        near = np.where(first, 0.0, np.sign(rho) ** (lag % 2) * np.abs(rho) ** lag)
        left = 1 / np.sqrt(1 - near**2)
        later = np.flatnonzero(~first)
        shape = (self.cells, self.cells)
        away = sparse.coo_matrix(
            (-(near * left)[later], (order[later], order[later - 1])), shape=shape
        )
        own = sparse.coo_matrix((left, (order, order)), shape=shape)
        return sparse.csr_matrix((own + away) @ sparse.diags(1 / self.spread))

    @cached_property
    def fixed(self) -> Floats:
        """Linear predictor without random effects, by cell."""
        offset = self.fit.design.offset if self.binomial else 0.0
        return self.fit.design.x @ self.fit.beta + offset

    @cached_property
    def loadings(self) -> sparse.csc_matrix:
        """ZΛ, shape (cells, random effects)."""
        parts = []
        for part in self.fit.design.random:
            values, vectors = np.linalg.eigh(self.fit.covariances[part.group])
            root = vectors * np.sqrt(np.clip(values, 0, None))
            turned = part.z @ root
            size = turned.shape[1]
            rows = np.repeat(np.arange(self.cells), size)
            columns = (part.index[:, None] * size + np.arange(size)).ravel()
            shape = (self.cells, len(part.levels) * size)
            parts.append(sparse.csc_matrix((turned.ravel(), (rows, columns)), shape=shape))
        return sparse.hstack(parts, format="csc")

    def standardised(self, rows: Floats, eta: Floats) -> Floats:
        """Residuals of a linear model, by row and data set, independent with variance one.

        Where the residuals of a participant correlate, each is what the levels before it leave.
        """
        design = self.fit.design
        away = rows - eta[design.cell]
        if not self.correlated:
            return np.asarray(away / (self.spread[design.cell] / np.sqrt(design.weight))[:, None])
        return np.asarray((self.whitener @ self.by_cell(away))[design.cell])

    def by_cell(self, rows: Floats) -> Floats:
        """Hits, or weighted means, of each cell; ``rows`` is (n,) or (n, data sets)."""
        design = self.fit.design
        collect = sparse.csr_matrix(
            (
                np.ones(len(design.cell)) if self.binomial else design.weight,
                (design.cell, np.arange(len(design.cell))),
            ),
            shape=(self.cells, len(design.cell)),
        )
        total: Floats = collect @ rows
        if self.binomial:
            return total
        return np.asarray(total / (self.weight if total.ndim == 1 else self.weight[:, None]))

    def simulate(self, rng: np.random.Generator, count: int) -> Floats:
        """Draw outcomes by row, new random effects each time, shape (n, count)."""
        design = self.fit.design
        if self.correlated:
            return self.fit.simulate(count, seed=int(rng.integers(1 << 31))).T
        u = rng.normal(size=(self.loadings.shape[1], count))
        eta = (self.fixed[:, None] + self.loadings @ u)[design.cell]
        if self.binomial:
            return rng.binomial(design.weight[:, None].astype(int), self.mean(eta)).astype(float)
        noise = rng.normal(size=eta.shape) / np.sqrt(design.weight)[:, None]
        return np.asarray(eta + self.spread[design.cell][:, None] * noise, dtype=float)

    def mean(self, eta: Floats) -> Floats:
        """Mean of an outcome given its linear predictor; a probability in a binomial model."""
        return INVERSE_LINKS[self.fit.link](eta)

    def modes(self, rows: Floats) -> Floats:
        """Conditional modes of u for each data set, shape (random effects, data sets)."""
        y = self.by_cell(rows.reshape(len(rows), -1))
        if not self.loadings.shape[1]:
            return np.zeros((0, y.shape[1]))
        if self.binomial:
            return self._binomial_modes(y)
        loads = (self.whitener @ self.loadings).tocsc()
        matrix = loads.T @ loads
        right = loads.T @ (self.whitener @ (y - self.fixed[:, None]))
        factor = splu((matrix + sparse.identity(matrix.shape[0])).tocsc())
        return np.asarray(factor.solve(right), dtype=float)

    def _binomial_modes(self, hits: Floats) -> Floats:
        """Modes of many data sets by Newton steps, taken together; ``hits`` is (cells, sets)."""
        loads, derivatives = self.loadings, LINKS[self.fit.link]
        attempts = self.weight[:, None]
        u = np.zeros((loads.shape[1], hits.shape[1]))
        height = np.full(hits.shape[1], -np.inf)
        for _ in range(_NEWTON_STEPS):
            eta = self.fixed[:, None] + loads @ u
            loglik, slope, weight, _ = derivatives(eta, hits, attempts)
            step = self._newton_step(loads.T @ slope - u, weight)
            previous, height = height, loglik.sum(axis=0) - (u**2).sum(axis=0) / 2
            u = u + step * np.where(height >= previous, 1.0, 0.5)
            if np.abs(step).max(initial=0.0) < 1e-6:
                break
        return u

    def _newton_step(self, gradient: Floats, weight: Floats) -> Floats:
        """Solve ``(Λ'Z' W ZΛ + I) step = gradient`` for each data set."""
        if len(self.fit.design.random) > 1:
            columns = zip(gradient.T, weight.T, strict=True)
            return np.stack([self._one_step(g, w) for g, w in columns], axis=1)
        size = len(self.fit.design.random[0].terms)
        sets = gradient.shape[1]
        curves = np.stack([pair @ weight for pair in self._products], axis=-1)
        matrix = curves.reshape(-1, sets, size, size) + np.eye(size)
        right = gradient.reshape(-1, size, sets).transpose(0, 2, 1)[..., None]
        step = np.linalg.solve(matrix, right)[..., 0]
        return np.asarray(step.transpose(0, 2, 1).reshape(-1, sets), dtype=float)

    def _one_step(self, gradient: Floats, weight: Floats) -> Floats:
        matrix = self.loadings.T @ self.loadings.multiply(weight[:, None])
        matrix = matrix + sparse.identity(matrix.shape[0])
        return np.asarray(splu(matrix.tocsc()).solve(gradient), dtype=float)

    @cached_property
    def _products(self) -> list[sparse.csr_matrix]:
        """Products of each pair of loadings of the only factor, shape (levels, cells) each."""
        part = self.fit.design.random[0]
        size, rows = len(part.terms), np.arange(self.cells)
        dense = np.stack(
            [np.asarray(self.loadings[rows, part.index * size + a]).ravel() for a in range(size)]
        )
        shape = (len(part.levels), self.cells)
        return [
            sparse.csr_matrix((dense[a] * dense[b], (part.index, rows)), shape=shape)
            for a in range(size)
            for b in range(size)
        ]

    def conditional(self, u: Floats) -> Floats:
        """Linear predictor of each cell given modes, shape (cells, data sets)."""
        return np.asarray(self.fixed[:, None] + self.loadings @ u, dtype=float)

    def first_effects(self, u: Floats) -> Floats:
        """First random effect of the first factor, by level and data set, in units of its SD."""
        part = self.fit.design.random[0]
        if not part.terms:
            return np.zeros((len(part.levels), u.shape[1]))
        values, vectors = np.linalg.eigh(self.fit.covariances[part.group])
        root = vectors * np.sqrt(np.clip(values, 0, None))
        size = root.shape[1]
        own = u[: len(part.levels) * size].reshape(len(part.levels), size, -1)
        effects = np.einsum("b,gbr->gr", root[0], own)
        sd = np.sqrt(self.fit.covariances[part.group][0, 0])
        return np.asarray(effects / sd if sd > 0 else effects, dtype=float)

    def categories(self) -> dict[str, NDArray[np.object_]]:
        """Level of each category that the fixed part codes against a reference, by cell."""
        design, found = self.fit.design, {}
        for name, levels in design.fixed.levels.items():
            columns = [f"{name}[T.{level}]" for level in levels[1:]]
            if not set(columns) <= set(design.fixed.columns):
                continue
            places = [design.fixed.columns.index(column) for column in columns]
            code = (design.x[:, places] > 0.5) @ np.arange(1, len(levels))
            found[name] = np.array([str(level) for level in levels], dtype=object)[code]
        return found

    def focus(self) -> list[int]:
        """Positions of the coefficients of the highest-order term, at most six of them."""
        assigned = self.fit.design.fixed.assigned
        terms = [term for term in dict.fromkeys(assigned) if term not in ("1", "Intercept")]
        if not terms:
            return [0]
        last = max(reversed(terms), key=lambda term: term.count(":"))
        return [place for place, term in enumerate(assigned) if term == last][:6]
