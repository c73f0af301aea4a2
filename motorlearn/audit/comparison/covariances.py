"""Groups by tests where the groups' covariances differ: the rate of the usual test, and another."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg, stats

from motorlearn.linear import FTest, wishart_test

Floats = NDArray[np.float64]

DRAWS = 2000


def interaction_by_group(scores: Floats, codes: NDArray[np.intp]) -> FTest:
    """Test of groups by tests, every group with its own covariance matrix.

    Differences between the groups in their contrasts over the tests, ``d = H m`` with covariance
    ``Σ_g H_g S_g H_g' / n_g``, are tested as an approximate Hotelling T². No sphericity and no
    equal covariances are assumed.

    Parameters
    ----------
    scores : array (n, tests)
        Complete scores.
    codes : array of int (n,)
        Group of each participant.

    References
    ----------
    Zhang, J.-T. (2012). Open Journal of Statistics, 2, 1-11. https://doi.org/10.4236/ojs.2012.21001
    """
    parts = [scores[codes == code] @ _contrasts(scores.shape[1]) for code in np.unique(codes)]
    sizes = np.array([len(part) for part in parts])
    steps = np.hstack([np.ones((len(parts) - 1, 1)), -np.eye(len(parts) - 1)])
    estimate = (steps @ np.stack([part.mean(axis=0) for part in parts])).ravel()
    spreads: list[Floats] = [
        np.asarray(np.kron(np.outer(step, step), _covariance(part) / len(part)), dtype=float)
        for step, part in zip(steps.T, parts, strict=True)
        if len(part) > 1
    ]
    if len(spreads) < len(parts):
        nan = float("nan")
        return FTest(nan, nan, len(estimate), nan, nan, nan, nan)
    return wishart_test(estimate, spreads, sizes - 1, matrices=True)


def rate_under_covariances(scores: Floats, codes: NDArray[np.intp], seed: int) -> float:
    """Rate of the Greenhouse-Geisser test of the interaction, under the groups' own covariances.

    Normal scores without any effect are drawn with the covariances that were observed, and the
    corrected test is made each time.
    """
    y = scores @ _contrasts(scores.shape[1])
    rng, k = np.random.default_rng(seed), y.shape[1]
    groups = np.unique(codes)
    sizes = np.array([np.sum(codes == code) for code in groups])
    if sizes.min() < 2:
        return float("nan")
    means, within = [], np.zeros((DRAWS, k, k))
    for code, n in zip(groups, sizes, strict=True):
        values, vectors = np.linalg.eigh(np.atleast_2d(np.cov(y[codes == code], rowvar=False)))
        root = (vectors * np.sqrt(np.clip(values, 0, None))).T
        drawn = rng.normal(size=(DRAWS, n, k)) @ root
        mean = drawn.mean(axis=1, keepdims=True)
        means.append(mean[:, 0])
        within += np.einsum("rni,rnj->rij", drawn - mean, drawn - mean)
    stack = np.stack(means, axis=1)
    grand = np.einsum("g,rgk->rk", sizes / sizes.sum(), stack)
    between = np.einsum("g,rgk->r", sizes, (stack - grand[:, None]) ** 2)
    trace = np.einsum("rii->r", within)
    epsilon = trace**2 / (k * np.einsum("rij,rij->r", within, within))
    df1, df2 = (len(groups) - 1) * k, (sizes.sum() - len(groups)) * k
    f = between / df1 / (trace / df2)
    return float(np.mean(stats.f.sf(f, epsilon * df1, epsilon * df2) < 0.05))


def _contrasts(tests: int) -> Floats:
    """Orthonormal contrasts over the tests."""
    return np.asarray(linalg.null_space(np.ones((1, tests))), dtype=float)


def box_m(scores: ArrayLike, codes: NDArray[np.intp]) -> float:
    """p of Box's M test of equal covariance matrices, by its F approximation.

    References
    ----------
    Box, G. E. P. (1949). Biometrika, 36, 317-346. doi:10.1093/biomet/36.3-4.317.
    """
    y, k = np.asarray(scores, dtype=float), np.asarray(scores).shape[1]
    parts = [y[codes == code] for code in np.unique(codes)]
    df = np.array([len(part) - 1 for part in parts])
    if len(parts) < 2 or (df < k).any():
        return float("nan")
    logs, matrices = [], []
    for part in parts:
        matrix = np.atleast_2d(np.cov(part, rowvar=False))
        matrices.append(matrix)
        logs.append(np.linalg.slogdet(matrix)[1])
    if not np.isfinite(logs).all():
        return float("nan")
    total, groups = df.sum(), len(parts)
    pooled = sum(d * matrix for d, matrix in zip(df, matrices)) / total
    m = total * np.linalg.slogdet(pooled)[1] - df @ np.array(logs)
    inverse = np.sum(1 / df) - 1 / total
    c1 = inverse * (2 * k**2 + 3 * k - 1) / (6 * (k + 1) * (groups - 1))
    c2 = (np.sum(1 / df**2) - 1 / total**2) * (k - 1) * (k + 2) / (6 * (groups - 1))
    df1 = k * (k + 1) * (groups - 1) / 2
    gap = c2 - c1**2
    df2 = (df1 + 2) / abs(gap)
    if gap > 0:
        return float(stats.f.sf(m * (1 - c1 - df1 / df2) / df1, df1, df2))
    b = df2 / (1 - c1 + 2 / df2)
    return float(stats.f.sf(df2 * m / (df1 * (b - m)), df1, df2)) if m < b else 0.0


def _covariance(part: Floats) -> Floats:
    return np.atleast_2d(np.asarray(np.cov(part, rowvar=False, ddof=1), dtype=float))
