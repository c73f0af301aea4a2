"""What a design cannot show, said in sentences that stand beside the numbers."""

from collections.abc import Hashable, Sequence

import numpy as np

from motorlearn.compare.participants import PhaseScores
from motorlearn.vocabulary import DELAYED_PHASES, PHASE_LABELS, PHASES, PRACTICE_PHASE

FEW_TRIALS = 10
"""Trials below which one person's score is called weak (common practice, no source)."""


def design_limits(data: PhaseScores, baseline: Hashable | None) -> tuple[str, ...]:
    """Sentences on what these data cannot show, the weightiest first."""
    found = [
        _nobody_twice(data),
        _one_group(data),
        _no_baseline(data, baseline),
        _no_delayed_test(data),
        _practice(data),
        _progress(data),
        _unequal_trials(data),
        _few_trials(data),
        _tiny_groups(data),
        _losses(data),
    ]
    return tuple(sentence for sentence in found if sentence)


def losses(data: PhaseScores) -> list[str]:
    """Participants without a score in some phase, with their group."""
    lost = np.flatnonzero(np.isnan(data.scores).any(axis=1))
    return [f"{data.participants[i]} ({data.groups[data.codes[i]]})" for i in lost]


def listed(names: Sequence[str], most: int = 12) -> str:
    """Names joined by commas; after so many the rest is counted."""
    rest = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + rest


def _nobody_twice(data: PhaseScores) -> str:
    if len(data.phases) < 2 or (np.isfinite(data.scores).sum(axis=1) > 1).any():
        return ""
    return (
        "Nobody has a score in two phases: either the identifiers of people changed between tests, "
        "or they number trials; then people, not trials, must be the unit, and none of these "
        "intervals and p values holds."
    )


def _one_group(data: PhaseScores) -> str:
    if len(data.groups) > 1:
        return ""
    return (
        "There is one group and nothing to compare it with: a change between tests cannot be told "
        "apart from repeated testing, maturation, other practice and regression to the mean, so "
        "the change is described and its cause is not shown."
    )


def _no_baseline(data: PhaseScores, baseline: Hashable | None) -> str:
    if baseline is not None:
        return ""
    if set(data.phases) & set(PHASES) and "pretest" not in data.phases:
        groups = (
            " and differences between groups may have been there from the start"
            if len(data.groups) > 1
            else ""
        )
        return (
            "There is no test before practice, so no change from a starting point can be stated"
            f"{groups}."
        )
    if len(data.groups) < 2:
        return ""
    return (
        "No baseline was named, so no comparison is adjusted for where participants started; "
        "baseline= names the test before practice."
    )


def _no_delayed_test(data: PhaseScores) -> str:
    standard = set(data.phases) & set(PHASES)
    if not standard or standard & set(DELAYED_PHASES):
        return ""
    return (
        "There is no test after a gap without practice: these scores describe performance and "
        "cannot show what lasts."
    )


def _practice(data: PhaseScores) -> str:
    if PRACTICE_PHASE not in data.phases:
        return ""
    return (
        f"{PHASE_LABELS[PRACTICE_PHASE]} scores are performance under the conditions of practice; "
        "a difference between groups there may be gone, or turned round, at a delayed test."
    )


def _progress(data: PhaseScores) -> str:
    if "progress" not in data.phases:
        return ""
    return (
        "Progress tests lie inside the programme, with recent practice behind them, and are not "
        "tests of retention."
    )


def _unequal_trials(data: PhaseScores) -> str:
    spans = []
    for i, phase in enumerate(data.phases):
        counts = data.trials[:, i][data.trials[:, i] > 0]
        if counts.size and counts.min() < counts.max():
            spans.append(f"{counts.min()} to {counts.max()} in {phase}")
    if not spans:
        return ""
    return (
        "Participants' scores rest on unequal numbers of trials ("
        + listed(spans)
        + ") and count alike here; a mixed model weighs them by what they hold."
    )


def _few_trials(data: PhaseScores) -> str:
    # One row per person and phase means that the table was aggregated, not that one trial was done.
    few = [
        f"{phase}: {counts[counts > 0].min()}"
        for phase, counts in zip(data.phases, data.trials.T)
        if counts.max() > 1 and counts[counts > 0].min() < FEW_TRIALS
    ]
    if not few:
        return ""
    return (
        f"Some scores rest on fewer than {FEW_TRIALS} trials ({listed(few)} at the least; a rule "
        "of thumb): they say little about one person, and noise in the baseline weakens the "
        "adjustment."
    )


def _tiny_groups(data: PhaseScores) -> str:
    sizes = np.bincount(data.codes, minlength=len(data.groups))
    small = [f"{data.groups[i]} has {sizes[i]}" for i in np.flatnonzero(sizes < 5)]
    if not small:
        return ""
    return (
        f"Some groups are very small ({listed(small)}): intervals are wide and rest on the assumed "
        "shape of the distribution."
    )


def _losses(data: PhaseScores) -> str:
    lost = losses(data)
    if not lost:
        return ""
    return (
        f"Without a score in at least one phase, and not in the mixed analysis of variance, are "
        f"{len(lost)} of {len(data.participants)} participants: {listed(lost)}; if they differ "
        "from the others, the complete cases do not speak for all."
    )
