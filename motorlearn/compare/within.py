"""Phases against each other within groups, and whether the groups differ in that."""

from collections.abc import Hashable, Sequence
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.compare.between import NAN, NO_ESTIMATE, Comparing
from motorlearn.compare.comparison import ANOVA_COLUMNS, INTERACTION_COLUMNS, PAIRED_COLUMNS
from motorlearn.exceptions import FitError
from motorlearn.linear.repeated import RepeatedEffect, repeated_anova
from motorlearn.linear.samples import one_sample, welch
from motorlearn.measures.effect_sizes import NO_EFFECT, StandardisedEffect, paired_g
from motorlearn.vocabulary import PRACTICE_PHASE

_WORDS = ("term", "from_phase", "to_phase", "group", "reference", "effect", "method")
_COUNTS = ("n_group", "n_reference")
PAIRED = "paired t of participants' scores"


def phase_pairs(
    phases: Sequence[Hashable], baseline: Hashable | None
) -> list[tuple[Hashable, Hashable]]:
    """Pairs of phases worth comparing: from the baseline, from practice, and from test to test.

    Examples
    --------
    >>> phase_pairs(("pretest", "posttest", "retention"), "pretest")
    [('pretest', 'posttest'), ('pretest', 'retention'), ('posttest', 'retention')]
    """
    start = phases[0] if baseline is None else baseline
    pairs = [(start, phase) for phase in phases if phase != start]
    if PRACTICE_PHASE in phases:
        later = phases[list(phases).index(PRACTICE_PHASE) + 1 :]
        pairs += [(PRACTICE_PHASE, phase) for phase in later]
    pairs += list(pairwise(phases))
    return list(dict.fromkeys(pairs))


def paired_changes(
    comparing: Comparing, pairs: Sequence[tuple[Hashable, Hashable]]
) -> pd.DataFrame:
    """Change of each group between two phases, later minus earlier (or later by earlier)."""
    rows = []
    for group in comparing.data.groups:
        for first, second in pairs:
            before, after = _both(comparing, group, first, second)
            result, effect, reason = NO_ESTIMATE, NO_EFFECT, _no_change(before, after)
            if before.size:
                result = one_sample(after - before, level=comparing.level)
            if not reason:
                effect = _standardised_change(before, after, comparing.level)
            shown, *limits = comparing.shown_estimate(result)
            rows.append(
                (
                    group, first, second, comparing.effect, before.size, shown,
                    result.std_error, result.df, result.statistic, result.p, *limits,
                    effect.g, effect.conf_low, effect.conf_high,
                    reason or PAIRED + comparing.suffix,
                )
            )  # fmt: skip
    return pd.DataFrame(rows, columns=list(PAIRED_COLUMNS))


def changes_between_groups(
    comparing: Comparing,
    pairs: Sequence[tuple[Hashable, Hashable]],
    anova: pd.DataFrame,
) -> pd.DataFrame:
    """Group by phase: the F test, then the difference between groups in each change."""
    rows = [
        (
            row.term, None, None, None, None, comparing.effect, NAN, NAN, row.df1, row.df2,
            row.statistic, row.p_gg, NAN, NAN, 0, 0, row.method + ", Greenhouse-Geisser p",
        )
        for row in anova.itertuples()
        if row.term == "group:phase"
    ]  # fmt: skip
    for first, second in pairs:
        for group, reference in comparing.pairs:
            a, b = (
                np.subtract(*reversed(_both(comparing, name, first, second)))
                for name in (group, reference)
            )
            result, method = NO_ESTIMATE, "not computed: two participants per group are needed"
            if min(a.size, b.size) >= 2:
                result = welch(a, b, level=comparing.level)
                method = "Welch t of the participants' changes" + comparing.suffix
            shown, *limits = comparing.shown_estimate(result)
            rows.append(
                (
                    "group:change", first, second, group, reference, comparing.effect, shown,
                    result.std_error, 1.0, result.df, result.statistic, result.p, *limits,
                    a.size, b.size, method,
                )
            )  # fmt: skip
    # Group labels may be numbers; the rows without a group must not turn them into floats.
    frame = pd.DataFrame(rows, columns=list(INTERACTION_COLUMNS), dtype=object)
    numbers = [name for name in INTERACTION_COLUMNS if name not in (*_WORDS, *_COUNTS)]
    return frame.astype(dict.fromkeys(numbers, float) | dict.fromkeys(_COUNTS, int))


def mixed_anova(comparing: Comparing, *, within: str = "phase") -> pd.DataFrame:
    """Analysis of variance of the complete cases, groups by phases, type III.

    With one group it has the phases only; a group without a complete case is left out and named.
    """
    data, values = comparing.data, comparing.values
    if len(data.phases) < 2:
        return pd.DataFrame(columns=list(ANOVA_COLUMNS))
    complete = ~np.isnan(values).any(axis=1)
    present = [i for i in range(len(data.groups)) if (data.codes[complete] == i).any()]
    codes = np.searchsorted(present, data.codes[complete])
    absent = [str(name) for i, name in enumerate(data.groups) if i not in present]
    method = f"type III, {int(complete.sum())} complete participants" + comparing.suffix
    if absent:
        method += f", no complete case in {', '.join(absent)}"
    try:
        effects = repeated_anova(values[complete], codes, within=[(within, len(data.phases))])
    except (FitError, ValueError) as problem:
        row = (f"group:{within}", *(NAN,) * 13, f"not computed: {problem}")
        return pd.DataFrame([row], columns=list(ANOVA_COLUMNS))
    return pd.DataFrame([_row(effect, method) for effect in effects], columns=list(ANOVA_COLUMNS))


def _row(effect: RepeatedEffect, method: str) -> tuple:
    test, shape = effect.test, effect.sphericity
    return (
        effect.term,
        test.sum_sq,
        test.df1,
        test.df2,
        test.statistic,
        test.p,
        effect.p_gg,
        effect.p_hf,
        shape.epsilon_gg if shape else NAN,
        shape.epsilon_hf if shape else NAN,
        shape.mauchly_w if shape else NAN,
        shape.mauchly_p if shape else NAN,
        test.partial_eta2,
        effect.generalised_eta2,
        method,
    )


def _both(
    comparing: Comparing, group: Hashable, first: Hashable, second: Hashable
) -> tuple[NDArray, NDArray]:
    mine = comparing.data.codes == comparing.data.groups.index(group)
    before, after = comparing.at(first)[mine], comparing.at(second)[mine]
    both = ~np.isnan(before) & ~np.isnan(after)
    return before[both], after[both]


def _no_change(before: NDArray, after: NDArray) -> str:
    if before.size < 2:
        return f"not computed: {before.size} participants have both scores"
    if not np.ptp(after - before) > 0:
        return "not computed: everybody changed by the same amount"
    return ""


def _standardised_change(before: NDArray, after: NDArray, level: float) -> StandardisedEffect:
    spread = before.std(ddof=1), after.std(ddof=1)
    if not min(spread) > 0:
        return NO_EFFECT
    correlation = float(np.corrcoef(before, after)[0, 1])
    return paired_g(
        (before.mean(), spread[0]), (after.mean(), spread[1]), correlation, before.size, level=level
    )
