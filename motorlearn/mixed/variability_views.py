"""A model of level and spread put together as a result, each part as a linear model of its own."""

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn import digits
from motorlearn.mixed.formula.designs import Design, RandomPart
from motorlearn.mixed.formula.matrices import MatrixPlan, names_in_words
from motorlearn.mixed.frames import VARIANCE, inference_columns
from motorlearn.mixed.inference.degrees_of_freedom import Inference
from motorlearn.mixed.result import MixedFit
from motorlearn.mixed.solve.engine import CONVERGED
from motorlearn.mixed.solve.search_location_scale import SpreadParts, SpreadSolution
from motorlearn.mixed.variability_result import SPREAD, VariabilityFit
from motorlearn.results import Recipe

Array = NDArray[np.float64]

_PERFECT = 0.98
CLEARLY = 1.3
"""Standard error that the people show over the model's own, from which it is said."""


def put_together(
    design: Design,
    plans: tuple[MatrixPlan, MatrixPlan | None],
    parts: SpreadParts,
    order: NDArray[np.intp],
    observed: Array,
    solution: SpreadSolution,
    recipe: Recipe,
) -> VariabilityFit:
    """Make the result of what a search found; ``observed`` are the scores sorted by person."""
    part, p = design.random[0], len(solution.beta)
    level, spread = _levels(design, parts, order), _spreads(design, plans, parts, order)
    names = [*part.terms, *(SPREAD + term for term in spread.random[0].terms)]
    y = _by_row(observed, order)
    formula, own = recipe.options["formula"], f"log(sd) ~ {recipe.options['spread']}"
    of_level = _view(level, solution.beta, solution.vcov[:p, :p], recipe, formula, y)
    of_spread = _view(spread, solution.gamma, solution.vcov[p:, p:], recipe, own, y)
    own_terms = names_in_words(spread.random[0].terms, spread.random[0].plans)
    told = [*names_in_words(part.terms, part.plans), *(SPREAD + term for term in own_terms)]
    singular, words = _singular(told, solution.psi, part.group)
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
        influence=_influence(part, plans[0], solution),
        recipe=recipe,
        of_level=of_level,
        of_spread=of_spread,
    )


def with_parameters(fit: VariabilityFit, beta: Array, gamma: Array, psi: Array) -> VariabilityFit:
    """The model with other coefficients and covariances of people, to draw scores from."""
    views = [
        replace(view, estimates=view.estimates.assign(estimate=values))
        for view, values in ((fit.of_level, beta), (fit.of_spread, gamma))
    ]
    parts = [view.design.random[0] for view in views]
    names = [*parts[0].terms, *(SPREAD + term for term in parts[1].terms)]
    variances = _variances(parts[0].group, names, psi)
    return replace(
        fit,
        of_level=views[0],
        of_spread=views[1],
        level=views[0].estimates,
        estimates=views[1].estimates,
        variances=variances,
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


def _view(
    design: Design, beta: Array, vcov: Array, recipe: Recipe, formula: str, observed: Array
) -> MixedFit:
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
        loglik=float("nan"),
        aic=float("nan"),
        bic=float("nan"),
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
        observed=observed,
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
    pairs = [(i, j, f"{names[j]!r} and {names[i]!r}") for i, j in near]
    words = [
        f"{pair} of {group!r} go together almost perfectly "
        f"({digits.number(correlation[i, j])}); take one out, or let them vary independently "
        "(correlated=False)."
        for i, j, pair in pairs
        if names[i].startswith(SPREAD)
    ]
    level = [pair for i, _, pair in pairs if not names[i].startswith(SPREAD)]
    if level:
        words.append(
            f"In their level people differ in fewer ways than the random part allows ({level[0]} "
            "go together almost perfectly); the spread hardly depends on that."
        )
    return bool(words), words


def _wider_than_modelled(solution: SpreadSolution, plan: MatrixPlan) -> list[str]:
    """Say where people show a larger standard error of an effect on the spread than the model."""
    p = len(solution.beta)
    own, shown = (np.sqrt(np.diag(m)[p:]) for m in (solution.vcov, solution.shown))
    ratio = np.divide(shown, own, out=np.ones_like(own), where=own > 0)
    worst = int(np.argmax(ratio))
    if ratio[worst] < CLEARLY or plan.columns[worst] == "Intercept":
        return []
    (told,) = names_in_words([plan.columns[worst]], [plan])
    return [
        f"People differ in {told!r} of the spread more than the model lets them: "
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


def _influence(part: RandomPart, plan: MatrixPlan, solution: SpreadSolution) -> pd.DataFrame:
    """How far each effect on the spread moves without each person, by one step."""
    p, columns = len(solution.beta), plan.columns
    moves = -solution.pull[:, p:]
    return pd.DataFrame(
        {
            "level": np.repeat(np.array(part.levels, dtype=object), len(columns)),
            "term": np.tile(np.array(columns, dtype=object), len(part.levels)),
            "move": moves.ravel(),
        }
    )


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
