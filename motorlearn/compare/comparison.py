"""What a comparison of phases gives."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pandas as pd

from motorlearn.results import Recipe, Result, register_record
from motorlearn.tables import Column, Table

CONTRAST_COLUMNS = (
    "phase",
    "group",
    "reference",
    "effect",
    "adjusted",
    "estimate",
    "std_error",
    "df",
    "statistic",
    "p",
    "p_adjusted",
    "conf_low",
    "conf_high",
    "g",
    "g_low",
    "g_high",
    "n_group",
    "n_reference",
    "method",
)
MEAN_COLUMNS = ("phase", "group", "n", "mean", "sd", "conf_low", "conf_high")
ADJUSTED_COLUMNS = ("phase", "group", "estimate", "std_error", "df", "conf_low", "conf_high")
OMNIBUS_COLUMNS = ("phase", "term", "df1", "df2", "statistic", "p", "partial_eta2", "method")
ANOVA_COLUMNS = (
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
    "method",
)
INTERACTION_COLUMNS = (
    "term",
    "from_phase",
    "to_phase",
    "group",
    "reference",
    "effect",
    "estimate",
    "std_error",
    "df1",
    "df",
    "statistic",
    "p",
    "conf_low",
    "conf_high",
    "n_group",
    "n_reference",
    "method",
)
PAIRED_COLUMNS = (
    "group",
    "from_phase",
    "to_phase",
    "effect",
    "n",
    "estimate",
    "std_error",
    "df",
    "statistic",
    "p",
    "conf_low",
    "conf_high",
    "g",
    "g_low",
    "g_high",
    "method",
)
EQUIVALENCE_COLUMNS = (
    "phase",
    "group",
    "reference",
    "effect",
    "adjusted",
    "estimate",
    "bound_low",
    "bound_high",
    "p_low",
    "p_high",
    "p",
    "conf_low",
    "conf_high",
    "equivalent",
    "method",
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
        g. What could not be computed is a row whose ``method`` says why.
    omnibus : DataFrame
        Tests of all groups at each phase, of the baseline's slope and of parallel slopes.
    interaction : DataFrame
        Group by phase: the F test of the mixed analysis of variance, then differences between
        groups in the change from one phase to another.
    anova : DataFrame
        Mixed analysis of variance of complete cases, type III, with sphericity corrections.
    paired : DataFrame
        Change between phases within each group.
    equivalence : DataFrame
        Two one-sided tests of every contrast; empty where no bound was declared.
    mixed : DataFrame
        The contrasts by a mixed model; empty unless that route was asked for.
    statements : tuple of str
        What the design cannot show.
    recipe : Recipe
        How it was made; ``left_out`` names every row and person that is missing.
    """

    scores: pd.DataFrame = field(repr=False)
    means: pd.DataFrame
    adjusted_means: pd.DataFrame
    contrasts: pd.DataFrame
    omnibus: pd.DataFrame
    interaction: pd.DataFrame
    anova: pd.DataFrame
    paired: pd.DataFrame
    equivalence: pd.DataFrame
    mixed: pd.DataFrame
    statements: tuple[str, ...]
    recipe: Recipe

    def tables(self) -> Sequence[Table]:
        """Contrasts first (changes, where there is one group), then the rest that is not empty."""
        found = [
            _contrast_table("contrasts", "Groups compared in each phase", self.contrasts, self),
            _contrast_table("mixed", "Groups compared by a mixed model", self.mixed, self),
            _table("paired", "Change within each group", self.paired, _PAIRED),
            _table("means", "Means of participants", self.means, _MEANS),
            _table("adjusted_means", "Means adjusted for the baseline", self.adjusted_means, _ADJ),
            _table("interaction", "Group by phase", self.interaction, _INTERACTION),
            anova_table(self.anova),
            _table("omnibus", "Tests of all groups", self.omnibus, _OMNIBUS),
            _table("equivalence", "Equivalence", self.equivalence, _EQUIVALENCE),
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
    statements : tuple of str
        What these scores cannot show.
    recipe : Recipe
        How it was made and who was left out.
    """

    scores: pd.DataFrame = field(repr=False)
    means: pd.DataFrame
    anova: pd.DataFrame
    statements: tuple[str, ...]
    recipe: Recipe

    def tables(self) -> Sequence[Table]:
        """The analysis of variance, then the means."""
        means = (Column("block"), *_MEANS[1:])
        return (
            anova_table(self.anova),
            _table("means", "Means of participants", self.means, means),
        )


_INTERVAL = (
    Column("conf_low", "lower", "significant", decimals=4),
    Column("conf_high", "upper", "significant", decimals=4),
)
_T = (Column("df", "df", "df"), Column("statistic", "t", "number"), Column("p", "p", "p"))
_ESTIMATE = Column("estimate", "estimate", "significant", decimals=4)
_ERROR = Column("std_error", "standard error", "significant", decimals=3)
_G = (
    Column("g", "Hedges g", "number"),
    Column("g_low", "g lower", "number"),
    Column("g_high", "g upper", "number"),
)
_MEANS = (
    Column("phase"),
    Column("group"),
    Column("n", kind="count"),
    Column("mean", kind="significant", decimals=4),
    Column("sd", "SD", "significant", decimals=3),
    *_INTERVAL,
)
_ADJ = (
    Column("phase"),
    Column("group"),
    _ESTIMATE,
    _ERROR,
    Column("df", "df", "df"),
    *_INTERVAL,
)
_CONTRASTS = (
    Column("phase"),
    Column("group"),
    Column("reference"),
    Column("effect"),
    Column("adjusted", kind="flag"),
    _ESTIMATE,
    *_INTERVAL,
    *_T,
    Column("p_adjusted", "p (Holm)", "p"),
    *_G,
    Column("n_group", "n", "count"),
    Column("n_reference", "n reference", "count"),
    Column("method"),
)
_PAIRED = (
    Column("group"),
    Column("from_phase", "from"),
    Column("to_phase", "to"),
    Column("effect"),
    Column("n", kind="count"),
    _ESTIMATE,
    *_INTERVAL,
    *_T,
    *_G,
    Column("method"),
)
_INTERACTION = (
    Column("term"),
    Column("from_phase", "from"),
    Column("to_phase", "to"),
    Column("group"),
    Column("reference"),
    _ESTIMATE,
    *_INTERVAL,
    Column("df1", "df 1", "df"),
    Column("df", "df", "df"),
    Column("statistic", "F or t", "number"),
    Column("p", "p", "p"),
    Column("method"),
)
_OMNIBUS = (
    Column("phase"),
    Column("term"),
    Column("df1", "df 1", "df"),
    Column("df2", "df 2", "df"),
    Column("statistic", "F", "number"),
    Column("p", "p", "p"),
    Column("partial_eta2", "partial η²", "number", decimals=3),
    Column("method"),
)
_ANOVA = (
    Column("term"),
    Column("sum_sq", "sum of squares", "significant", decimals=4),
    Column("df1", "df 1", "df"),
    Column("df2", "df 2", "df"),
    Column("statistic", "F", "number"),
    Column("p", "p", "p"),
    Column("p_gg", "p (GG)", "p"),
    Column("p_hf", "p (HF)", "p"),
    Column("epsilon_gg", "ε (GG)", "number", decimals=3),
    Column("epsilon_hf", "ε (HF)", "number", decimals=3),
    Column("mauchly_w", "Mauchly W", "number", decimals=3),
    Column("mauchly_p", "p (W)", "p"),
    Column("partial_eta2", "partial η²", "number", decimals=3),
    Column("generalised_eta2", "generalised η²", "number", decimals=3),
)
_EQUIVALENCE = (
    Column("phase"),
    Column("group"),
    Column("reference"),
    Column("adjusted", kind="flag"),
    _ESTIMATE,
    *_INTERVAL,
    Column("bound_low", "bound", "significant", decimals=4),
    Column("bound_high", "bound", "significant", decimals=4),
    Column("p", "p", "p"),
    Column("equivalent", kind="flag"),
    Column("method"),
)


def anova_table(anova: pd.DataFrame) -> Table:
    """Table of an analysis of variance with its method beneath."""
    notes = tuple(dict.fromkeys(anova["method"])) if len(anova) else ()
    return Table("anova", "Analysis of variance", _ANOVA, anova, notes)


def _contrast_table(name: str, title: str, rows: pd.DataFrame, result: PhaseComparison) -> Table:
    return Table(name, title, _CONTRASTS, rows, result.statements)


def _table(name: str, title: str, rows: pd.DataFrame, columns: Sequence[Column]) -> Table:
    return Table(name, title, tuple(columns), rows)
