"""Contrasts of correlated scores whose variance may differ from group to group: a jackknife."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motorlearn.linear.least_squares import Floats

_GONE = 1e-8


@dataclass(frozen=True)
class Jackknife:
    """One contrast in many studies.

    Parameters
    ----------
    estimate, std_error, df : array (studies,)
        The contrast, its error by leaving people out, and Satterthwaite's degrees of freedom.
    plain : array (studies,)
        Standard error if the covariance were that of all groups, and known: ``sqrt(L Φ L')``.
    """

    estimate: Floats
    std_error: Floats
    df: Floats
    plain: Floats


def jackknife_by_group(
    y: Floats, x: Floats, inverse: Floats, codes: NDArray[np.intp], weights: Floats
) -> Jackknife:
    """Contrast of generalised least squares whose error comes from leaving people out.

    With ``b = Φ Σ X_i' W_i y_i``, ``Φ = (Σ X_i' W_i X_i)⁻¹``, the contrast ``L b`` moves by
    ``d_i = -L Φ X_i' W_i (I - X_i Φ X_i' W_i)⁻¹ r_i`` without person i. Each group has its own part
    of the variance, ``(m_g - 1) / m_g Σ (d_i - d̄_g)²``, and own degrees of freedom m_g - 1, where
    m_g counts people by how much the contrast expects of them, ``(Σ v_i)² / Σ v_i²`` with
    ``v_i = L Φ X_i' W_i X_i Φ L'``. The degrees of freedom of the sum are Satterthwaite's. For the
    means of two groups without a covariate this is Welch's t.

    Parameters
    ----------
    y : array (studies, people, tests)
        Scores; NaN where a test was missed.
    x : array (people, tests, p)
        The design, the same in every study.
    inverse : array (studies, people, tests, tests)
        ``W_i``: inverse of the covariance of the tests that a person took, zero elsewhere.
    codes : array of int (people,)
        Group of each person.
    weights : array (p,)
        The contrast L.

    Returns
    -------
    Jackknife
        Error and df are NaN where a cell or a group is left to a single person.

    References
    ----------
    Bell, R. M., & McCaffrey, D. F. (2002). Bias reduction in standard errors for linear regression
    with multi-stage samples. Survey Methodology, 28, 169-181.
    Satterthwaite, F. E. (1946). Biometrics Bulletin, 2, 110-114. https://doi.org/10.2307/3002019

    Examples
    --------
    >>> from motorlearn.linear import welch
    >>> y = np.array([1.0, 2.0, 3.0, 4.0, 2.0, 4.0, 6.0])
    >>> codes = np.array([0, 0, 0, 0, 1, 1, 1])
    >>> x, unit = np.eye(2)[codes][:, None, :], np.ones((1, 7, 1, 1))
    >>> found = jackknife_by_group(y[None, :, None], x, unit, codes, np.array([1.0, -1.0]))
    >>> round(found.std_error.item(), 4), round(found.df.item(), 4)
    (1.3229, 3.2347)
    >>> t = welch(y[:4], y[4:])
    >>> round(t.std_error, 4), round(t.df, 4)
    (1.3229, 3.2347)
    """
    here = ~np.isnan(y)
    known = np.where(here, y, 0.0)
    turned = np.einsum("itp,situ->sipu", x, inverse)
    phi = np.linalg.inv(np.einsum("sipu,iuq->spq", turned, x))
    beta = np.einsum("spq,siqu,siu->sp", phi, turned, known, optimize=True)
    rest = np.where(here, known - np.einsum("itp,sp->sit", x, beta), 0.0)
    loads = np.einsum("p,spq,siqu->siu", weights, phi, turned, optimize=True)
    hat = np.einsum("itp,spq,siqu->situ", x, phi, turned, optimize=True)
    left = np.eye(y.shape[2]) - hat
    # Without somebody who alone speaks of a cell that cell would be gone.
    whole = (np.abs(np.linalg.det(left)) > _GONE).all(axis=1)
    left[~whole] = np.eye(y.shape[2])
    alone = np.linalg.solve(left, rest[..., None])[..., 0]
    moves = -np.einsum("siu,siu->si", loads, alone)
    expected = np.einsum("siu,iuq,sqp,p->si", loads, x, phi, weights, optimize=True)
    parts, df = (np.stack(values) for values in zip(*_by_group(moves, expected, codes)))
    variance = np.where(whole, parts.sum(axis=0), np.nan)
    with np.errstate(invalid="ignore", divide="ignore"):
        freedom = variance**2 / np.sum(np.where(parts > 0, parts**2 / df, 0.0), axis=0)
    plain = np.sqrt(np.einsum("p,spq,q->s", weights, phi, weights))
    return Jackknife(beta @ weights, np.sqrt(variance), freedom, plain)


def _by_group(
    moves: Floats, expected: Floats, codes: NDArray[np.intp]
) -> list[tuple[Floats, Floats]]:
    """Part of the variance and degrees of freedom of every group that speaks of the contrast."""
    found = []
    for code in np.unique(codes):
        own, heard = moves[:, codes == code], expected[:, codes == code]
        total = heard.sum(axis=1)
        count = np.divide(
            total**2, (heard**2).sum(axis=1), out=np.zeros_like(total), where=total > 0
        )
        away = own - own.mean(axis=1, keepdims=True)
        with np.errstate(invalid="ignore", divide="ignore"):
            part = np.where(total > 0, (count - 1) / count * (away**2).sum(axis=1), 0.0)
            part = np.where((total > 0) & (count <= 1 + 1e-9), np.nan, part)
        found.append((part, count - 1))
    return found
