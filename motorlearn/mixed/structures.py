"""Random structures that a design allows, side by side with the one that the design asks for.

Each simpler structure is tested against the one of the fit by twice the difference of the log
likelihoods. A variance of zero lies on the edge of what is possible: leaving out one random term
that had k covariances with others is a mixture of chi-squared with k and with k + 1 df, half each
(Self & Liang 1987); leaving out covariances alone is plain chi-squared. Leaving out several terms
at once has no such simple law and no p here.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from motorlearn.exceptions import FitError, InputError
from motorlearn.mixed.checks import examine
from motorlearn.mixed.formula.designs import Design, RandomPart
from motorlearn.mixed.formula.matrices import names_in_words
from motorlearn.mixed.refitting import options_of
from motorlearn.mixed.result import MixedFit
from motorlearn.mixed.solve.covariance import Structure
from motorlearn.mixed.solving import solve
from motorlearn.mixed.whole import require_whole
from motorlearn.results import Recipe, Result
from motorlearn.rows import Row, Schema
from motorlearn.tables import Column, Table, estimates_table

STRUCTURES = Schema(
    (
        Column("structure"),
        Column("asked", kind="flag"),
        Column("parameters", kind="count"),
        *(Column(name, kind="number") for name in ("loglik", "aic", "bic")),
        Column("singular", kind="flag"),
        Column("converged", kind="flag"),
        Column("statistic", kind="number"),
        Column("df", kind="number"),
        Column("p", kind="number"),
    )
)
NOTE = (
    "The structure that the design asks for stands first and is kept unless it cannot be "
    "estimated; p tests each simpler one against it, allowing for a variance of zero being at the "
    "edge."
)


@dataclass(frozen=True)
class RandomStructures(Result):
    """Random structures side by side.

    Parameters
    ----------
    frame : DataFrame
        ``structure, asked, parameters, loglik, aic, bic, singular, converged, statistic, df, p``;
        ``df`` is the number of parameters left out.
    """

    frame: pd.DataFrame
    recipe: Recipe = field(repr=False)

    def __getitem__(self, key: Any) -> Any:
        return self.frame[key]

    def tables(self) -> Sequence[Table]:
        """The structures."""
        title = "Random structures that the design allows"
        return (estimates_table("random-structures", title, self.frame, notes=(NOTE,)),)


def random_structures(fit: MixedFit) -> RandomStructures:
    """Compare the random part of a fit with the simpler ones its design allows.

    Parameters
    ----------
    fit : MixedFit
        A model whose first grouping factor has correlated random terms, such as ``"1 + block"``:
        the structure that the design asks for.

    Returns
    -------
    RandomStructures
        The fit's own structure, independent terms, and the intercept alone.

    Raises
    ------
    InputError
        If the first grouping factor has a single random term, so that there is nothing simpler.

    References
    ----------
    Self SG, Liang K-Y (1987). JASA 82:605-610. https://doi.org/10.1080/01621459.1987.10478472

    Examples
    --------
    >>> from motorlearn.mixed import fit_mixed
    >>> rng = np.random.default_rng(3)
    >>> table = pd.DataFrame({"participant": np.repeat(np.arange(20), 6),
    ...                       "block": np.tile(np.arange(6.0), 20)})
    >>> own = rng.normal(0, 2, (20, 2))[table["participant"]]
    >>> table["error"] = 20 + own[:, 0] + own[:, 1] * table["block"] + rng.normal(0, 2, 120)
    >>> fit = fit_mixed("error ~ block", table, random={"participant": "1 + block"})
    >>> random_structures(fit).frame[["structure", "asked", "parameters"]]
                          structure  asked  parameters
    0   intercept, block correlated   True           6
    1  intercept, block independent  False           5
    2               intercept alone  False           4
    """
    require_whole(fit)
    part = fit.design.random[0]
    if len(part.terms) < 2:
        raise InputError(
            f"the random part of {part.group!r} is a single term, so there is nothing simpler",
            names_in_words(part.terms, part.plans),
            "fit the structure the design asks for, for example '1 + block'",
        )
    told, count = names_in_words(part.terms, part.plans), len(part.terms)
    told = ["intercept" if term == "Intercept" else own for term, own in zip(part.terms, told)]
    names = ", ".join(told)
    rows = [_row(fit, part, names + (" correlated" if len(part.blocks) == 1 else " as fitted"))]
    if len(part.blocks) == 1:
        alone = replace(part, blocks=tuple((i,) for i in range(count)))
        rows.append(_row(fit, alone, f"{names} independent"))
    first = replace(part, terms=part.terms[:1], blocks=((0,),), z=part.z[:, :1])
    rows.append(_row(fit, first, f"{told[0]} alone"))
    frame = _tested(STRUCTURES.frame(rows), len(part.blocks) == 1, count)
    return RandomStructures(frame, replace(fit.recipe, call="random_structures"))


def _row(fit: MixedFit, part: RandomPart, name: str) -> Row:
    """One structure, fitted to the same rows."""
    design: Design = replace(fit.design, random=(part, *fit.design.random[1:]))
    free = sum(Structure(one.blocks).n_free for one in design.random)
    own = len(fit.beta) + len(fit.extra) + int(fit.linear and fit.design.residual is None) + free
    asked = part is fit.design.random[0]
    told: dict[str, Any] = {"structure": name, "parameters": own, "asked": asked}
    try:
        found = solve(design, fit.observed, options_of(fit))
    except FitError:
        return STRUCTURES.row(**told, converged=False)
    verdict = examine(design, fit.observed, found, fit.family)
    return STRUCTURES.row(
        **told,
        loglik=-found.deviance / 2,
        aic=found.deviance + 2 * own,
        bic=found.deviance + np.log(fit.n) * own,
        singular=verdict.singular,
        converged=verdict.converged,
    )


def _tested(frame: pd.DataFrame, correlated: bool, count: int) -> pd.DataFrame:
    """Test each simpler structure against the first."""
    gain = 2 * (frame["loglik"].iloc[0] - frame["loglik"].astype(float))
    fewer = frame["parameters"].iloc[0] - frame["parameters"]
    frame["statistic"] = np.where(fewer > 0, np.maximum(gain, 0.0), np.nan)
    frame["df"] = np.where(fewer > 0, fewer, np.nan)
    p = np.full(len(frame), np.nan)
    for i in range(1, len(frame)):
        value, off = float(frame["statistic"].iloc[i]), int(fewer.iloc[i])
        if i < len(frame) - 1:
            p[i] = stats.chi2.sf(value, off)  # covariances alone
        elif count == 2:
            p[i] = edge_p(value, int(correlated))
    frame["p"] = p
    return frame


def edge_p(statistic: float, covariances: int) -> float:
    """Half chi-squared with k and half with k + 1 df: one variance at zero, k covariances gone.

    Examples
    --------
    >>> round(edge_p(2.706, 0), 3)  # a lone variance: half of .10
    0.05
    """
    below = float(stats.chi2.sf(statistic, covariances)) if covariances else float(statistic <= 0)
    return (below + float(stats.chi2.sf(statistic, covariances + 1))) / 2
