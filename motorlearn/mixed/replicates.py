"""Many responses on one design, fitted side by side: the engine of simulations.

Arrays in, arrays out. One grouping factor with correlated or independent random terms; the design
is shared, the responses differ. A thousand binomial random-intercept models of a small study take
about a second.
"""

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from motorlearn.mixed.solve.covariance import Structure, correlated
from motorlearn.mixed.solve.engine import CONVERGED, Working, group_starts, working
from motorlearn.mixed.solve.factors import Factor
from motorlearn.mixed.solve.likelihoods import Binomial, Likelihood
from motorlearn.mixed.solve.linear import LinearOneFactor, grouped_sums
from motorlearn.mixed.solve.one_factor import OneFactor, Rows
from motorlearn.mixed.solve.optimise import (
    expected_decrease,
    hessian,
    minimise,
    polish,
    positive_inverse,
)
from motorlearn.mixed.solve.search_linear import curvatures
from motorlearn.mixed.solve.starts import first_point

Array = NDArray[np.float64]

_ROWS_AT_ONCE = 400_000


@dataclass(frozen=True)
class ManyFits:
    """Fits of R responses.

    ``beta`` (R, p), ``vcov`` (R, p, p), ``psi`` (R, q, q), ``sigma`` (R,), ``deviance`` (R,),
    ``converged`` (R,). ``vcov_slopes`` (R, t+1, p, p) and ``variance_vcov`` (R, t+1, t+1) are there
    for linear models only; without them tests use the normal distribution. ``extra`` (R, k) are the
    parameters of the kind of outcome, for other models.
    """

    beta: Array
    vcov: Array
    psi: Array
    sigma: Array
    deviance: Array
    converged: NDArray[np.bool_]
    vcov_slopes: Array | None = None
    variance_vcov: Array | None = None
    extra: Array | None = None

    def subset(self, chosen: NDArray[Any]) -> "ManyFits":
        """Only the chosen fits, by flags or by places."""
        given = {field.name: getattr(self, field.name) for field in fields(self)}
        kept: dict[str, Any] = {name: v if v is None else v[chosen] for name, v in given.items()}
        return ManyFits(**kept)

    def test(self, contrast: Array) -> tuple[Array, Array, Array, Array]:
        """Estimate, standard error, Satterthwaite df and two-sided p of l'β, each (R,)."""
        estimate = self.beta @ contrast
        variance = np.einsum("i,rij,j->r", contrast, self.vcov, contrast)
        error = np.sqrt(variance)
        df = np.full(len(estimate), np.inf)
        if self.vcov_slopes is not None and self.variance_vcov is not None:
            slope = np.einsum("i,rkij,j->rk", contrast, self.vcov_slopes, contrast)
            spread = np.einsum("rk,rkl,rl->r", slope, self.variance_vcov, slope)
            with np.errstate(divide="ignore"):
                df = 2 * variance**2 / spread
        return estimate, error, df, 2 * stats.t.sf(np.abs(estimate / error), df)


def fit_binomial_many(
    x: Array,
    hits: Array,
    attempts: Array,
    group: NDArray[Any],
    *,
    z: Array | None = None,
    structure: Structure | None = None,
    link: str = "logit",
    quadrature: int = 1,
) -> ManyFits:
    """Fit binomial mixed models to many sets of hits on one design.

    Parameters
    ----------
    x : array (N, p)
        Fixed part.
    hits : array (R, N)
        Hits of each response.
    attempts : array (N,) or (R, N)
        Attempts; zero leaves a row out of one response.
    group : array (N,)
        Participant of each row.
    z : array (N, q), optional
        Random terms; a random intercept if not given.
    structure : Structure, optional
        Which random terms are correlated; all if not given.
    link, quadrature
        As in ``fit_mixed``.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> group = np.repeat(np.arange(24), 4)
    >>> x = np.column_stack([np.ones(96), np.tile([0, 1, 1, 1], 24)])
    >>> shift = rng.normal(0, 0.7, (200, 24))[:, group]
    >>> p = 1 / (1 + np.exp(-(x @ [-0.4, 0.5] + shift)))
    >>> fits = fit_binomial_many(x, rng.binomial(20, p), np.full(96, 20), group)
    >>> fits.beta.mean(axis=0).round(1)
    array([-0.4,  0.5])
    """
    kind = Binomial(link)
    return fit_general_many(
        x, hits, attempts, group, likelihood=kind, z=z, structure=structure, quadrature=quadrature
    )


def fit_general_many(
    x: Array,
    y: Array,
    weight: Array,
    group: NDArray[Any],
    *,
    likelihood: Likelihood,
    z: Array | None = None,
    structure: Structure | None = None,
    quadrature: int = 1,
) -> ManyFits:
    """Fit mixed models of any kind of outcome to many outcomes ``y`` (R, N) on one design.

    Arguments are those of :func:`fit_binomial_many`, ``y`` and ``weight`` as ``likelihood``
    takes them.

    Examples
    --------
    >>> from motorlearn.mixed.solve.likelihoods import Poisson
    >>> rng = np.random.default_rng(1)
    >>> group = np.repeat(np.arange(24), 4)
    >>> x = np.column_stack([np.ones(96), np.tile([0, 1, 1, 1], 24)])
    >>> shift = rng.normal(0, 0.4, (50, 24))[:, group]
    >>> pushes = rng.poisson(np.exp(x @ [1.5, 0.3] + shift))
    >>> fits = fit_general_many(x, pushes, np.ones(96), group, likelihood=Poisson())
    >>> fits.beta.mean(axis=0).round(1)
    array([1.5, 0.3])
    """
    work, order = _sorted_design(x, group, z, structure)
    y = np.atleast_2d(y)[:, order].astype(float)
    weight = np.broadcast_to(np.atleast_2d(weight), y.shape)[:, order].astype(float)
    size = max(1, _ROWS_AT_ONCE // y.shape[1])
    parts = [
        _general_chunk(work, y[i : i + size], weight[i : i + size], likelihood, quadrature)
        for i in range(0, len(y), size)
    ]
    return joined(parts)


def fit_linear_many(
    x: Array,
    y: Array,
    group: NDArray[Any],
    *,
    z: Array | None = None,
    structure: Structure | None = None,
    reml: bool = True,
) -> ManyFits:
    """Fit linear mixed models to many responses ``y`` (R, N) on one design.

    Arguments are those of :func:`fit_binomial_many`; ``reml`` as in ``fit_mixed``.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> group = np.repeat(np.arange(24), 4)
    >>> x = np.column_stack([np.ones(96), np.tile([0, 1, 1, 1], 24)])
    >>> shift = rng.normal(0, 3, (200, 24))[:, group]
    >>> error = x @ [35.0, -8.0] + shift + rng.normal(0, 4, (200, 96))
    >>> fits = fit_linear_many(x, error, group)
    >>> fits.beta.mean(axis=0).round(), float(fits.sigma.mean().round())
    (array([35., -8.]), 4.0)
    """
    work, order = _sorted_design(x, group, z, structure)
    y = np.atleast_2d(y)[:, order].astype(float)
    size = max(1, _ROWS_AT_ONCE // y.shape[1])
    return joined([_linear_chunk(work, y[i : i + size], reml) for i in range(0, len(y), size)])


def _sorted_design(
    x: Array, group: NDArray[Any], z: Array | None, structure: Structure | None
) -> tuple[Working, NDArray[np.intp]]:
    _, index = np.unique(group, return_inverse=True)
    order = np.argsort(index, kind="stable")
    z = np.ones((len(x), 1)) if z is None else np.asarray(z, float)
    structure = structure or correlated(z.shape[1])
    factor = Factor(index[order], z[order], structure, int(index.max()) + 1)
    return working(np.asarray(x, float)[order], [factor]), order


def _general_chunk(
    work: Working, y: Array, weight: Array, likelihood: Likelihood, quadrature: int
) -> ManyFits:
    factor = work.factors[0]
    offset = np.zeros(len(work.x))
    rows = Rows(work.x, factor.z.T, group_starts(factor.index), offset, y, weight)
    model = OneFactor(rows, factor.structure, likelihood, quadrature)
    start, guess = first_point(work.x, work.factors, y, weight, offset, likelihood)
    found = minimise(model.objective, start, guess)
    curve = hessian(model.objective, found.x)
    found = polish(model.objective, found, curve, steps=1)
    back, p, last = work.back, work.x.shape[1], model.first_extra
    vcov = 2 * positive_inverse(curve)[:, :p, :p]
    return ManyFits(
        beta=found.x[:, :p] @ back.T,
        vcov=back @ vcov @ back.T,
        psi=np.array([work.psi(theta)[0] for theta in found.x[:, p:last]]),
        sigma=np.full(len(y), np.nan),
        deviance=found.value,
        converged=expected_decrease(curve, found.gradient) < CONVERGED,
        extra=found.x[:, last:],
    )


def _linear_chunk(work: Working, y: Array, reml: bool) -> ManyFits:
    factor = work.factors[0]
    base = y @ work.x / len(work.x)
    y = y - base @ work.x.T
    sums = grouped_sums(work.x, factor.z.T, y, group_starts(factor.index), np.ones(len(work.x)))
    model = LinearOneFactor(sums, factor.structure, reml)
    found = minimise(model.objective, np.tile(factor.structure.start, (len(y), 1)))
    curve, full = curvatures(model, found.x)
    found = polish(model.objective, found, curve, steps=1)
    here = model.evaluate(found.x, np.arange(len(y)))
    back = work.back
    variance = here.rss / model.df
    inner = np.linalg.inv(here.cross)
    vcov = variance[:, None, None] * inner
    slopes = -variance[:, None, None, None] * (inner[:, None] @ here.cross_slope @ inner[:, None])
    by_sigma = 2 * vcov / np.sqrt(variance)[:, None, None]
    slopes = np.concatenate([slopes, by_sigma[:, None]], axis=1)
    constant = 2 * np.linalg.slogdet(work.turn)[1] if reml else 0.0
    return ManyFits(
        beta=(here.beta + base) @ back.T,
        vcov=back @ vcov @ back.T,
        psi=variance[:, None, None] * np.array([work.psi(theta)[0] for theta in found.x]),
        sigma=np.sqrt(variance),
        deviance=here.value + constant,
        converged=expected_decrease(curve, here.gradient) < CONVERGED,
        vcov_slopes=back @ slopes @ back.T,
        variance_vcov=2 * positive_inverse(full),
    )


def joined(parts: list[ManyFits]) -> ManyFits:
    """Fits of several goes, one after the other."""

    def whole(name: str) -> Any:
        values = [getattr(part, name) for part in parts]
        return None if values[0] is None else np.concatenate(values)

    return ManyFits(*(whole(field.name) for field in fields(ManyFits)))
