"""Analysis of variance with repeated measures, with or without groups.

Every test is made on the participants' contrast scores: the cell means are multiplied with the
orthonormal contrasts of a within effect, and the resulting scores are regressed on the sum-coded
groups. That gives type III sums of squares whatever the sizes of the groups.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg, stats

from motorlearn.exceptions import FitError, InputError
from motorlearn.linear.coding import sum_columns
from motorlearn.linear.hypotheses import FTest, f_test
from motorlearn.linear.least_squares import Floats

GROUP = "group"


@dataclass(frozen=True)
class Sphericity:
    """How far the covariances of the contrast scores are from sphericity.

    Parameters
    ----------
    epsilon_gg : float
        Greenhouse-Geisser epsilon.
    epsilon_hf : float
        Huynh-Feldt epsilon, truncated at 1.
    epsilon_hf_raw : float
        Huynh-Feldt epsilon before truncation.
    mauchly_w, mauchly_p : float
        Mauchly's test; NaN where it cannot be made.
    """

    epsilon_gg: float
    epsilon_hf: float
    epsilon_hf_raw: float
    mauchly_w: float
    mauchly_p: float


@dataclass(frozen=True)
class RepeatedEffect:
    """One row of the analysis.

    Parameters
    ----------
    term : str
        Names of the factors, joined by ``:``.
    test : FTest
        Uncorrected test.
    sphericity : Sphericity or None
        None for effects between participants or with one degree of freedom.
    p_gg, p_hf : float
        p with corrected degrees of freedom; the uncorrected one where no correction is needed.
    generalised_eta2 : float
        ``SS / (SS + all error sums of squares)``, every factor being manipulated.
    """

    term: str
    test: FTest
    sphericity: Sphericity | None
    p_gg: float
    p_hf: float
    generalised_eta2: float


def repeated_anova(
    scores: ArrayLike,
    codes: ArrayLike | None = None,
    *,
    within: Sequence[tuple[str, int]],
    between: str = GROUP,
) -> list[RepeatedEffect]:
    """Analysis of variance of complete repeated measures, type III.

    Parameters
    ----------
    scores : array (participants, cells)
        One score per participant and cell, no missing values; the last factor of ``within``
        varies fastest.
    codes : array of int (participants,), optional
        Group of each participant; without it the analysis is within participants only.
    within : sequence of (name, levels)
        Factors within participants.
    between : str
        Name of the factor between participants.

    Returns
    -------
    list of RepeatedEffect
        The groups first, then each within effect followed by its product with the groups.

    Raises
    ------
    InputError
        If a score is missing or the cells do not match the factors.
    FitError
        If there are too few participants.

    Notes
    -----
    Huynh-Feldt epsilon is ``((N - g + 1) d ε - 2) / (d (N - g - d ε))``, with g groups and d
    contrasts, in the form of Lecoutre (1991), truncated at 1. With one group it is that of Huynh
    and Feldt (1976).

    References
    ----------
    Greenhouse, S. W., & Geisser, S. (1959). Psychometrika, 24, 95-112.
    https://doi.org/10.1007/BF02289823
    Huynh, H., & Feldt, L. S. (1976). Journal of Educational Statistics, 1, 69-82.
    https://doi.org/10.3102/10769986001001069
    Lecoutre, B. (1991). Journal of Educational Statistics, 16, 371-372.
    https://doi.org/10.3102/10769986016004371
    Olejnik, S., & Algina, J. (2003). Psychological Methods, 8, 434-447.
    https://doi.org/10.1037/1082-989X.8.4.434

    Examples
    --------
    >>> scores = np.array([[1.0, 2.0, 4.0], [2.0, 2.0, 5.0], [1.0, 3.0, 3.0], [3.0, 5.0, 6.0]])
    >>> effects = repeated_anova(scores, within=[("phase", 3)])
    >>> effects[0].term, round(effects[0].test.statistic, 4)
    ('phase', 16.0588)
    """
    y = np.asarray(scores, dtype=float)
    group = np.zeros(len(y), dtype=np.intp) if codes is None else np.asarray(codes, dtype=np.intp)
    _check(y, group, within)
    k = int(group.max()) + 1
    between_columns = sum_columns(group, k) if k > 1 else np.empty((len(y), 0))
    design = np.hstack([np.ones((len(y), 1)), between_columns])
    rows: list[tuple[str, FTest, Sphericity | None]] = []
    for names, basis in within_bases(within):
        z = y @ basis
        main, product, spread = _tests(design, z)
        shape = sphericity(spread, len(y) - k) if z.shape[1] > 1 else None
        if names:
            rows.append((":".join(names), main, shape))
        if k > 1:
            rows.append((":".join([between, *names]), product, shape))
    residuals = y - design @ np.linalg.lstsq(design, y, rcond=None)[0]
    pool = float(np.sum(residuals**2))
    return [effect_of(term, test, shape, pool) for term, test, shape in rows]


def within_contrasts(levels: int) -> Floats:
    """Orthonormal contrasts of ``levels`` cells, shape (levels, levels - 1).

    Examples
    --------
    >>> basis = within_contrasts(3)
    >>> np.allclose(basis.T @ basis, np.eye(2)), np.allclose(basis.sum(axis=0), 0)
    (True, True)
    """
    found: Floats = linalg.helmert(levels).T
    return found


def within_bases(within: Sequence[tuple[str, int]]) -> list[tuple[tuple[str, ...], Floats]]:
    """Names and orthonormal contrasts of the mean and of every effect within participants."""
    found = []
    for size in range(len(within) + 1):
        for chosen in combinations(range(len(within)), size):
            basis = np.ones((1, 1))
            for i, (_, levels) in enumerate(within):
                mean = np.full((levels, 1), 1 / np.sqrt(levels))
                basis = np.kron(basis, within_contrasts(levels) if i in chosen else mean)
            found.append((tuple(within[i][0] for i in chosen), basis))
    return found


def _tests(design: Floats, z: Floats) -> tuple[FTest, FTest, Floats]:
    n, p = design.shape
    inverse = np.linalg.inv(design.T @ design)
    coefficients = inverse @ design.T @ z
    residuals = z - design @ coefficients
    spread = residuals.T @ residuals
    d, error = z.shape[1], float(np.trace(spread))
    first = coefficients[:1]
    main = float(np.trace(first.T @ first) / inverse[0, 0])
    rest = coefficients[1:]
    product = float(np.trace(rest.T @ np.linalg.solve(inverse[1:, 1:], rest))) if p > 1 else 0.0
    df2 = d * (n - p)
    return f_test(main, d, error, df2), f_test(product, d * (p - 1), error, df2), spread


def sphericity(spread: Floats, df: int) -> Sphericity:
    """Epsilons and Mauchly's test of contrast scores with this sum of squares and products."""
    d = len(spread)
    trace = float(np.trace(spread))
    if not trace > 0:
        nan = float("nan")
        return Sphericity(nan, nan, nan, nan, nan)
    spread = spread / trace
    gg = 1 / (d * float(np.sum(spread**2)))
    below = d * (df - d * gg)
    raw = ((df + 1) * d * gg - 2) / below if below > 0 else float("inf")
    w, p = _mauchly(spread, df)
    return Sphericity(gg, min(1.0, raw), raw, w, p)


def _mauchly(spread: Floats, df: int) -> tuple[float, float]:
    """Mauchly's W and its p by the chi² expansion to second order (Box 1949)."""
    d = len(spread)
    if df < d:
        return float("nan"), float("nan")
    sign, log_det = np.linalg.slogdet(spread)
    if sign <= 0:
        return 0.0, 0.0
    log_w = log_det - d * np.log(np.trace(spread) / d)
    rho = 1 - (2 * d**2 + d + 2) / (6 * d * df)
    polynomial = (d + 2) * (d - 1) * (d - 2) * (2 * d**3 + 6 * d**2 + 3 * d + 2)
    second = polynomial / (288 * (df * d * rho) ** 2)
    z = -df * rho * log_w
    f = d * (d + 1) / 2 - 1
    lower, upper = stats.chi2.sf(z, f), stats.chi2.sf(z, f + 4)
    return float(np.exp(log_w)), float(min(1.0, max(0.0, lower + second * (upper - lower))))


def effect_of(term: str, test: FTest, shape: Sphericity | None, pool: float) -> RepeatedEffect:
    """Complete a test with its corrected p; ``pool`` is the sum of all error sums of squares."""

    def corrected(epsilon: float) -> float:
        return float(stats.f.sf(test.statistic, test.df1 * epsilon, test.df2 * epsilon))

    return RepeatedEffect(
        term,
        test,
        shape,
        corrected(shape.epsilon_gg) if shape else test.p,
        corrected(shape.epsilon_hf) if shape else test.p,
        test.sum_sq / (test.sum_sq + pool) if test.sum_sq + pool > 0 else float("nan"),
    )


def _check(y: Floats, group: NDArray[np.intp], within: Sequence[tuple[str, int]]) -> None:
    cells = int(np.prod([levels for _, levels in within])) if within else 0
    if y.ndim != 2 or y.shape[1] != cells or min(levels for _, levels in within) < 2:
        raise InputError(
            "scores need one column per cell of the within factors", [y.shape, *within]
        )
    if not np.isfinite(y).all():
        raise InputError(
            "repeated measures must be complete",
            remedy="leave out participants with a missing cell",
        )
    sizes = np.bincount(group)
    if len(group) != len(y) or (sizes == 0).any():
        raise InputError("every participant needs a group, and every group a participant", sizes)
    if len(y) <= len(sizes):
        raise FitError(
            f"{len(y)} complete participants in {len(sizes)} groups are too few for an analysis "
            "of variance."
        )
