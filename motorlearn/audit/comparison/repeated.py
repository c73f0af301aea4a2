"""Assumptions of the mixed analysis of variance, groups by phases or by blocks."""

from collections.abc import Hashable, Iterator
from dataclasses import dataclass, replace
from typing import Self

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from motorlearn import digits
from motorlearn.audit.comparison.covariances import (
    box_m,
    interaction_by_group,
    rate_under_covariances,
)
from motorlearn.audit.comparison.phase_model import is_counted
from motorlearn.audit.context import Context
from motorlearn.audit.report import Check, Conclusion, Remedy, Step, gravest, judged, remedied
from motorlearn.compare import BlockComparison, PhaseComparison
from motorlearn.compare.within import cells_anova
from motorlearn.exceptions import FitError
from motorlearn.linear import repeated_anova
from motorlearn.mixed import fit_mixed
from motorlearn.mixed.inference.degrees_of_freedom import f_test
from motorlearn.vocabulary import term_in_words

Floats = NDArray[np.float64]

ANALYSIS = "mixed analysis of variance"
SPARE_PEOPLE = 4


@dataclass(frozen=True)
class Repeated:
    """Scores of participants at the levels of one within factor, and their analysis of variance.

    Attributes
    ----------
    within : str
        Name of the factor, ``phase`` or ``block``; also its column in ``scores``.
    scores : DataFrame
        ``participant, group, score`` and the column of the factor, on the scale of the analysis.
    anova : DataFrame
        The analysis that was made.
    groups, levels : tuple
        Groups and levels in their order.
    ratio : bool
        Whether the scale is logarithmic.
    counted : bool
        Whether the scores are rates of hits among attempts.
    """

    within: str
    scores: pd.DataFrame
    anova: pd.DataFrame
    groups: tuple[Hashable, ...]
    levels: tuple[Hashable, ...]
    ratio: bool
    counted: bool = False

    @classmethod
    def of(cls, result: PhaseComparison | BlockComparison) -> Self:
        """Take the repeated measures out of a comparison of phases or of blocks."""
        within = "block" if isinstance(result, BlockComparison) else "phase"
        ratio = result.recipe.options.get("effect") == "ratio"
        scores = result.scores
        if ratio:
            scores = scores.assign(score=np.log(scores["score"]))
        options = result.recipe.options
        levels = options.get("phases", tuple(sorted(scores[within].unique())))
        levels = options.get("anova_phases", levels)
        scores = scores[scores[within].isin(levels)]
        groups, anova = tuple(options["groups"]), result.anova
        found = cls(within, scores, anova, groups, tuple(levels), ratio, is_counted(result))
        crossed = options.get("factors") or options.get("covariates")
        if crossed or options.get("squares", "III") == "II":
            # The checks look at the cells; factors and covariates leave their covariances alone.
            return replace(found, anova=cells_anova(*found.complete(), within=within))
        return found

    @property
    def wide(self) -> pd.DataFrame:
        """Participants by levels, missing cells included."""
        return self.scores.pivot(index="participant", columns=self.within, values="score")[
            list(self.levels)
        ]

    def complete(self) -> tuple[Floats, NDArray[np.intp]]:
        """Scores (participants, levels) and group codes of those without a missing cell."""
        wide = self.wide.dropna()
        group_of = self.scores.drop_duplicates("participant").set_index("participant")["group"]
        places = [self.groups.index(group_of[name]) for name in wide.index]
        _, codes = np.unique(np.array(places), return_inverse=True)
        return wide.to_numpy(dtype=float), codes.astype(np.intp)


def repeated_checks(
    result: PhaseComparison | BlockComparison, context: Context
) -> Iterator[tuple[str, Check]]:
    """Give the checks of groups by phases or blocks, where that analysis was made."""
    data = Repeated.of(result)
    if not data.anova["statistic"].notna().any():
        return
    scores, codes = data.complete()
    if len(scores) < 4:
        return
    if scores.shape[1] > 2:
        yield ANALYSIS, sphericity_check(data, context)
    if codes.max() > 0:
        yield ANALYSIS, covariance_check(scores, codes, data, context)
    yield ANALYSIS, cells_check(data, context)
    yield ANALYSIS, cell_shape_check(scores, codes, data, context)


def sphericity_check(data: Repeated, context: Context) -> Check:
    """Greenhouse and Geisser's epsilon, with Mauchly's test as support."""
    row = _focus(data)
    term, epsilon = term_in_words(row["term"]), float(row["epsilon_gg"])
    finding = (
        f"{term}: epsilon {digits.number(epsilon, 3)} (GG), "
        f"{digits.number(float(row['epsilon_hf']), 3)} (HF); Mauchly W "
        f"{digits.number(float(row['mauchly_w']), 3)}, {digits.p_clause(row['mauchly_p'])}."
    )
    rate = float(
        stats.f.sf(
            stats.f.isf(0.05, row["df1"], row["df2"]), epsilon * row["df1"], epsilon * row["df2"]
        )
    )
    finding += f" Uncorrected, a 5 % test rejects in about {digits.percent(rate, 1)}."
    remedy = None
    if context.remedies:
        steps = tuple(
            Step(name, (_f_conclusion(term, row, f"p_{short}", f"epsilon_{short}"),))
            for name, short in (("Greenhouse-Geisser", "gg"), ("Huynh-Feldt", "hf"))
        )
        remedy = Remedy((_f_conclusion(term, row, "p", ""),), steps)
    # The corrected p stands in the same row of the analysis, so this never asks for more.
    check = judged(
        f"differences between {data.within}s vary alike (sphericity)",
        "rate of false positives of the uncorrected 5 % test, from epsilon",
        rate,
        replace(context.guide("size"), act=None),
        finding,
        "Read the Greenhouse-Geisser p (Huynh-Feldt above .75); or use a mixed model.",
        chance=float(row["mauchly_p"]),
        remedy=remedy,
    )
    own = context.guide("epsilon")
    if not own.own:
        return check
    return gravest(
        replace(check, diagnostic=own.words, value=epsilon, guide=own, grade=own.grade(epsilon)),
        check,
    )


def covariance_check(
    scores: Floats, codes: NDArray[np.intp], data: Repeated, context: Context
) -> Check:
    """Rate of the corrected test under the groups' own covariances; Box's M can only excuse it."""
    p = box_m(scores, codes)
    rate = rate_under_covariances(scores, codes, context.seed)
    sizes = np.bincount(codes)
    assumption = "groups have the same covariances"
    advice = "Read the test that gives every group its own covariances."
    finding = (
        f"With {', '.join(map(str, sizes))} people and these covariances the Greenhouse-Geisser "
        f"test of the interaction rejects in about {digits.percent(rate, 1)}; Box's M "
        f"{digits.p_clause(p)}."
    )
    remedy = remedied(lambda: _own_covariances(scores, codes, data)) if context.remedies else None
    check = judged(
        assumption,
        "rate of false positives of the nominal 5 % test of the interaction",
        rate,
        context.guide("size"),
        finding,
        advice,
        chance=p,
        estimated=True,
        remedy=remedy,
    )
    numbers = (("box", p), ("n_ratio", float(sizes.max() / sizes.min())))
    own = [(context.guide(name), value) for name, value in numbers if context.guide(name).own]
    return gravest(
        *(
            replace(check, diagnostic=guide.words, value=value, guide=guide,
                    grade=guide.grade(value))
            for guide, value in own
        ),
        check,
    )  # fmt: skip


def cells_check(data: Repeated, context: Context) -> Check:
    """Who is lost to listwise deletion, and what a mixed model on everybody says."""
    wide = data.wide
    lacking = wide.isna().any(axis=1)
    lost = [str(name) for name in wide.index[lacking]]
    share = len(lost) / len(wide)
    names = f": {', '.join(lost[:8])}{' …' if len(lost) > 8 else ''}" if lost else ""
    empty = float(wide.isna().to_numpy().mean())
    check = judged(
        f"every participant has every {data.within}",
        f"share of participants left out for a missing {data.within}",
        share,
        context.guide("dropped"),
        f"{len(lost)} of {len(wide)} left out{names}; {digits.percent(empty, 1)} of the scores are "
        "missing.",
        "Use a mixed model on all available scores.",
        remedy=remedied(lambda: _mixed_model(data)) if context.remedies and lost else None,
    )
    few = check.grade == "act" and context.guide("missing").grade(empty) == "fine"
    return replace(check, grade="look") if few else check


def cell_shape_check(
    scores: Floats, codes: NDArray[np.intp], data: Repeated, context: Context
) -> Check:
    """Largest skewness of a group in a phase; chance is judged over all cells together."""
    skews, smallest, cells = [], 1.0, 0
    for code in np.unique(codes):
        for column in scores[codes == code].T:
            if len(column) < 4 or np.ptp(column) == 0:
                continue
            cells += 1
            skews.append(abs(float(stats.skew(column, bias=False))))
            smallest = min(smallest, float(stats.shapiro(column).pvalue))
    chance = min(1.0, smallest * max(cells, 1))
    return judged(
        f"residuals are roughly normal in every group and {data.within}",
        "largest skewness of a cell (figure: normal quantiles by cell)",
        max(skews, default=np.nan),
        context.guide("skewness"),
        f"{cells} cells; smallest Shapiro p, corrected for their number: {digits.p_value(chance)}.",
        "Look at the figure; F tests of means hold their rate under such shapes.",
        chance=chance,
        remedy=remedied(lambda: _other_scale(scores, codes, data)) if context.remedies else None,
    )


def _focus(data: Repeated) -> pd.Series:
    """The interaction where there is one, otherwise the effect of phases."""
    rows = data.anova[data.anova["epsilon_gg"].notna()]
    return rows.iloc[-1]


def _f_conclusion(
    label: str, row: pd.Series, p: str = "p_gg", epsilon: str = "epsilon_gg"
) -> Conclusion:
    """An F with the degrees of freedom that its p rests on: times epsilon where it is corrected."""
    share = min(1.0, float(row[epsilon])) if epsilon and np.isfinite(row[epsilon]) else 1.0
    return Conclusion(
        f"{label} {_f_of(row['df1'] * share, row['df2'] * share)}",
        float(row["statistic"]), np.nan, np.nan, float(row[p]),
    )  # fmt: skip


def _f_of(df1: float, df2: float) -> str:
    return f"F({digits.degrees_of_freedom(df1)}, {digits.degrees_of_freedom(df2)}) ="


def _own_covariances(scores: Floats, codes: NDArray[np.intp], data: Repeated) -> Remedy | None:
    test = interaction_by_group(scores, codes)
    if not np.isfinite(test.p):
        raise FitError("the groups are too small for covariances of their own.")
    row = data.anova.iloc[-1]
    after = Conclusion(
        f"{term_in_words(row['term'])}, own covariances, "
        f"F({digits.degrees_of_freedom(test.df1)}, {digits.number(test.df2, 1)}) =",
        test.statistic, np.nan, np.nan, test.p,
    )  # fmt: skip
    return Remedy(
        (_f_conclusion(term_in_words(row["term"]), row),),
        (Step("interaction with a covariance matrix for each group", (after,)),),
    )


def _mixed_model(data: Repeated) -> Remedy:
    names = {level: f"{place:03d} {level}" for place, level in enumerate(data.levels)}
    table = data.scores.assign(**{data.within: data.scores[data.within].map(names)})
    several = len(data.groups) > 1
    formula = f"score ~ group * {data.within}" if several else f"score ~ {data.within}"
    free = _enough_for_free_covariances(data)
    fit = (
        fit_mixed(formula, table, random={"participant": "0"}, variance=data.within,
                  correlation="unstructured", within=data.within, df="kenward-roger")
        if free
        else fit_mixed(formula, table, random={"participant": "1"})
    )  # fmt: skip
    term = f"group:{data.within}" if several else data.within
    columns = [place for place, name in enumerate(fit.design.fixed.assigned) if name == term]
    test = f_test(np.eye(len(fit.beta))[columns], fit.beta, fit.inference)
    row = data.anova.iloc[-1]
    corrected = ("p_gg", "epsilon_gg") if np.isfinite(row["p_gg"]) else ("p", "")
    df = f"{digits.degrees_of_freedom(test.df1)}, {digits.number(test.df2, 1)}"
    after = Conclusion(
        f"{term_in_words(term)}, mixed model F({df}) =",
        float(test.statistic), np.nan, np.nan, float(test.p),
    )  # fmt: skip
    words = f"free covariances of the {data.within}s" if free else "a random intercept"
    name = f"mixed model with {words} on all available scores"
    if not free:
        # People are too few for a covariance of their own; this test errs like sphericity assumed.
        name += f" (its test holds only where all {data.within}s scatter and correlate alike)"
    original = (_f_conclusion(term_in_words(row["term"]), row, *corrected),)
    return Remedy(original, (Step(name, (after,), decides=free),))


def _enough_for_free_covariances(data: Repeated) -> bool:
    """Four people more than entries of the covariance matrix, the groups aside.

    With fewer, Kenward-Roger tests of a free covariance were seen to fail or to exceed their rate.
    """
    people, levels = data.wide.shape
    return bool(people - len(data.groups) >= levels * (levels + 1) / 2 + SPARE_PEOPLE)


def _other_scale(scores: Floats, codes: NDArray[np.intp], data: Repeated) -> Remedy | None:
    if data.counted or (not data.ratio and scores.min() <= 0):
        return None
    other = np.exp(scores) if data.ratio else np.log(scores)
    several = len(np.unique(codes)) > 1
    found = repeated_anova(
        other, codes if several else None, within=[(data.within, scores.shape[1])]
    )
    effect, row = found[-1], data.anova.iloc[-1]
    share = effect.sphericity.epsilon_gg if effect.sphericity is not None else 1.0
    name = "raw scores" if data.ratio else "logarithms"
    after = Conclusion(
        f"{term_in_words(effect.term)} {_f_of(effect.test.df1 * share, effect.test.df2 * share)}",
        effect.test.statistic, np.nan, np.nan, effect.p_gg,
    )  # fmt: skip
    return Remedy(
        (_f_conclusion(term_in_words(row["term"]), row),),
        (Step(f"{name} (another question)", (after,), decides=False),),
    )
