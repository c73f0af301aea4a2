"""What a model of level and spread gives, and what can be asked of it."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.mixed.contrast_kinds import Kind
from motorlearn.mixed.estimates import Estimates
from motorlearn.mixed.formula.designs import Design, RandomPart
from motorlearn.mixed.formula.matrices import MatrixPlan
from motorlearn.mixed.frames import VARIANCE, VARIANCE_COLUMNS, inference_columns
from motorlearn.mixed.inference.anova import AnovaTable
from motorlearn.mixed.inference.degrees_of_freedom import Inference
from motorlearn.mixed.means import contrasts, marginal_means
from motorlearn.mixed.result import MixedFit
from motorlearn.mixed.solve.engine import CONVERGED
from motorlearn.mixed.solve.search_location_scale import SpreadParts, SpreadSolution
from motorlearn.results import Recipe, Result, register_record
from motorlearn.tables import Table, estimates_table

Array = NDArray[np.float64]

_PERFECT = 0.98
CLEARLY = 1.3
"""Standard error that the people show over the model's own, from which it is said."""
SPREAD = "log SD: "
"""Begins the names of terms of the spread among the variances."""


@register_record
@dataclass(frozen=True)
class VariabilityFit(Result):
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
    recipe: Recipe = field(repr=False)
    of_level: MixedFit = field(repr=False)
    of_spread: MixedFit = field(repr=False)

    def spreads(
        self,
        by: str | Sequence[str],
        *,
        within: str | Sequence[str] | None = None,
        level: float = 0.95,
    ) -> Estimates:
        """Standard deviations within a typical person, by the levels of factors of the spread.

        Arguments are those of :func:`marginal_means`.
        """
        found = marginal_means(self.of_spread, by, within=within, level=level)
        return _told(found, "standard deviation of a typical participant", True)

    def ratios(
        self,
        by: str | Sequence[str],
        *,
        within: str | Sequence[str] | None = None,
        kind: Kind = "pairwise",
        reference: str | None = None,
        adjust: str = "holm",
        level: float = 0.95,
    ) -> Estimates:
        """Ratios of these standard deviations; 1 is no difference.

        Arguments are those of :func:`contrasts`.
        """
        found = contrasts(
            self.of_spread,
            by,
            within=within,
            kind=kind,
            reference=reference,
            adjust=adjust,
            level=level,
            scale="ratio",
        )
        return _told(found, "ratio of standard deviations", False)

    def differences(
        self,
        by: str | Sequence[str],
        *,
        within: str | Sequence[str] | None = None,
        adjust: str = "holm",
        level: float = 0.95,
    ) -> Estimates:
        """Differences of the level, as :func:`contrasts` gives them."""
        return contrasts(self.of_level, by, within=within, adjust=adjust, level=level)

    def anova(self, *, type: int = 3) -> AnovaTable:
        """Joint tests of the terms of the spread."""
        return self.of_spread.anova(type=type)

    def simulate(self, draws: int, *, seed: int) -> Array:
        """Draw scores of the analysed rows from the model, (draws, n), with new people."""
        rng = np.random.default_rng(seed)
        views = (self.of_level, self.of_spread)
        parts = [view.design.random[0] for view in views]
        sizes = [len(part.terms) for part in parts]
        covariance = _joined(self.variances, [term for part in parts for term in part.terms], sizes)
        values, vectors = np.linalg.eigh(covariance)
        root = vectors * np.sqrt(np.clip(values, 0, None))
        effects = rng.standard_normal((draws, self.people, len(covariance))) @ root.T
        pair = np.split(effects, [sizes[0]], axis=2)
        eta = [
            view.design.x @ view.beta + np.einsum("nk,dnk->dn", part.z, own[:, part.index])
            for view, part, own in zip(views, parts, pair, strict=True)
        ]
        return eta[0] + np.exp(eta[1]) * rng.standard_normal(eta[0].shape)

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


def _joined(variances: pd.DataFrame, terms: list[str], sizes: list[int]) -> Array:
    """Covariance of the random effects of level and spread from their frame."""
    names = [*terms[: sizes[0]], *(SPREAD + term for term in terms[sizes[0] :])]
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
        for name in ("estimate", "conf_low", "conf_high"):
            frame[name] = np.exp(frame[name])
        frame["std_error"] = frame["estimate"] * frame["std_error"]
        frame = frame.drop(columns=[name for name in ("statistic", "p") if name in frame])
    frame["quantity"] = quantity
    words = "of the spread within a participant whose random effects are zero"
    return replace(found, frame=frame, scale=words, note="")


def put_together(
    design: Design,
    plans: tuple[MatrixPlan, MatrixPlan | None],
    parts: SpreadParts,
    order: NDArray[np.intp],
    solution: SpreadSolution,
    recipe: Recipe,
) -> VariabilityFit:
    """Make the result of what a search found."""
    part, p = design.random[0], len(solution.beta)
    level, spread = _levels(design, parts, order), _spreads(design, plans, parts, order)
    names = [*part.terms, *(SPREAD + term for term in spread.random[0].terms)]
    of_level = _view(level, solution.beta, solution.vcov[:p, :p], recipe, recipe.options["formula"])
    own = f"log(sd) ~ {recipe.options['spread']}"
    of_spread = _view(spread, solution.gamma, solution.vcov[p:, p:], recipe, own)
    singular, words = _singular(names, solution.psi, part.group)
    converged = solution.expected_decrease < CONVERGED and solution.lowest > -1e-3
    warnings = (
        *(() if converged else (NOT_SETTLED,)),
        *words,
        *_wider_than_modelled(solution, plans[0]),
    )
    recipe = replace(recipe, converged=converged, message=f"{solution.iterations} iterations")
    return VariabilityFit(
        formula=recipe.options["formula"],
        spread_formula=recipe.options["spread"],
        estimates=of_spread.estimates,
        level=of_level.estimates,
        variances=_variances(part.group, names, solution.psi),
        loglik=-solution.deviance / 2,
        aic=solution.deviance + 2 * solution.free,
        bic=solution.deviance + np.log(recipe.n) * solution.free,
        n=recipe.n,
        people=len(part.levels),
        converged=converged,
        singular=singular,
        warnings=warnings,
        effects=_effects(part, names, solution),
        recipe=recipe,
        of_level=of_level,
        of_spread=of_spread,
    )


def _by_row(values: Array, order: NDArray[np.intp]) -> Array:
    """Rows sorted by person, in the order of the table again."""
    out = np.empty_like(values)
    out[order] = values
    return out


def _levels(design: Design, parts: SpreadParts, order: NDArray[np.intp]) -> Design:
    """The design of the level, a cell for each row."""
    part = design.random[0]
    own = replace(part, index=part.index[design.cell], z=part.z[design.cell])
    n = len(order)
    return replace(
        design,
        x=_by_row(parts.x, order),
        random=(own,),
        offset=np.zeros(n),
        cell=np.arange(n),
        weight=np.ones(n),
    )


def _spreads(
    design: Design,
    plans: tuple[MatrixPlan, MatrixPlan | None],
    parts: SpreadParts,
    order: NDArray[np.intp],
) -> Design:
    """The design of log σ, a cell for each row."""
    level, random = _levels(design, parts, order), plans[1]
    terms = random.columns if random is not None else ()
    own = replace(
        level.random[0],
        terms=terms,
        blocks=(tuple(range(len(terms))),) if terms else (),
        plans=(random,) if random is not None else (),
        z=_by_row(parts.s, order),
    )
    return replace(level, x=_by_row(parts.w, order), fixed=plans[0], random=(own,))


def _view(design: Design, beta: Array, vcov: Array, recipe: Recipe, formula: str) -> MixedFit:
    """Level or log σ as a linear model that means and contrasts can be asked of."""
    part, people = design.random[0], len(design.random[0].levels)
    df = _people_df(design, people)
    inference = constant_df(vcov * people / df, df)
    error = np.sqrt(np.clip(np.diag(inference.vcov), 0, None))
    columns = inference_columns(beta, error, np.full(len(beta), df), recipe.options["level"])
    q = len(part.terms)
    return MixedFit(
        formula=formula,
        family="gaussian",
        link="identity",
        reml=False,
        estimates=pd.DataFrame({"term": list(design.fixed.columns), **columns}),
        variances=VARIANCE.frame([]),
        residual_sd=float("nan"),
        **dict.fromkeys(("loglik", "aic", "bic"), float("nan")),
        n=recipe.n,
        n_groups={part.group: people},
        converged=True,
        singular=False,
        warnings=(),
        effects=pd.DataFrame(),
        fixed_names=design.fixed.columns,
        vcov=inference.vcov,
        covariances={part.group: np.zeros((q, q))},
        random={part.group: "1"},
        recipe=recipe,
        design=design,
        observed=np.zeros(len(design.cell)),
        inference=inference,
    )


def constant_df(vcov: Array, df: float) -> Inference:
    """Tests whose degrees of freedom are the same for every contrast.

    With one variance parameter that scales the whole covariance, of variance 2 / df, the formula of
    Satterthwaite gives df for each of them.
    """
    none = np.zeros((0, *vcov.shape))
    return Inference("satterthwaite", vcov, vcov[None], np.array([[2.0 / df]]), vcov, none, vcov)


def _people_df(design: Design, people: int) -> float:
    """People less the columns that do not vary within any of them."""
    index, x = design.random[0].index, design.x
    first = np.zeros(people, dtype=np.intp)
    first[index[::-1]] = np.arange(len(index))[::-1]
    constant = np.abs(x - x[first[index]]).max(axis=0) < 1e-9 * np.abs(x).max(axis=0)
    rank = int(np.linalg.matrix_rank(x[:, constant])) if constant.any() else 1
    return float(max(people - rank, 1))


NOT_SETTLED = (
    "The search did not settle at a maximum; do not trust these estimates, take random terms out."
)


def _singular(names: list[str], psi: Array, group: str) -> tuple[bool, list[str]]:
    """Whether people do not differ in a term of the spread, or terms go together perfectly."""
    sd = np.sqrt(np.clip(np.diag(psi), 0, None))
    words = [
        f"The spread of {name!r} between levels of {group!r} is estimated as zero: these people do "
        "not differ in it beyond chance."
        for name, size in zip(names, sd, strict=True)
        if name.startswith(SPREAD) and size < 1e-3
    ]
    if words:
        return True, words
    safe = np.where(sd > 0, sd, 1.0)
    correlation = psi / np.outer(safe, safe)
    near = np.argwhere(np.tril(np.abs(correlation), -1) > _PERFECT)
    words = [
        f"{names[j]!r} and {names[i]!r} of {group!r} go together almost perfectly "
        f"({correlation[i, j]:.2f}); take one out, or use correlated=False."
        for i, j in near
    ]
    return bool(words), words


def _wider_than_modelled(solution: SpreadSolution, plan: MatrixPlan) -> list[str]:
    """Say where people show a larger standard error of an effect on the spread than the model."""
    p = len(solution.beta)
    own, shown = (np.sqrt(np.diag(m)[p:]) for m in (solution.vcov, solution.shown))
    ratio = np.divide(shown, own, out=np.ones_like(own), where=own > 0)
    worst = int(np.argmax(ratio))
    if ratio[worst] < CLEARLY or plan.columns[worst] == "Intercept":
        return []
    return [
        f"People differ in {plan.columns[worst]!r} of the spread more than the model lets them: "
        f"the standard error that they show is {ratio[worst]:.1f} times its own, so that its test "
        "finds too much; add the term to spread_random."
    ]


def _variances(group: str, names: list[str], psi: Array) -> pd.DataFrame:
    sd = np.sqrt(np.clip(np.diag(psi), 0, None))
    rows = [
        VARIANCE.row(group=group, term=name, variance=psi[i, i], sd=sd[i])
        for i, name in enumerate(names)
    ]
    for i, name in enumerate(names):
        for j in range(i):
            product = sd[i] * sd[j]
            together = psi[i, j] / product if product > 0 else np.nan
            pair = {"group": group, "term": names[j], "other": name}
            rows.append(VARIANCE.row(**pair, variance=psi[i, j], correlation=together))
    return VARIANCE.frame(rows)


def _effects(part: RandomPart, names: list[str], solution: SpreadSolution) -> pd.DataFrame:
    count, size = solution.modes.shape
    error = np.sqrt(np.clip(np.einsum("gaa->ga", solution.spread), 0, None))
    return pd.DataFrame(
        {
            "level": np.repeat(np.array(part.levels, dtype=object), size),
            "term": np.tile(np.array(names, dtype=object), count),
            "estimate": solution.modes.ravel(),
            "std_error": error.ravel(),
        }
    )
