"""A free covariance of people's tests in many studies at once, with tests by Kenward and Roger.

Restricted maximum likelihood of ``y_i = X_i b + e_i`` with the covariance Σ of a person's tests,
or Σ and a known variance of each score. With V_i = Σ for the tests a person has,
Φ = (Σ X'V⁻¹X)⁻¹, G_s = ∂Σ/∂γ_s, a = Φ l and P = V⁻¹ − V⁻¹XΦX'V⁻¹ the variance of a contrast l'b and
its degrees of freedom are

    l'Φl + 2 Σ_st W_st a'(Q_st − P_s Φ P_t) a,    2 (l'Φl)² / Σ_st W_st (a'P_s a)(a'P_t a),

W twice the inverse of tr(P G_s P G_t).

References
----------
Kenward MG, Roger JH (1997). Small sample inference for fixed effects from restricted maximum
likelihood. Biometrics 53:983-997. https://doi.org/10.2307/2533558
"""

from dataclasses import dataclass

import numpy as np

from motorlearn.mixed.solve.optimise import minimise

_STEPS = 200
_CLOSE = 1e-9
_LIFT = 0.1
"""What is added to variances where a search begins."""


@dataclass
class Point:
    """The model at Σ: V⁻¹ (s, i, T, T), V⁻¹X (s, i, T, p), Φ, β, V⁻¹r and −2 log L.

    Zero where a test was missed; constants of the likelihood are left out.
    """

    inverse: np.ndarray
    turned: np.ndarray
    phi: np.ndarray
    beta: np.ndarray
    pull: np.ndarray
    value: np.ndarray


def search(y: np.ndarray, x: np.ndarray) -> tuple[Point, np.ndarray]:
    """Restricted maximum likelihood of Σ by scoring, with steps halved to stay inside."""
    here = ~np.isnan(y)
    y = np.where(here, y, 0.0)
    tests = y.shape[2]
    basis = _basis(tests)
    sigma = np.tile(np.eye(tests), (len(y), 1, 1))
    decrease = np.full(len(y), np.inf)
    point = _at(sigma, y, x, here)
    for _ in range(_STEPS):
        slope = np.einsum("nab,sab->sn", basis, _slope_matrix(point))
        pairs = np.einsum("siab,sicd->sabcd", point.inverse, point.inverse)
        information = np.einsum("nab,mcd,sbcda->snm", basis, basis, pairs, optimize=True)
        usable = np.isfinite(information).all(axis=(1, 2)) & np.isfinite(slope).all(axis=1)
        information[~usable] = np.eye(len(basis))
        slope[~usable] = 0.0
        step = -np.einsum("snm,sm->sn", np.linalg.pinv(information, hermitian=True), slope)
        decrease = np.where(usable, np.abs(np.einsum("sn,sn->s", step, slope)), np.inf)
        if (decrease[usable] < _CLOSE).all():
            break
        sigma = _moved(sigma, np.einsum("sn,nab->sab", step, basis))
        point = _at(sigma, y, x, here)
    return point, decrease < 1e-5


def known_variance_search(
    y: np.ndarray, x: np.ndarray, known: np.ndarray, lower: np.ndarray
) -> Point:
    """The same where each score has a known variance beside Σ, which may then be singular.

    The search runs over the lower triangular factor of Σ and begins at ``lower``, the factor
    (studies, T, T) of a Σ that is near, where one is a number.
    """
    here = ~np.isnan(y)
    y = np.where(here, y, 0.0)
    tests = y.shape[2]
    rows, columns = np.tril_indices(tests)

    def factor(theta: np.ndarray) -> np.ndarray:
        out = np.zeros((len(theta), tests, tests))
        out[:, rows, columns] = theta
        return out

    def objective(theta: np.ndarray, which: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        lower = factor(theta)
        sigma = lower @ lower.swapaxes(1, 2)
        point = _at(sigma, y[which], x, here[which], known[which])
        slope = 2 * _slope_matrix(point) @ lower
        return point.value, slope[:, rows, columns]

    given = np.isfinite(lower).all(axis=(1, 2))[:, None, None]
    near = np.where(given, lower, 0.7 * np.eye(tests))
    # A column of zeros would stay one.
    lifted = near @ near.swapaxes(1, 2) + _LIFT * np.eye(tests)
    start = np.asarray(np.linalg.cholesky(lifted)[:, rows, columns], dtype=float)
    guess = np.tile(np.eye(len(rows)) / (4 * y.shape[1]), (len(y), 1, 1))
    lower = factor(minimise(objective, start, guess, tolerance=1e-9).x)
    return _at(lower @ lower.swapaxes(1, 2), y, x, here, known)


def _basis(tests: int) -> np.ndarray:
    """∂Σ/∂γ for each free entry of a symmetric matrix, (n, T, T)."""
    rows, columns = np.tril_indices(tests)
    basis = np.zeros((len(rows), tests, tests))
    basis[np.arange(len(rows)), rows, columns] = 1.0
    basis[np.arange(len(rows)), columns, rows] = 1.0
    return basis


def _moved(sigma: np.ndarray, step: np.ndarray) -> np.ndarray:
    share = np.ones(len(sigma))
    for _ in range(30):
        ahead: np.ndarray = sigma + share[:, None, None] * step
        least = np.linalg.eigvalsh(ahead)[:, 0]
        bad = ~(least > 0.05 * np.linalg.eigvalsh(sigma)[:, 0])
        if not bad.any():
            return ahead
        share[bad] /= 2
    return np.where(bad[:, None, None], sigma, ahead)


def _at(
    sigma: np.ndarray,
    y: np.ndarray,
    x: np.ndarray,
    here: np.ndarray,
    known: np.ndarray | None = None,
) -> Point:
    both = here[..., :, None] & here[..., None, :]
    eye = np.eye(y.shape[2], dtype=bool)
    v = np.where(both, sigma[:, None], (~here[..., None] & eye).astype(float))
    if known is not None:
        v = v + np.where(here[..., None] & eye, known[..., None], 0.0)
    inverse = np.linalg.inv(v) * both
    turned = inverse @ x
    phi = np.linalg.inv(np.einsum("itp,sitq->spq", x, turned))
    beta = np.einsum("spq,sitq,sit->sp", phi, turned, y, optimize=True)
    rest = np.where(here, y - np.einsum("itp,sp->sit", x, beta), 0.0)
    pull = np.einsum("situ,siu->sit", inverse, rest)
    value = np.linalg.slogdet(v)[1].sum(axis=1) - np.linalg.slogdet(phi)[1]
    return Point(inverse, turned, phi, beta, pull, value + np.einsum("sit,sit->s", rest, pull))


def _slope_matrix(point: Point) -> np.ndarray:
    """Sum over people of V⁻¹ − V⁻¹XΦX'V⁻¹ − V⁻¹rr'V⁻¹, whose products with G_s are the slopes."""
    lost = np.einsum("sitp,spq,siuq->stu", point.turned, point.phi, point.turned, optimize=True)
    pulled = np.einsum("sit,siu->stu", point.pull, point.pull)
    slopes: np.ndarray = point.inverse.sum(axis=1) - lost - pulled
    return slopes


@dataclass(frozen=True)
class Found:
    """A contrast in many studies.

    Parameters
    ----------
    estimate, plain, variance, df : ndarray, shape (studies,)
        The contrast, its variance before and after the adjustment, its degrees of freedom.
    """

    estimate: np.ndarray
    plain: np.ndarray
    variance: np.ndarray
    df: np.ndarray


def kenward_roger(point: Point, x: np.ndarray, weights: np.ndarray) -> Found:
    """Test a contrast of the cells, the estimation of Σ taken into account."""
    basis = _basis(x.shape[1])
    w, turned, phi = point.inverse, point.turned, point.phi
    hat = np.einsum("sitp,spq,siuq->situ", turned, phi, turned, optimize=True)
    pairs = np.einsum("siab,sicd->sabcd", w, w) - 2 * np.einsum("siab,sicd->sabcd", w, hat)
    information = np.einsum("nab,mcd,sbcda->snm", basis, basis, pairs, optimize=True)
    cross = -np.einsum("nab,siap,sibq->snpq", basis, turned, turned, optimize=True)
    half = phi[:, None] @ cross
    information = information + np.einsum("snpq,smqp->snm", half, half)
    usable = np.isfinite(information).all(axis=(1, 2))
    information[~usable] = np.eye(len(basis))
    spread = 2 * np.linalg.pinv((information + information.swapaxes(1, 2)) / 2, hermitian=True)
    load = phi @ weights
    carried = np.einsum("sitp,sp->sit", turned, load)
    second = np.einsum(
        "nab,mcd,sia,sibc,sid->snm", basis, basis, carried, w, carried, optimize=True
    )
    thrown = np.einsum("snpq,sq->snp", cross, load)
    third = np.einsum("snp,spq,smq->snm", thrown, phi, thrown, optimize=True)
    plain = load @ weights
    adjusted = plain + 2 * np.einsum("snm,snm->s", spread, second - third)
    slope = np.einsum("snp,sp->sn", thrown, load)
    doubt = np.einsum("sn,snm,sm->s", slope, spread, slope)
    return Found(point.beta @ weights, plain, adjusted, 2 * plain**2 / doubt)
