"""Phases against each other within groups, and whether the groups differ in that."""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import asdict
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd

from motorlearn.compare.between import NO_ESTIMATE, Comparing, standardised
from motorlearn.compare.comparison import ANOVA, INTERACTION, PAIRED, how
from motorlearn.compare.participants import Scores
from motorlearn.exceptions import FitError
from motorlearn.linear.repeated import RepeatedEffect, repeated_anova
from motorlearn.linear.samples import one_sample
from motorlearn.measures.effect_sizes import NO_EFFECT, StandardisedEffect, paired_g
from motorlearn.rows import Row
from motorlearn.vocabulary import PRACTICE_PHASE

PAIRED_T = "paired t"


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
            row = PAIRED.row(
                group=group,
                from_phase=first,
                to_phase=second,
                effect=comparing.effect,
                n=before.size,
                **how(PAIRED_T + comparing.of_what(), reason),
                **comparing.told(result),
                **standardised(effect),
            )
            rows.append(row)
    return PAIRED.frame(rows)


def changes_between_groups(
    comparing: Comparing,
    pairs: Sequence[tuple[Hashable, Hashable]],
    anova: pd.DataFrame,
) -> pd.DataFrame:
    """Group by phase: the F test, then the difference between groups in each change."""
    tests = anova[anova["term"] == "group:phase"].to_dict("records")
    rows = [_interaction_test(comparing, test) for test in tests]
    for first, second in pairs:
        for group, reference in comparing.pairs:
            a, b = (_changes(comparing, name, first, second) for name in (group, reference))
            result, method = NO_ESTIMATE, "not computed: two participants per group are needed"
            if min(a.size, b.size) >= 2:
                result, method = comparing.two_samples(a, b)
                method += comparing.of_what("the participants' changes")
            row = INTERACTION.row(
                term="group:change",
                from_phase=first,
                to_phase=second,
                group=group,
                reference=reference,
                effect=comparing.effect,
                df1=1.0,
                n_group=a.size,
                n_reference=b.size,
                method=method,
                **comparing.told(result),
            )
            rows.append(row)
    # The test of all groups has no group; labels stay as they are, whichever rows there are.
    return INTERACTION.frame(rows).astype(dict.fromkeys(INTERACTION.of_kind("text"), object))


def _interaction_test(comparing: Comparing, test: Mapping[Hashable, Any]) -> Row:
    return INTERACTION.row(
        term=test["term"],
        from_phase=None,
        to_phase=None,
        group=None,
        reference=None,
        effect=comparing.effect,
        df1=test["df1"],
        df=test["df2"],
        statistic=test["statistic"],
        p=test["p_gg"],
        method=test["method"] + ", Greenhouse-Geisser p",
    )


def mixed_anova(comparing: Comparing, *, within: str = "phase") -> pd.DataFrame:
    """Analysis of variance of the complete cases, groups by phases, type III.

    With one group it has the phases only; a group without a complete case is left out and named.
    """
    data, values = comparing.data, comparing.values
    if len(data.phases) < 2:
        return ANOVA.frame()
    complete = ~np.isnan(values).any(axis=1)
    present = [i for i in range(len(data.groups)) if (data.codes[complete] == i).any()]
    codes = np.searchsorted(present, data.codes[complete])
    absent = [str(name) for i, name in enumerate(data.groups) if i not in present]
    method = f"type III, {int(complete.sum())} complete {comparing.things}" + comparing.suffix
    if absent:
        method += f", no complete case in {', '.join(absent)}"
    counts = np.bincount(data.codes[complete], minlength=len(data.groups)).tolist()
    few = comparing.too_few(dict(zip(data.groups, counts))) if comparing.clusters else ""
    if few:
        return ANOVA.frame([ANOVA.row(term=f"group:{within}", **how("", few))])
    try:
        effects = repeated_anova(values[complete], codes, within=[(within, len(data.phases))])
    except (FitError, ValueError) as problem:
        return ANOVA.frame([ANOVA.row(term=f"group:{within}", **how("", str(problem)))])
    return ANOVA.frame([anova_row(effect, method) for effect in effects])


def anova_row(effect: RepeatedEffect, method: str) -> Row:
    test, shape = effect.test, effect.sphericity
    corrected = asdict(shape) if shape else {}
    corrected.pop("epsilon_hf_raw", None)
    return ANOVA.row(
        term=effect.term,
        sum_sq=test.sum_sq,
        df1=test.df1,
        df2=test.df2,
        statistic=test.statistic,
        p=test.p,
        p_gg=effect.p_gg,
        p_hf=effect.p_hf,
        partial_eta2=test.partial_eta2,
        generalised_eta2=effect.generalised_eta2,
        method=method,
        **corrected,
    )


def _both(
    comparing: Comparing, group: Hashable, first: Hashable, second: Hashable
) -> tuple[Scores, Scores]:
    mine = comparing.data.codes == comparing.data.groups.index(group)
    before, after = comparing.at(first)[mine], comparing.at(second)[mine]
    both = ~np.isnan(before) & ~np.isnan(after)
    return before[both], after[both]


def _changes(comparing: Comparing, group: Hashable, first: Hashable, second: Hashable) -> Scores:
    before, after = _both(comparing, group, first, second)
    return after - before


def _no_change(before: Scores, after: Scores) -> str:
    if before.size < 2:
        return f"{before.size} participants have both scores"
    if not np.ptp(after - before) > 0:
        return "everybody changed by the same amount"
    return ""


def _standardised_change(before: Scores, after: Scores, level: float) -> StandardisedEffect:
    spread = before.std(ddof=1), after.std(ddof=1)
    if not min(spread) > 0:
        return NO_EFFECT
    correlation = float(np.corrcoef(before, after)[0, 1])
    return paired_g(
        (before.mean(), spread[0]), (after.mean(), spread[1]), correlation, before.size, level=level
    )
