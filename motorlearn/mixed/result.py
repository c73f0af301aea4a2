"""What a mixed model gives: numbers, the recipe, and what can be asked of it afterwards."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.mixed.designs import Design
from motorlearn.mixed.inference import Inference
from motorlearn.results import Recipe, Result
from motorlearn.tables import Column, Table, estimates_table

Array = NDArray[np.float64]

_VARIANCE_COLUMNS = (
    Column("group", "grouping"),
    Column("term", "term"),
    Column("with", "with"),
    Column("variance", "variance or covariance", "significant", decimals=4),
    Column("sd", "standard deviation", "significant", decimals=4),
    Column("correlation", "correlation", "number"),
)


@dataclass(frozen=True)
class MixedFit(Result):
    """A fitted linear or binomial mixed model.

    Parameters
    ----------
    estimates : DataFrame
        ``term, estimate, std_error, df, statistic, p, conf_low, conf_high``; terms are named as
        ``Intercept``, ``group[T.random]``, ``group[T.random]:phase[T.retention]``.
    variances : DataFrame
        ``group, term, with, variance, sd, correlation``. A row with an empty ``with`` holds a
        variance and its root; a row with two terms their covariance and correlation; the group
        ``residual`` holds σ² of a linear model.
    residual_sd : float
        σ; not a number for a binomial model.
    loglik : float
        Log likelihood, restricted where ``reml``; for counts with the binomial coefficients.
    aic, bic : float
        Information criteria with all fixed and variance parameters counted.
    n : int
        Rows analysed.
    n_groups : mapping of str to int
        Levels of each grouping factor.
    converged : bool
        Whether gradient and Hessian, looked at again, confirm a minimum.
    singular : bool
        Whether a variance is zero or a correlation of random effects is perfect.
    warnings : tuple of str
        Why the model should be read with care.
    effects : DataFrame
        ``group, level, term, estimate, std_error, conf_low, conf_high``: the conditional modes of
        the random effects with intervals given the estimated parameters.
    fixed_names : tuple of str
        Names of the fixed effects, in the order of ``vcov``.
    vcov : array (p, p)
        Covariance of the fixed effects as the tests use it.
    covariances : mapping of str to array
        Covariance matrix of the random effects of each grouping factor.
    """

    formula: str
    family: str
    link: str
    reml: bool
    estimates: pd.DataFrame = field(repr=False)
    variances: pd.DataFrame = field(repr=False)
    residual_sd: float
    loglik: float
    aic: float
    bic: float
    n: int
    n_groups: Mapping[str, int]
    converged: bool
    singular: bool
    warnings: tuple[str, ...]
    effects: pd.DataFrame = field(repr=False)
    fixed_names: tuple[str, ...]
    vcov: Array = field(repr=False)
    covariances: Mapping[str, Array] = field(repr=False)
    random: Mapping[str, str | Sequence[str]]
    recipe: Recipe = field(repr=False)
    design: Design = field(repr=False)
    observed: Array = field(repr=False)
    inference: Inference = field(repr=False)

    @property
    def beta(self) -> Array:
        """Fixed effects as an array."""
        return self.estimates["estimate"].to_numpy()

    def tables(self) -> Sequence[Table]:
        """Fixed effects, then variances of the random effects."""
        sizes = ", ".join(f"{count} {name}" for name, count in self.n_groups.items())
        outcome = "binomial" if self.family == "binomial" else "linear"
        notes = (f"{self.n} rows; {sizes}; {self.recipe.engine}.", *self.warnings)
        fixed = estimates_table(
            "fixed-effects",
            f"Fixed effects of the {outcome} mixed model",
            self.estimates,
            notes=notes,
        )
        variances = Table(
            "variances", "Variances of the random effects", _VARIANCE_COLUMNS, self.variances
        )
        return (fixed, variances)
