"""Tidy frames of a fitted mixed model."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from motorlearn.linear.hypotheses import t_quantile
from motorlearn.mixed.formula.designs import SERIAL, Design, RandomPart, ResidualPart
from motorlearn.mixed.inference.degrees_of_freedom import Inference, degrees_of_freedom
from motorlearn.mixed.solve.engine import Solution
from motorlearn.rows import Row, Schema
from motorlearn.tables import Column

Array = NDArray[np.float64]


def inference_columns(
    estimate: Array, std_error: Array, df: Array, level: float = 0.95
) -> dict[str, Array]:
    """Columns that follow from an estimate, its standard error and its df."""
    with np.errstate(divide="ignore", invalid="ignore"):
        statistic = estimate / std_error
    margin = t_quantile(level, df) * std_error
    return {
        "estimate": estimate,
        "std_error": std_error,
        "df": df,
        "statistic": statistic,
        "p": 2 * special.stdtr(df, -np.abs(statistic)),
        "conf_low": estimate - margin,
        "conf_high": estimate + margin,
    }


def errors_of(beta: Array, inference: Inference) -> tuple[Array, Array]:
    """Standard errors and degrees of freedom of coefficients."""
    with np.errstate(invalid="ignore"):
        std_error = np.sqrt(np.diag(inference.vcov))
    return std_error, np.array([degrees_of_freedom(row, inference) for row in np.eye(len(beta))])


def estimates_frame(names: Sequence[str], beta: Array, inference: Inference) -> pd.DataFrame:
    """Fixed effects with tests and 95 % intervals."""
    std_error, df = errors_of(beta, inference)
    return pd.DataFrame({"term": list(names), **inference_columns(beta, std_error, df)})


VARIANCE = Schema(
    (
        Column("group"),
        Column("term"),
        Column("other"),
        Column("variance", kind="significant"),
        Column("sd", kind="significant"),
        Column("correlation", kind="number"),
    )
)


VARIANCE_COLUMNS = (
    Column("group", "grouping"),
    Column("term", "term"),
    Column("other", "with"),
    Column("variance", "variance or covariance", "significant", decimals=4),
    Column("sd", "standard deviation", "significant", decimals=4),
    Column("correlation", "correlation", "number"),
)


def variances_frame(
    random: Sequence[RandomPart], solution: Solution, residual: ResidualPart | None = None
) -> pd.DataFrame:
    """Variances, covariances and correlations of the random effects, and the residual."""
    rows = []
    for part, psi in zip(random, solution.psi, strict=True):
        sd = np.sqrt(np.diag(psi))
        for i, term in enumerate(part.terms):
            rows.append(VARIANCE.row(group=part.group, term=term, variance=psi[i, i], sd=sd[i]))
        for block in part.blocks:
            for a, i in enumerate(block):
                for j in block[:a]:
                    product = sd[i] * sd[j]
                    correlation = psi[i, j] / product if product > 0 else np.nan
                    pair = {"term": part.terms[j], "other": part.terms[i]}
                    together = {"variance": psi[i, j], "correlation": correlation}
                    rows.append(VARIANCE.row(group=part.group, **pair, **together))
    if residual is not None:
        rows += _residual_rows(residual, solution)
    elif np.isfinite(solution.sigma):
        sigma = solution.sigma
        rows.append(VARIANCE.row(group="residual", variance=sigma**2, sd=sigma))
    return VARIANCE.frame(rows)


def _residual_rows(part: ResidualPart, solution: Solution) -> list[Row]:
    """Variance of each level of the residuals and, where they correlate, of each pair."""
    covariance = solution.residual
    names, sd = [str(level) for level in part.levels], np.sqrt(np.diag(covariance))
    rows = [
        VARIANCE.row(group="residual", term=name, variance=square, sd=spread)
        for name, square, spread in zip(names, np.diag(covariance), sd, strict=True)
    ]
    if part.correlation == SERIAL:
        rho = float(np.tanh(solution.theta[-1]))
        near = {"term": part.order[-1], "other": "neighbour", "correlation": rho}
        rows.append(VARIANCE.row(group="residual", **near))
    elif part.correlation != "none":
        for i in range(len(names)):
            for j in range(i):
                row = VARIANCE.row(
                    group="residual",
                    term=names[j],
                    other=names[i],
                    variance=covariance[i, j],
                    correlation=covariance[i, j] / (sd[i] * sd[j]),
                )
                rows.append(row)
    return rows


def effects_frame(random: Sequence[RandomPart], solution: Solution) -> pd.DataFrame:
    """Random effects by level, with intervals given the estimated parameters."""
    frames = []
    for part, modes, spread in zip(random, solution.modes, solution.spread, strict=True):
        count, size = modes.shape
        std_error = np.sqrt(np.clip(np.einsum("gaa->ga", spread), 0, None)).ravel()
        estimate = modes.ravel()
        margin = t_quantile(0.95, np.inf) * std_error
        frames.append(
            pd.DataFrame(
                {
                    "group": part.group,
                    "level": np.repeat(np.array(part.levels, dtype=object), size),
                    "term": np.tile(np.array(part.terms, dtype=object), count),
                    "estimate": estimate,
                    "std_error": std_error,
                    "conf_low": estimate - margin,
                    "conf_high": estimate + margin,
                }
            )
        )
    return pd.concat(frames, ignore_index=True)


def thresholds_frame(design: Design, beta: Array, steps: Array, joint: Array) -> pd.DataFrame:
    """Thresholds of ratings, ``threshold, estimate, std_error``, the intercept taken into them.

    ``steps`` (K − 1,) are t_0 = 0, t_1, ...; ``joint`` ends with the covariance of the logarithms
    of their differences.
    """
    count = max(len(design.categories) - 1, 0)
    t, lines = steps[:count].copy(), np.zeros((count, len(joint)))
    if count and "Intercept" in design.fixed.columns:
        at = design.fixed.columns.index("Intercept")
        t, lines[:, at] = t - beta[at], -1.0
    for i, step in enumerate(np.diff(steps[:count])):
        lines[i + 1 :, len(joint) - (count - 1) + i] = step
    names = [f"{a}|{b}" for a, b in zip(design.categories, design.categories[1:], strict=False)]
    with np.errstate(invalid="ignore"):
        error = np.sqrt(np.einsum("ki,ij,kj->k", lines, joint, lines))
    return pd.DataFrame({"threshold": names, "estimate": t, "std_error": error})
