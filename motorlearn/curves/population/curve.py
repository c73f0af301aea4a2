"""The curve of a population and of its learners: the result of the public fit."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from motorlearn.curves.forms import named_form
from motorlearn.curves.options import check_level, check_seed, check_simulations
from motorlearn.curves.population.bands import bands, curves_of
from motorlearn.curves.population.terms import COMMON, VARIANCES
from motorlearn.curves.single.rows import as_numbers, check_counts
from motorlearn.curves.status import MEANINGS
from motorlearn.results import Recipe, Result, register_record
from motorlearn.tables import Table, estimates_table
from motorlearn.vocabulary import capitalised

POPULATION_MEANINGS = MEANINGS | {
    "shape not settled": (
        "There is a change, but straight lines (in the logarithm of practice for a power curve) or "
        "steps after the first trial describe these learners as well, or the search found several "
        "maxima, so standard errors and intervals have no meaning; practise longer or let fewer "
        "parameters vary."
    ),
    "asymptote not seen": (
        "Practice stopped before the curve of the population had flattened, so the asymptote is "
        "an extrapolation and trades off with gain and rate; compare the start and the end of "
        "practice instead, or practise longer."
    ),
}


@register_record
@dataclass(frozen=True)
class PopulationCurve(Result):
    """Curve of a population and of its learners.

    What ``status`` says is not estimated is missing; ``group_cells`` holds the parameters of each
    group's curve (asymptote, amount, log rate) that was drawn all the same, ``learner_cells`` those
    of each learner, ``between`` their covariance.

    ``estimates``: asymptote, ``gain`` or ``start``, and log rate of the first group; terms with a
    group in brackets are differences from it. ``variances``: variance, SD and correlations of
    what varies between learners (``other`` is empty on a variance row). ``participants``: each
    learner's parameters, drawn towards the population by how little the own rows say.
    ``group_tests``: likelihood-ratio tests of the group differences, where asked for. ``common``:
    what is the same for all learners (second rate, what sessions do, noise). ``second`` holds what
    learners share of the rates of the curve, ``shared`` the same on a scale without bounds and
    ``whole`` the covariance of the fixed effects and of that, ``spread`` the SD of each residual
    over ``residual_sd``, ``standard`` the residuals by the noise that was fitted: whitened, of
    size 1 (none for plain noise).
    """

    estimates: pd.DataFrame
    variances: pd.DataFrame
    residual_sd: float
    loglik: float
    aic: float
    bic: float
    n: int
    participants: pd.DataFrame
    group_tests: pd.DataFrame
    form: str
    family: str
    amount: str
    first: float
    groups: tuple[str, ...]
    status: str
    meaning: str
    loglik_laplace: float
    quadrature_gap: float
    group_cells: np.ndarray = field(repr=False)
    learner_cells: np.ndarray = field(repr=False)
    between: np.ndarray = field(repr=False)
    vcov: np.ndarray = field(repr=False)
    residuals: pd.DataFrame = field(repr=False)
    warnings: tuple[str, ...] = ()
    recipe: Recipe = field(default_factory=lambda: Recipe("fit_population_curve"), repr=False)
    common: pd.DataFrame = field(default_factory=COMMON.frame, repr=False)
    second: tuple[float, ...] = ()
    shared: np.ndarray = field(default_factory=lambda: np.zeros(0), repr=False)
    whole: np.ndarray = field(default_factory=lambda: np.zeros((0, 0)), repr=False)
    spread: np.ndarray = field(default_factory=lambda: np.ones(0), repr=False)
    standard: np.ndarray = field(default_factory=lambda: np.zeros(0), repr=False)

    @property
    def spread_of_few(self) -> float:
        """By how much the covariance of the fixed effects is too small where learners are few.

        Maximum likelihood divides squares between learners by their number; m over m less groups
        sets that right, as for the variance of a sample. Profile limits need none of it.
        """
        learners, groups = len(self.participants), len(self.groups)
        few = self.recipe.options.get("interval") == "profile" and learners > groups
        return learners / (learners - groups) if few else 1.0

    @property
    def converged(self) -> bool:
        """Whether the maximum was confirmed."""
        return self.recipe.converged

    def cells(self) -> np.ndarray:
        """Asymptote, amount and log rate of each group, shape (groups, 3)."""
        return self.group_cells

    def predict(
        self,
        practice: ArrayLike,
        *,
        level: float = 0.95,
        simulations: int = 2000,
        seed: int = 0,
        draws: int | None = None,
    ) -> pd.DataFrame:
        """Curve of each group with three bands.

        Returns
        -------
        DataFrame
            ``group, practice, estimate`` (curve of a learner with typical parameters),
            ``conf_low, conf_high`` (confidence in that curve), ``learner_low, learner_high``
            (where curves of the given share of learners lie), ``score_low, score_high`` (single
            scores; hits have none). For hits everything is the probability of a hit. ``draws`` is
            the old name of ``simulations``.
        """
        n = np.atleast_1d(as_numbers(practice, "practice"))
        check_counts(named_form(self.form), n, self.first)
        simulations, _ = check_simulations(simulations, draws, least=20)
        return bands(self, n, check_level(level), simulations, check_seed(seed))

    def learner_curves(self, practice: ArrayLike) -> np.ndarray:
        """Curve of each learner, shape (learners, practice), in the order of ``participants``."""
        n = np.atleast_1d(as_numbers(practice, "practice"))
        check_counts(named_form(self.form), n, self.first)
        return curves_of(self, n, self.learner_cells)

    def _missing(self) -> list[str]:
        """What learners have in common and these rows do not tell."""
        found: list[str] = self.common.loc[self.common["estimate"].isna(), "term"].tolist()
        return found

    def tables(self) -> Sequence[Table]:
        """Estimates, what varies between learners, tests of group differences."""
        notes = [f"Status: {self.status}. {self.meaning}", *self.warnings]
        title = f"{capitalised(named_form(self.form).title)} population curve"
        shown = [
            estimates_table("population_curve", title, self.estimates, notes=notes),
            VARIANCES.table("variances", "Variation between learners", self.variances),
        ]
        if len(self.common):
            notes = [f"Not estimated: {', '.join(gone)}."] if (gone := self._missing()) else []
            title = "The same for all learners"
            shown.append(estimates_table("common", title, self.common, notes=notes))
        if len(self.group_tests):
            shown.append(
                estimates_table("group_tests", "Tests of group differences", self.group_tests)
            )
        return tuple(shown)
