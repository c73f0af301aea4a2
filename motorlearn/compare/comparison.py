"""What a comparison of phases gives."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pandas as pd

from motorlearn.compare.clusters import CLUSTER
from motorlearn.compare.limits import Limit
from motorlearn.compare.schemas import (
    BLOCK_POSTHOC,
    EFFECT,
    EQUIVALENCE,
    ERROR,
    ESTIMATE,
    ETA,
    INTERVAL,
    MARGINAL,
    PAIR,
    PERIODS,
    POSTHOC,
    SIZES,
    SLOPE,
    STEP,
    TRENDS,
    VERDICT,
    G,
    P,
    T,
)
from motorlearn.results import Recipe, Result, register_record
from motorlearn.rows import Row, Schema
from motorlearn.tables import Column, Table

MEAN = Schema(
    (
        Column("phase"),
        Column("group"),
        Column("n", kind="count"),
        Column("mean", kind="significant", decimals=4),
        Column("sd", "SD", "significant", decimals=3),
        *INTERVAL,
    )
)
BLOCK_MEAN = MEAN.renamed(phase="block")
ADJUSTED = Schema(
    (
        Column("phase"),
        Column("group"),
        ESTIMATE,
        ERROR,
        Column("df", "df", "df"),
        *INTERVAL,
    )
)
CONTRAST = Schema(
    (
        Column("phase"),
        *PAIR,
        Column("adjusted", kind="flag"),
        ESTIMATE,
        ERROR,
        *T,
        Column("p_adjusted", "p (Holm)", "p"),
        *INTERVAL,
        *G,
        *SIZES,
        Column("method"),
        Column("reason"),
    ),
    shown=(
        "phase",
        "group",
        "reference",
        "effect",
        "adjusted",
        "estimate",
        "conf_low",
        "conf_high",
        "df",
        "statistic",
        "p",
        "p_adjusted",
        "g",
        "g_low",
        "g_high",
        "n_group",
        "n_reference",
        "method",
    ),
)
PAIRED = Schema(
    (
        Column("group"),
        *STEP,
        Column("effect"),
        Column("n", kind="count"),
        ESTIMATE,
        ERROR,
        *T,
        *INTERVAL,
        *G,
        Column("method"),
        Column("reason"),
    ),
    shown=(
        "group",
        "from_phase",
        "to_phase",
        "effect",
        "n",
        "estimate",
        "conf_low",
        "conf_high",
        "df",
        "statistic",
        "p",
        "g",
        "g_low",
        "g_high",
        "method",
    ),
)


def how(method: str, reason: str = "") -> Row:
    """How a row was computed, or why it holds no estimate."""
    return {"method": f"not computed: {reason}" if reason else method, "reason": reason}


INTERACTION = Schema(
    (
        Column("term"),
        *STEP,
        *PAIR,
        ESTIMATE,
        ERROR,
        Column("df1", "df 1", "df"),
        Column("df", "df", "df"),
        Column("statistic", "F or t", "number"),
        P,
        *INTERVAL,
        *SIZES,
        Column("method"),
    ),
    shown=(
        "term", "from_phase", "to_phase", "group", "reference", "estimate", "conf_low",
        "conf_high", "df1", "df", "statistic", "p", "method",
    ),
)  # fmt: skip
OMNIBUS = Schema(
    (
        Column("phase"),
        Column("term"),
        Column("df1", "df 1", "df"),
        Column("df2", "df 2", "df"),
        Column("statistic", "F", "number"),
        P,
        ETA,
        Column("method"),
    )
)
ANOVA = Schema(
    (
        Column("term"),
        Column("sum_sq", "sum of squares", "significant", decimals=4),
        Column("df1", "df 1", "df"),
        Column("df2", "df 2", "df"),
        Column("statistic", "F", "number"),
        P,
        Column("p_gg", "p (GG)", "p"),
        Column("p_hf", "p (HF)", "p"),
        Column("epsilon_gg", "ε (GG)", "number", decimals=3),
        Column("epsilon_hf", "ε (HF)", "number", decimals=3),
        Column("mauchly_w", "Mauchly W", "share"),
        Column("mauchly_p", "p (W)", "p"),
        ETA,
        Column("generalised_eta2", "generalised η²", "share"),
        Column("method"),
        Column("reason"),
    ),
    shown=(
        "term",
        "sum_sq",
        "df1",
        "df2",
        "statistic",
        "p",
        "p_gg",
        "p_hf",
        "epsilon_gg",
        "epsilon_hf",
        "mauchly_w",
        "mauchly_p",
        "partial_eta2",
        "generalised_eta2",
    ),
)


@register_record
@dataclass(frozen=True)
class PhaseComparison(Result):
    """Groups compared in every phase of a study, and phases within groups.

    Parameters
    ----------
    scores : DataFrame
        ``participant, group, phase, score, n_trials``: what everything below is made from.
    means : DataFrame
        ``phase, group, n, mean, sd, conf_low, conf_high``: of participants, with t intervals.
    adjusted_means : DataFrame
        ``phase, group, estimate, std_error, df, conf_low, conf_high`` at the grand mean of the
        baseline; geometric means where the effect is a ratio.
    contrasts : DataFrame
        One row per phase, group, reference and adjustment. ``estimate`` is group minus reference,
        or group by reference for a ratio, whose ``std_error`` is on the log scale. ``g`` is Hedges
        g. What could not be computed is a row whose ``reason`` says why.
    omnibus : DataFrame
        Tests of all groups at each phase, of the baseline's slope and of parallel slopes.
    interaction : DataFrame
        Group by phase: the F test of the mixed analysis of variance, then differences between
        groups in the change from one phase to another.
    anova : DataFrame
        Mixed analysis of variance of complete cases, type III, with sphericity corrections.
    paired : DataFrame
        Change between phases within each group.
    posthoc : DataFrame
        Every later phase against every earlier one, averaged over groups with equal weight, among
        complete participants; each pair with its own standard error and df, p by Holm.
    equivalence : DataFrame
        Two one-sided tests of every contrast; empty where no bound was declared.
    mixed : DataFrame
        The contrasts by a mixed model; empty unless that route was asked for.
    limits : tuple of Limit
        What the design cannot show; ``statements`` says it in sentences.
    recipe : Recipe
        How it was made; ``left_out`` names every row and person that is missing.
    effects : DataFrame
        Of two factors: main effects (averaged over the other factor, cells with equal weight),
        the interaction as a difference of differences, and simple effects, in ``kind``; ``group``
        minus ``reference`` are levels of the first factor of ``term``, ``at`` one of the other.
        ``p_adjusted`` is Holm's within the pairs of a main effect, of the interaction, or the
        simple effects of one factor. Empty where groups are not crossed.
    marginal_means : DataFrame
        Mean of each level of each factor, cells of the other factor with equal weight.
    slopes : DataFrame
        Slope of the baseline and of each covariate in the analysis of covariance of each phase,
        with its R².
    verdicts : DataFrame
        Equivalence, non-inferiority, superiority and minimum effect of every contrast against the
        declared bound; ``shown`` says whether it was.
    people : DataFrame
        ``participant`` and the columns of the covariates, where there are any.
    clusters : DataFrame
        Where classes were allocated (``unit``): ``phase, clusters, people, smallest, largest, icc,
        icc_low, icc_high, design_effect, counts_as, false_positives``; everything else is of class
        means, and ``participant`` and every n are those of classes. Otherwise empty.
    periods : DataFrame
        Where conditions were compared within people: difference between periods, and between
        sequences in people's means (carry-over), at each phase. Otherwise empty.
    """

    scores: pd.DataFrame = field(repr=False)
    means: pd.DataFrame
    adjusted_means: pd.DataFrame
    contrasts: pd.DataFrame
    omnibus: pd.DataFrame
    interaction: pd.DataFrame
    anova: pd.DataFrame
    paired: pd.DataFrame
    posthoc: pd.DataFrame
    equivalence: pd.DataFrame
    mixed: pd.DataFrame
    limits: tuple[Limit, ...]
    recipe: Recipe
    effects: pd.DataFrame = field(default_factory=EFFECT.frame)
    marginal_means: pd.DataFrame = field(default_factory=MARGINAL.frame)
    slopes: pd.DataFrame = field(default_factory=SLOPE.frame)
    verdicts: pd.DataFrame = field(default_factory=VERDICT.frame)
    people: pd.DataFrame = field(default_factory=pd.DataFrame, repr=False)
    clusters: pd.DataFrame = field(default_factory=CLUSTER.frame)
    periods: pd.DataFrame = field(default_factory=PERIODS.frame)

    @property
    def statements(self) -> tuple[str, ...]:
        """What the design cannot show, in sentences."""
        return tuple(limit.sentence() for limit in self.limits)

    def tables(self) -> Sequence[Table]:
        """Contrasts first (changes, where there is one group), then the rest that is not empty."""
        notes = self.statements
        found = [
            CONTRAST.table("contrasts", "Groups compared in each phase", self.contrasts, notes),
            EFFECT.table("effects", "Effects of the factors", self.effects, notes),
            MARGINAL.table("marginal_means", "Means of the levels", self.marginal_means),
            CONTRAST.table("mixed", "Groups compared by a mixed model", self.mixed, notes),
            PAIRED.table("paired", "Change within each group", self.paired),
            POSTHOC.table("posthoc", "Tests against each other, over groups", self.posthoc),
            CLUSTER.table("clusters", "What was allocated as a whole", self.clusters),
            PERIODS.table("periods", "Periods, and what an order leaves behind", self.periods),
            MEAN.table("means", "Means of participants", self.means),
            ADJUSTED.table(
                "adjusted_means", "Means adjusted for the baseline", self.adjusted_means
            ),
            INTERACTION.table("interaction", "Group by phase", self.interaction),
            anova_table(self.anova),
            OMNIBUS.table("omnibus", "Tests of all groups", self.omnibus),
            SLOPE.table("slopes", "Baseline and covariates", self.slopes),
            EQUIVALENCE.table("equivalence", "Equivalence", self.equivalence),
            VERDICT.table("verdicts", "Verdicts against the bound", self.verdicts),
        ]
        return tuple(table for table in found if len(table.rows))


@register_record
@dataclass(frozen=True)
class BlockComparison(Result):
    """Groups compared over the blocks of practice.

    Parameters
    ----------
    scores, means : DataFrame
        As in :class:`PhaseComparison`, with ``block`` in place of ``phase``.
    anova : DataFrame
        Mixed analysis of variance, groups by blocks, with sphericity corrections.
    posthoc : DataFrame
        Every later block against every earlier one, averaged over groups with equal weight, among
        complete participants; each pair with its own standard error and df, p by Holm.
    trends : DataFrame
        Linear, quadratic and cubic trend over the blocks in the unit of the scores, averaged over
        groups, and the F test of the groups in each.
    statements : tuple of str
        What these scores cannot show.
    recipe : Recipe
        How it was made and who was left out.
    """

    scores: pd.DataFrame = field(repr=False)
    means: pd.DataFrame
    anova: pd.DataFrame
    posthoc: pd.DataFrame
    trends: pd.DataFrame
    statements: tuple[str, ...]
    recipe: Recipe

    def tables(self) -> Sequence[Table]:
        """The analysis of variance, the means, trends and pairs of blocks."""
        return (
            anova_table(self.anova),
            BLOCK_MEAN.table("means", "Means of participants", self.means),
            TRENDS.table("trends", "Trends over the blocks", self.trends),
            BLOCK_POSTHOC.table("posthoc", "Blocks against each other", self.posthoc),
        )


def anova_table(anova: pd.DataFrame) -> Table:
    """Table of an analysis of variance with its method beneath."""
    notes = tuple(dict.fromkeys(anova["method"])) if len(anova) else ()
    return ANOVA.table("anova", "Analysis of variance", anova, notes)
