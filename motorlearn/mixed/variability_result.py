"""What a model of level and spread gives, and what can be asked of it."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.mixed.contrast_kinds import Kind
from motorlearn.mixed.estimates import Estimates
from motorlearn.mixed.frames import VARIANCE_COLUMNS
from motorlearn.mixed.grids import At
from motorlearn.mixed.habits import Habits
from motorlearn.mixed.inference.anova import AnovaTable
from motorlearn.mixed.means import contrasts, marginal_means
from motorlearn.mixed.result import MixedFit
from motorlearn.results import Recipe, Result, register_record
from motorlearn.tables import Table, estimates_table

Array = NDArray[np.float64]

SPREAD = "log SD: "
"""Begins the names of terms of the spread among the variances."""


@register_record
@dataclass(frozen=True)
class VariabilityFit(Habits, Result):
    """Level and spread of a person's scores in one model.

    Parameters
    ----------
    formula, spread_formula : str
        Fixed part of the level, and of the logarithm of the standard deviation.
    estimates : DataFrame
        ``term, estimate, std_error, df, statistic, p, conf_low, conf_high`` of log σ.
    level : DataFrame
        The same of the level.
    variances : DataFrame
        ``group, term, other, variance, sd, correlation`` of the random effects; terms of the spread
        begin with ``log SD:``.
    loglik, aic, bic : float
        Log likelihood and criteria, all parameters counted.
    n : int
        Rows analysed.
    people : int
        Persons.
    converged, singular : bool
        Whether the search ended at a maximum; whether people do not differ in a random term, or two
        go together perfectly.
    warnings : tuple of str
        Why the model should be read with care.
    effects : DataFrame
        ``level, term, estimate, std_error``: what each person adds to level and log σ.
    influence : DataFrame
        ``level, term, move``: how far an effect on log σ moves without each person, by one step.
    """

    formula: str
    spread_formula: str
    estimates: pd.DataFrame = field(repr=False)
    level: pd.DataFrame = field(repr=False)
    variances: pd.DataFrame = field(repr=False)
    loglik: float
    aic: float
    bic: float
    n: int
    people: int
    converged: bool
    singular: bool
    warnings: tuple[str, ...]
    effects: pd.DataFrame = field(repr=False)
    influence: pd.DataFrame = field(repr=False)
    recipe: Recipe = field(repr=False)
    of_level: MixedFit = field(repr=False)
    of_spread: MixedFit = field(repr=False)

    def spreads(
        self,
        by: str | Sequence[str],
        *,
        within: str | Sequence[str] | None = None,
        slope: str | None = None,
        at: At | None = None,
        level: float = 0.95,
    ) -> Estimates:
        """Standard deviations within a typical person, by the levels of factors of the spread.

        With ``slope`` the factor by which they change with one unit of that column. Arguments are
        those of :func:`marginal_means`.
        """
        found = marginal_means(self.of_spread, by, within=within, slope=slope, at=at, level=level)
        changing = f"factor of the standard deviation for one unit of {slope}"
        whole = "standard deviation of a typical participant"
        return _told(found, whole if slope is None else changing, True)

    def ratios(
        self,
        by: str | Sequence[str],
        *,
        within: str | Sequence[str] | None = None,
        kind: Kind = "pairwise",
        reference: str | None = None,
        adjust: str = "holm",
        slope: str | None = None,
        at: At | None = None,
        level: float = 0.95,
    ) -> Estimates:
        """Ratios of these standard deviations; 1 is no difference.

        With ``slope``, ratios of the factors by which they change with one unit of that column.
        Arguments are those of :func:`contrasts`.
        """
        found = contrasts(
            self.of_spread,
            by,
            within=within,
            kind=kind,
            reference=reference,
            adjust=adjust,
            slope=slope,
            at=at,
            level=level,
            scale="ratio",
        )
        of = "standard deviations" if slope is None else f"factors for one unit of {slope}"
        return _told(found, f"ratio of {of}", False)

    def differences(
        self,
        by: str | Sequence[str],
        *,
        within: str | Sequence[str] | None = None,
        kind: Kind = "pairwise",
        reference: str | None = None,
        adjust: str = "holm",
        slope: str | None = None,
        at: At | None = None,
        level: float = 0.95,
    ) -> Estimates:
        """Differences of the level, as :func:`contrasts` gives them."""
        return contrasts(
            self.of_level,
            by,
            within=within,
            kind=kind,
            reference=reference,
            adjust=adjust,
            slope=slope,
            at=at,
            level=level,
        )

    def anova(self, *, type: int = 3) -> AnovaTable:
        """Joint tests of the terms of the spread."""
        return self.of_spread.anova(type=type)

    @property
    def covariance(self) -> Array:
        """Covariance of a person's random effects, those of the level before those of log σ."""
        parts = [view.design.random[0] for view in (self.of_level, self.of_spread)]
        terms = [term for part in parts for term in part.terms]
        return _joined(self.variances, terms, len(parts[0].terms))

    def simulate(self, draws: int, *, seed: int) -> Array:
        """Draw scores of the analysed rows from the model, (draws, n), with new people."""
        rng = np.random.default_rng(seed)
        views = (self.of_level, self.of_spread)
        parts = [view.design.random[0] for view in views]
        sizes = [len(part.terms) for part in parts]
        covariance = self.covariance
        values, vectors = np.linalg.eigh(covariance)
        root = vectors * np.sqrt(np.clip(values, 0, None))
        effects = rng.standard_normal((draws, self.people, len(covariance))) @ root.T
        pair = np.split(effects, [sizes[0]], axis=2)
        eta = [
            view.design.x @ view.beta + np.einsum("nk,dnk->dn", part.z, own[:, part.index])
            for view, part, own in zip(views, parts, pair, strict=True)
        ]
        return np.asarray(eta[0] + np.exp(eta[1]) * rng.standard_normal(eta[0].shape))

    def tables(self) -> Sequence[Table]:
        """Spread, level, variances."""
        notes = (
            f"{self.n} rows of {self.people} people; {self.recipe.engine}. A difference d of log "
            "SD is a ratio exp(d) of standard deviations.",
            *self.warnings,
        )
        return (
            estimates_table(
                "spread",
                "Logarithm of the standard deviation within a person",
                self.estimates,
                notes=notes,
            ),
            estimates_table("level", "Level of the scores", self.level),
            Table("variances", "Variances of the random effects", VARIANCE_COLUMNS, self.variances),
        )


def _joined(variances: pd.DataFrame, terms: list[str], first: int) -> Array:
    """Covariance of the random effects of level and spread from their frame."""
    names = [*terms[:first], *(SPREAD + term for term in terms[first:])]
    out = np.zeros((len(names),) * 2)
    for term, other, value in variances[["term", "other", "variance"]].itertuples(index=False):
        i = names.index(term)
        j = names.index(other) if isinstance(other, str) and other else i
        out[i, j] = out[j, i] = value
    return out


def _told(found: Estimates, quantity: str, exponentiate: bool) -> Estimates:
    """Estimates of log σ as what they are on the scale of the scores."""
    frame = found.frame.copy()
    if exponentiate:
        frame["std_error"] = np.exp(frame["estimate"]) * frame["std_error"]
        for name in ("estimate", "conf_low", "conf_high"):
            frame[name] = np.exp(frame[name])
        frame = frame.drop(columns=[name for name in ("statistic", "p") if name in frame])
    frame["quantity"] = quantity
    words = "of the spread within a participant whose random effects are zero"
    return replace(found, frame=frame, scale=words, note="")
