"""Limitations that follow from the design and the data, and deviations from the plan."""

from collections.abc import Callable, Sequence
from typing import Final

import pandas as pd

from motorlearn.compare import Limit
from motorlearn.design import Design
from motorlearn.digits import count
from motorlearn.vocabulary import (
    BLOCKS_NUMBERED,
    LEVEL_MAPPED,
    SMALL_GROUP,
    WHOLE_NUMBERS,
    capitalised,
)
from motorlearn.wording.voice import listed

_NO_VALUE: Final = ("original file", "column renamed", WHOLE_NUMBERS, BLOCKS_NUMBERED)


def limitations(
    design: Design,
    flow: pd.DataFrame,
    limits: Sequence[Limit] = (),
    name_of: Callable[[str], str] = str,
) -> list[str]:
    """List what this study cannot show, one sentence or two each.

    Parameters
    ----------
    design : Design
        The plan.
    flow : DataFrame
        ``group, stage, n``; the first stage is the allocation.
    limits : sequence of Limit
        What the comparisons themselves cannot show.
    name_of : callable
        How a test is called.
    """
    found = [limit.sentence(name_of) for limit in dict.fromkeys(limits)]
    if design.single_case is not None:
        return found
    found += _of_design(design, {limit.kind for limit in limits})
    if flow.empty:
        return found
    stages = flow["stage"].drop_duplicates()
    first = flow[flow["stage"] == stages.iloc[0]].set_index("group")["n"]
    last = flow[flow["stage"] == stages.iloc[-1]].set_index("group")["n"]
    last = last.reindex(first.index).fillna(0)
    if not last.any():
        return [*found, "Nobody has a score at the last test: it is to come, or rows are missing."]
    told = _of_conditions if design.within is not None else _of_people
    return found + told(first, last)


def _not_by_chance(design: Design) -> str:
    known = design.allocation.method == "none"
    said = "The groups were not" if known else "The plan does not say that the groups were"
    return (
        f"{said} allocated at random, so differences between them can have other causes than the "
        "practice schedule."
    )


def _of_design(design: Design, said: set[str]) -> list[str]:
    found = []
    phases = {test.phase for test in design.tests}
    if len(design.groups) == 1 and "one group" not in said:
        found.append(
            "With one group only, the effects of repeated testing, of time and of regression to "
            "the mean cannot be told from those of the programme."
        )
    if "pretest" not in phases and "no pretest" not in said:
        found.append(
            "Without a pretest, scores after practice have no starting point to be compared with."
        )
    if not design.has_delayed_test and "no delayed test" not in said:
        found.append(
            "Every test stood inside or straight after the programme, so the scores speak about "
            "performance at that time and about nothing that lasts."
        )
    if "progress" in phases and "progress" not in said:
        found.append(
            "Progress tests inside the programme have recent practice behind them and are not "
            "retention tests."
        )
    if not design.allocation.by_chance and len(design.groups) > 1:
        found.append(_not_by_chance(design))
    if design.allocation.clusters and "clusters" not in said:
        found.append(
            f"What was allocated is the {design.allocation.clusters}, not the person; no test of "
            "people is made."
        )
    if design.primary is None:
        found.append("No primary comparison was declared beforehand; all comparisons explore.")
    if design.smallest_effect is None:
        found.append(
            "No smallest effect of interest was declared beforehand, so intervals that include "
            "the null value cannot be judged for equivalence."
        )
    return found


def _of_people(first: pd.Series, last: pd.Series) -> list[str]:
    found = []
    lost = first.sum() - last.sum()
    if lost > 0:
        shares = [
            f"{group} {int(a - b)} of {int(a)}"
            for group, a, b in zip(first.index, first, last, strict=True)
        ]
        found.append(
            f"Of {count(int(first.sum()), 'allocated participant')}, {int(lost)} had no usable "
            f"score at the last test ({listed(shares)}); those who stay can differ from those who "
            "leave."
        )
    if not last.min():
        nobody = listed([str(group) for group in last.index[last == 0]])
        found.append(f"Nobody of {nobody} has a score at the last test, so nothing is said of it.")
    elif last.min() < SMALL_GROUP:
        found.append(
            f"The smallest group had {count(int(last.min()), 'participant')} at the last test; "
            "estimates from so few people are uncertain, and an observed effect is a poor guide "
            "to the size of a true one."
        )
    return found


def _of_conditions(first: pd.Series, last: pd.Series) -> list[str]:
    """The same people stand under every condition."""
    if last.min() >= SMALL_GROUP:
        return []
    return [
        f"Under {last.idxmin()} {int(last.min())} of {count(int(first.max()), 'participant')} had "
        "a usable score at the last test; estimates from so few people are uncertain, and an "
        "observed effect is a poor guide to the size of a true one."
    ]


def deviations(problems: pd.DataFrame, left_out: pd.DataFrame, changes: pd.DataFrame) -> list[str]:
    """List departures from the plan that the data show.

    Parameters
    ----------
    problems : DataFrame
        ``rule, severity, value, …`` as reading found them.
    left_out : DataFrame
        ``participant, group, reason, rows``.
    changes : DataFrame
        Values that were altered on the way, ``rule`` included.
    """
    found = []
    for severity in ("error", "doubt"):
        rules = problems.loc[problems["severity"] == severity, "rule"].value_counts(sort=False)
        found += [f"{rule} ({count(n, severity)})." for rule, n in rules.items()]
    reasons = left_out.groupby("reason", sort=False)["participant"].nunique()
    found += [f"Left out: {count(n, 'participant')}, {reason}." for reason, n in reasons.items()]
    values = changes[~changes["rule"].isin(_NO_VALUE)]
    mapped = values["rule"] == LEVEL_MAPPED
    if mapped.any():
        found.append(f"Named on reading: {count(int(mapped.sum()), 'code')} of the file, by the "
                     "recipe.")  # fmt: skip
    altered = values.loc[~mapped, "rule"].value_counts(sort=False)
    found += [f"Altered on reading: {count(n, 'value')}, {rule}." for rule, n in altered.items()]
    return [capitalised(text) for text in found]
