"""What a mixed model gives: numbers, the recipe, and what can be asked of it afterwards."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.exceptions import InputError
from motorlearn.mixed.formula.designs import Design
from motorlearn.mixed.formula.matrices import require_columns
from motorlearn.mixed.frames import VARIANCE_COLUMNS, thresholds_frame
from motorlearn.mixed.habits import Habits
from motorlearn.mixed.inference.anova import AnovaTable, joint_tests
from motorlearn.mixed.inference.degrees_of_freedom import Inference, f_test
from motorlearn.mixed.inference.terms import TermTest, columns_of, held_levels
from motorlearn.mixed.prediction import (
    between_variance,
    draw_effects,
    draw_residuals,
    explained_variance,
    known_effects,
    population_mean,
    random_matrix,
    refuse_gaps,
    scale_of,
    whose,
)
from motorlearn.mixed.responses import HITS, LINEAR, Response
from motorlearn.mixed.solving import Options, other_inference
from motorlearn.mixed.whole import refuse_part
from motorlearn.results import Recipe, Result, register_record
from motorlearn.tables import Table, estimates_table
from motorlearn.vocabulary import term_in_words

Array = NDArray[np.float64]


@register_record
@dataclass(frozen=True)
class MixedFit(Habits, Result):
    """A fitted mixed model.

    Parameters
    ----------
    estimates : DataFrame
        ``term, estimate, std_error, df, statistic, p, conf_low, conf_high``; terms are named as
        ``Intercept``, ``group[T.random]``, ``group[T.random]:phase[T.retention]``.
    variances : DataFrame
        ``group, term, other, variance, sd, correlation``. A row with an empty ``other`` holds a
        variance and its root; a row with two terms their covariance and correlation; the group
        ``residual`` holds σ² of a linear model.
    residual_sd : float
        σ, or the root of the mean residual variance over the rows where it differs between them;
        not a number where the outcome has no residual of its own. That of the logarithms for a
        lognormal model.
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
    residual_covariance : array (T, T)
        Covariance of the residuals between the levels of the column that tells them apart, its
        levels in the order of ``variances``; empty where all have one variance.
    extra : array (k,)
        The outcome's own parameters on a logarithmic scale: the steps between the thresholds of
        ratings, or the dispersion.
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
    residual_covariance: Array = field(default_factory=lambda: np.zeros((0, 0)), repr=False)
    extra: Array = field(default_factory=lambda: np.zeros(0), repr=False)

    @property
    def linear(self) -> bool:
        """Whether the model is linear in the outcome or its logarithm."""
        return self.family in LINEAR

    @property
    def response(self) -> Response:
        """How the outcome follows from the linear predictor."""
        categories = self.design.categories
        named = any(isinstance(v, str) for v in categories)
        scores = np.arange(1.0, len(categories) + 1) if named else np.array(categories, float)
        extra = np.array([self.residual_sd**2]) if self.family == "lognormal" else self.extra
        return Response(self.family, self.link, extra, scores)

    @property
    def dispersion(self) -> float:
        """θ of negative binomial counts, φ of beta-binomial hits, the shape s of gamma amounts.

        Not a number for other outcomes.
        """
        own = self.family in ("negative-binomial", "beta-binomial", "gamma")
        return float(np.exp(self.extra[0])) if own else float("nan")

    @property
    def neighbours(self) -> float:
        """ρ, the correlation of residuals of neighbours in a run; not a number without one."""
        return float(self.variances.query("other == 'neighbour'")["correlation"].sum(min_count=1))

    @property
    def thresholds(self) -> pd.DataFrame:
        """Thresholds α_k of ratings: ``threshold, estimate, std_error``, on the scale of the link.

        P(rating ≤ k) = F(α_k − η) with the intercept taken into α.
        """
        joint = self.inference.joint_vcov
        return thresholds_frame(self.design, self.beta, self.response.thresholds, joint)

    @property
    def beta(self) -> Array:
        """Fixed effects as an array."""
        found: Array = self.estimates["estimate"].to_numpy()
        return found

    def fitted(self, *, participants: str = "known", scale: str = "response") -> pd.Series:
        """Fitted values of the analysed rows, indexed by their position in the table.

        Arguments are those of :meth:`predict`.
        """
        shift, between = np.zeros(len(self.design.x)), self._between()
        if whose(participants) == "known":
            for part in filter(lambda part: part.terms, self.design.random):
                modes = self._modes(part.group, len(part.terms))[part.index]
                shift += np.sum(part.z * modes, axis=1)
        eta = self.design.x @ self.beta + self.design.offset + shift
        values = population_mean(self.response, eta, between, scale_of(scale, participants))
        return pd.Series(values[self.design.cell], index=self.design.row, name="fitted")

    def residuals(self, kind: str = "response") -> pd.Series:
        """Observed less fitted values; ``kind="pearson"`` divides by the model's own spread.

        Shares of hits, numbers that stand for ratings, and logarithms of a lognormal outcome.
        """
        eta = self.fitted(scale="link").to_numpy()
        weight, response = self.design.weight, self.response
        if self.linear:
            values = self.observed - (eta - self.design.offset[self.design.cell])
            spread = self._residual_spread() / np.sqrt(weight)
        else:
            observed = self.observed / weight if self.family in HITS else self.observed
            if self.design.categories:
                observed = response.scores[observed.astype(int)]
            values, spread = observed - response.mean(eta).value, response.spread(eta, weight)
        if kind not in ("response", "pearson"):
            raise InputError("the kind of residual is not known", [kind], "use 'response'")
        values = values / spread if kind == "pearson" else values
        return pd.Series(values, index=self.design.row, name="residual")

    def predict(
        self,
        table: pd.DataFrame,
        *,
        participants: str = "known",
        scale: str = "response",
        offset: str | None = None,
    ) -> pd.Series:
        """Predict new rows.

        Parameters
        ----------
        table : DataFrame
            Rows with the columns of the model; the outcome is not needed.
        participants : {"known", "population"}
            With the estimated random effects of participants the model was fitted to, or for the
            population: random effects of zero.
        scale : {"response", "link", "average"}
            A mean or probability, the linear predictor, or for the population the probability
            averaged over participants.
        offset : str, optional
            Column that is added to the linear predictor; that of the fit if not given.

        Returns
        -------
        Series
            One value per row, with the index of ``table``.

        Raises
        ------
        InputError
            If a participant is not known, or a column or value is missing.
        """
        refuse_gaps(self.design, table)
        eta = self.design.fixed.apply(table) @ self.beta
        offset = offset or self.recipe.columns.get("offset")
        if offset is not None:
            require_columns(table, (offset,))
            eta = eta + table[offset].to_numpy(float)
        if whose(participants) == "known":
            refuse_part(self.recipe)
            eta = eta + known_effects(self.design, self.effects, table)
        z = [random_matrix(part, table) for part in self.design.random]
        between = between_variance(self.design.random, self.covariances, z)
        values = population_mean(self.response, eta, between, scale_of(scale, participants))
        return pd.Series(values, index=table.index, name="predicted")

    def simulate(self, draws: int, *, seed: int) -> Array:
        """Draw outcomes of the analysed rows from the fitted model, (draws, n).

        Random effects are drawn anew; hits are numbers of hits, ratings their places from 0, and
        lognormal outcomes logarithms. Like ``observed``, outcomes of a linear model with an offset
        are less the offset.
        """
        refuse_part(self.recipe)
        rng = np.random.default_rng(seed)
        cell, weight = self.design.cell, self.design.weight
        shift = draw_effects(self.design, self.covariances, draws, rng)
        eta = (self.design.x @ self.beta + shift)[:, cell]
        if self.linear:
            spread = self._residual_spread() / np.sqrt(weight)
            known = (self.residual_covariance, self.neighbours, spread, eta.shape, rng)
            return eta + draw_residuals(self.design, *known)
        return self.response.draw(eta + self.design.offset[cell], weight, rng)

    @property
    def explained(self) -> Mapping[str, float]:
        """Marginal and conditional R² and the intraclass correlation, on the latent scale.

        The residual variance of hits and ratings is that of the distribution behind the link, that
        of counts and amounts the variance of their logarithm.
        """
        between = self._between()[self.design.cell]
        fixed = (self.design.x @ self.beta)[self.design.cell]
        if self.linear:
            residual = self.residual_sd**2 * float(np.mean(1 / self.design.weight))
        else:
            eta = fixed + self.design.offset[self.design.cell]
            residual = self.response.latent_variance(self.response.mean(eta, between).value)
        marginal, conditional, icc = explained_variance(fixed, between, residual)
        return {"r2_marginal": marginal, "r2_conditional": conditional, "icc": icc}

    def test(self, terms: str | Sequence[str]) -> TermTest:
        """Test that all columns of one or several terms of the formula are zero.

        With the default coding a term that is part of an interaction is tested at the reference
        levels of the others, which ``held_at`` and the printed result name; :meth:`anova` tests it
        averaged over their levels.

        Parameters
        ----------
        terms : str or sequence of str
            Terms as in the formula, their factors in any order, for example ``"group:phase"``, or
            names of fixed effects.
        """
        plan = self.design.fixed
        rows, named = columns_of([terms] if isinstance(terms, str) else list(terms), plan)
        found = f_test(np.eye(len(self.beta))[rows], self.beta, self.inference)
        whole = all(name in plan.assigned for name in named)
        return TermTest(
            **vars(found), terms=named, held_at=held_levels(rows, plan) if whole else {}
        )

    def anova(self, *, type: int = 3, df: str | None = None) -> AnovaTable:
        """Test every term of the formula, averaged over the levels of all other factors.

        Parameters
        ----------
        type : {3, 2}
            Type III: equal weights for all combinations of levels, numeric columns at their mean.
            Type II: each term as if those that contain it were zero.
        df : {"satterthwaite", "kenward-roger", "normal"}, optional
            Degrees of freedom, if other than those of the fit.

        Returns
        -------
        AnovaTable
            ``frame`` with ``term, df1, df2, statistic, p``.

        Raises
        ------
        InputError
            If the model has no intercept, or an interaction without its parts.

        Examples
        --------
        >>> from motorlearn.mixed import fit_mixed
        >>> table = pd.DataFrame({
        ...     "participant": list("aabbccddee"),
        ...     "group": list("rrbbrrbbrr"),
        ...     "phase": ["pretest", "retention"] * 5,
        ...     "radial_error": [31.0, 24.0, 38.0, 29.5, 27.0, 25.0, 35.5, 27.0, 33.0, 28.0],
        ... })
        >>> fit = fit_mixed("radial_error ~ group * phase", table, random={"participant": "1"})
        >>> fit.anova().frame[["term", "df1", "df2", "p"]].round(3)
                  term  df1  df2      p
        0        group    1  3.0  0.104
        1        phase    1  3.0  0.006
        2  group:phase    1  3.0  0.134
        """
        if isinstance(type, bool) or type not in (2, 3):
            raise InputError("joint tests are of type 2 or 3", [type], "use type=3")
        method = self.inference.method if df is None else df
        inference = self.inference
        if method != inference.method:
            refuse_part(self.recipe)
            stored = self.recipe.options["quadrature"]
            options = Options(self.family, self.link, self.reml, stored, method)
            inference = other_inference(self.design, self.observed, options)
        frame = joint_tests(self.design.fixed, self.beta, inference, type)
        return AnovaTable(
            frame, replace(self.recipe, call="anova", options={"type": type, "df": method})
        )

    def _residual_spread(self) -> Array:
        """Standard deviation of the residual of each row of weight one."""
        part = self.design.residual
        if part is None:
            return np.full(len(self.design.cell), self.residual_sd)
        return np.sqrt(np.diag(self.residual_covariance))[part.index][self.design.cell]

    def _between(self) -> Array:
        refuse_part(self.recipe)
        z = [part.z for part in self.design.random]
        return between_variance(self.design.random, self.covariances, z)

    def _modes(self, group: str, size: int) -> Array:
        chosen = self.effects["group"] == group
        found: Array = self.effects.loc[chosen, "estimate"].to_numpy().reshape(-1, size)
        return found

    def tables(self) -> Sequence[Table]:
        """Fixed effects, then variances of the random effects."""
        sizes = ", ".join(f"{term_in_words(key)}: {n}" for key, n in self.n_groups.items())
        outcome = "linear" if self.family == "gaussian" else self.family
        own = self.response.in_words(self.thresholds["threshold"], self.thresholds["estimate"])
        notes = (f"{self.n} rows; {sizes}; {self.recipe.engine}.", *own, *self.warnings)
        fixed = estimates_table(
            "fixed-effects",
            f"Fixed effects of the {outcome} mixed model",
            self.estimates,
            notes=notes,
        )
        title = "Variances of the random effects"
        return (fixed, Table("variances", title, VARIANCE_COLUMNS, self.variances))
