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
from motorlearn.linear.factorial import crossed_columns, factorial_anova
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
    crossing = comparing.crossing
    by_phase = [f"{term}:phase" for term in (crossing.terms if crossing else ("group",))]
    tests = anova[anova["term"].isin(by_phase)].to_dict("records")
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
    return INTERACTION.frame(rows).astype(dict.fromkeys(INTERACTION.texts, object))


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


def mixed_anova(
    comparing: Comparing, *, within: str = "phase", squares: str = "III"
) -> pd.DataFrame:
    """Analysis of variance of the complete cases, groups by phases, type III.

    With one group it has the phases only; a group without a complete case is left out and named.
    Two factors, covariates and type II are those of :mod:`motorlearn.linear.factorial`.
    """
    data, values = comparing.data, comparing.values
    if comparing.crossing is not None or comparing.covariates is not None or squares == "II":
        return _factorial(comparing, within, squares)
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


def _factorial(comparing: Comparing, within: str, squares: str) -> pd.DataFrame:
    """Terms between people by phases; of one phase the terms alone."""
    data, values, crossing = comparing.data, comparing.values, comparing.crossing
    complete = np.asarray(~np.isnan(values).any(axis=1))
    if comparing.covariates is not None:
        complete &= np.asarray(~np.isnan(comparing.covariates.values).any(axis=1))
    codes = data.codes[complete]
    first = "group" if crossing is None else crossing.terms[2]
    absent = [str(name) for i, name in enumerate(data.groups) if not (codes == i).any()]
    if absent:
        reason = f"no complete case in {', '.join(absent)}"
        return ANOVA.frame([ANOVA.row(term=first, **how("", reason))])
    beside = (
        f", adjusted for {', '.join(comparing.covariates.names)}" if comparing.covariates else ""
    )
    method = f"type {squares}{beside}, {int(complete.sum())} complete participants"
    phases = [(within, len(data.phases))] if len(data.phases) > 1 else []
    terms = _terms(comparing, complete)
    try:
        effects = factorial_anova(values[complete], terms, within=phases, kind=squares)
    except FitError as problem:
        return ANOVA.frame([ANOVA.row(term=first, **how("", str(problem)))])
    return ANOVA.frame([anova_row(effect, method + comparing.suffix) for effect in effects])


def cells_anova(scores: Scores, codes: np.ndarray, *, within: str) -> pd.DataFrame:
    """Analysis of variance of complete scores, cells by phases, factors and covariates aside."""
    several = len(np.unique(codes)) > 1
    try:
        effects = repeated_anova(
            scores, codes if several else None, within=[(within, scores.shape[1])]
        )
    except (FitError, ValueError) as problem:
        return ANOVA.frame([ANOVA.row(term=f"group:{within}", **how("", str(problem)))])
    return ANOVA.frame([anova_row(effect, f"type III, {len(scores)} people") for effect in effects])


def _terms(comparing: Comparing, complete: np.ndarray) -> dict[str, Scores]:
    """Columns between people: groups or factors, and covariates as deviations from their means."""
    codes, more = comparing.data.codes[complete], comparing.covariates
    terms: dict[str, Scores] = {}
    if comparing.crossing is not None:
        terms |= crossed_columns(comparing.crossing.codes(codes))
    elif len(comparing.data.groups) > 1:
        terms |= crossed_columns({"group": codes})
    for name in more.names if more is not None else ():
        assert more is not None
        block = more.values[complete][:, [term == name for term in more.terms]]
        terms[name] = block - block.mean(axis=0)
    return terms


def anova_row(effect: RepeatedEffect, method: str) -> Row:
    """Row of one effect of an analysis of variance."""
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
        return f"{'only 1' if before.size else 'no'} participant has both scores"
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
