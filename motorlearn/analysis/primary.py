"""The one comparison a study stands on, as a row of values."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from motorlearn.analysis.crossed import effect_row, turned
from motorlearn.analysis.questions import Question
from motorlearn.compare import PhaseComparison
from motorlearn.compare.crossing import JOINT
from motorlearn.compare.schemas import EQUIVALENCE, VERDICT
from motorlearn.compare.verdicts import judged
from motorlearn.design import primary_levels
from motorlearn.results import Refused

NAMES = ("estimate", "conf_low", "conf_high", "df", "statistic", "p", "g")


@dataclass(frozen=True)
class Primary:
    """The primary row with what belongs to it; fields of the analysis of the study."""

    primary: pd.DataFrame
    refused: str
    adjusted: bool
    method: str
    equivalence: pd.DataFrame


def primary_answer(
    outcome: str, comparison: PhaseComparison | Refused, question: Question
) -> Primary:
    """The declared comparison at its test, or why these data do not hold it.

    Groups are compared where there are two or more; one group's answer is its paired change.
    """
    stage = question.primary_stage
    if isinstance(comparison, Refused):
        return _none(outcome, question, comparison.reason)
    if stage is None:
        return _none(outcome, question, f"there are no trials of {_wanted(question)} yet")
    if len(question.groups) < 2:
        return _change(outcome, question, comparison)
    return _contrast(outcome, question, comparison, stage.name)


def _wanted(question: Question) -> str:
    primary = question.design.primary
    return "any test" if primary is None else primary.test or f"the {primary.phase} test"


def _contrast(outcome: str, question: Question, comparison: PhaseComparison, stage: str) -> Primary:
    row = contrast_row(comparison, question, stage)
    if row is None:
        lost = [name for name in question.design.group_names if name not in question.groups]
        crossed = question.design.factors and lost
        reason = f"no trials in the cell {lost[0]}" if crossed else ""
        return _none(outcome, question, reason or "the groups cannot be compared at this test")
    return Primary(
        _frame(outcome, question, row, str(row["group"]), str(row["reference"])),
        _refused(row),
        bool(row["adjusted"]),
        str(row["method"]),
        equivalence_rows(comparison, row),
    )


def contrast_row(comparison: PhaseComparison, question: Question, stage: str) -> pd.Series | None:
    """The contrast of the groups that the plan names at a test, adjusted where that was done.

    Examples
    --------
    >>> import motorlearn as ml
    >>> from motorlearn.analysis.questions import question_of
    >>> plan = ml.design.design_from_mapping({
    ...     "study": {"title": "Ring push"},
    ...     "groups": [{"name": "blocked"}, {"name": "random"}],
    ...     "tests": [{"phase": "pretest", "trials": 20},
    ...               {"phase": "retention", "trials": 20, "interval_days": 7}],
    ...     "outcomes": [{"name": "radial_error", "better": "lower"}],
    ...     "target": {"radius": 20},
    ... })
    >>> scores = pd.DataFrame({
    ...     "participant": list("abcdef") * 2,
    ...     "group": ["blocked", "random"] * 6,
    ...     "stage": ["pretest"] * 6 + ["retention"] * 6,
    ...     "radial_error": [38, 36, 41, 40, 35, 37, 28, 25, 31, 26, 27, 25.0],
    ... })
    >>> found = ml.compare_phases(
    ...     scores, "radial_error", group="group", phase="stage", baseline="pretest"
    ... )
    >>> row = contrast_row(found, question_of(plan, scores), "retention")
    >>> row["group"], row["reference"], round(float(row["estimate"]), 3)
    ('random', 'blocked', -3.154)
    """
    if question.design.primary is not None and question.design.primary.factors:
        return effect_row(comparison, question, stage)
    rows = comparison.contrasts
    rows = rows[rows["phase"] == stage]
    if rows["adjusted"].any():
        rows = rows[rows["adjusted"]]
    named = question.design.primary.groups if question.design.primary is not None else ()
    if len(named) > 1:
        rows = rows[rows["group"].isin(named[:2]) & rows["reference"].isin(named[:2])]
    return None if rows.empty else rows.iloc[0]


def equivalence_rows(comparison: PhaseComparison, row: pd.Series) -> pd.DataFrame:
    """Two one-sided tests of a contrast; empty where no bound was declared."""
    tests = comparison.equivalence
    if row.get("kind", ""):
        return _of_effect(tests, row)
    same = pd.Series(True, index=tests.index)
    for name in ("phase", "group", "reference", "adjusted"):
        same &= tests[name] == row[name]
    return tests[same].reset_index(drop=True)


def _of_effect(tests: pd.DataFrame, row: pd.Series) -> pd.DataFrame:
    """Equivalence of an effect; its bounds serve for either direction."""
    mine = (tests["phase"] == row["phase"]) & (tests["adjusted"] == row["adjusted"])
    same = (tests["group"] == row["group"]) & (tests["reference"] == row["reference"])
    other = (tests["group"] == row["reference"]) & (tests["reference"] == row["group"])
    found = tests[mine & same]
    found = found if len(found) else turned(tests[mine & other])
    return found.reset_index(drop=True)


def _change(outcome: str, question: Question, comparison: PhaseComparison) -> Primary:
    pair, paired = question.pair, comparison.paired
    if pair is None:
        return _none(outcome, question, "there is one test only, so no change can be told")
    rows = paired[(paired["from_phase"] == pair[0]) & (paired["to_phase"] == pair[1])]
    if rows.empty:
        return _none(outcome, question, "nobody has a score at both tests")
    row = rows.iloc[0]
    told = row.rename({"n": "n_group"})
    told["n_reference"] = row["n"]
    return Primary(
        _frame(outcome, question, told, question.groups[0], pair[0]),
        _refused(row),
        False,
        str(row["method"]),
        EQUIVALENCE.frame(),
    )


def _refused(row: pd.Series) -> str:
    """Why a row holds no estimate; empty where it holds one."""
    told = row["p"] if row.get("effect", "") == JOINT else row["estimate"]
    return "" if np.isfinite(told) else str(row["reason"]) or str(row["method"])


def _none(outcome: str, question: Question, reason: str) -> Primary:
    row = pd.Series(dict.fromkeys(NAMES, np.nan) | {"n_group": 0, "n_reference": 0})
    several = len(question.groups) > 1
    pair = question.pair
    group, reference = question.groups[0], pair[0] if pair else ""
    if several:
        named = question.design.primary.groups if question.design.primary is not None else ()
        named = named or primary_levels(question.design) or ()
        others = [name for name in question.groups if name != question.reference]
        group, reference = named[0] if named else others[0], question.reference
        if question.design.primary is not None and question.design.primary.factors:
            reference = named[1]
    return Primary(
        _frame(outcome, question, row, group, reference),
        reason,
        False,
        "",
        EQUIVALENCE.frame(),
    )


def _frame(
    outcome: str, question: Question, row: pd.Series, group: str, reference: str
) -> pd.DataFrame:
    stage, primary = question.primary_stage, question.design.primary
    wanted = primary.phase if primary is not None else ""
    effect = str(row.get("effect", question.outcomes[0].effect))
    values = {
        "outcome": outcome,
        "phase": stage.phase if stage is not None else wanted,
        "test": stage.short if stage is not None else _wanted(question),
        "group": group,
        "reference": reference,
        "effect": effect,
        "null": 1.0 if effect in ("ratio", "odds ratio") else 0.0,
        **{name: float(row[name]) for name in NAMES},
        "n_group": int(row["n_group"]),
        "n_reference": int(row["n_reference"]),
    }
    return pd.DataFrame([values])


def claimed(row: pd.Series, tests: pd.DataFrame, question: Question) -> dict[str, Any] | None:
    """The verdict that the plan aims at, of the primary contrast; None where it aims at none.

    ``aim, bound_low, bound_high, conf_low, conf_high, level, p, shown``, or the ``reason`` why it
    was not judged; see :func:`motorlearn.compare.verdicts.judged`.

    Examples
    --------
    >>> import motorlearn as ml
    >>> from motorlearn.analysis.questions import question_of
    >>> plan = ml.design.design_from_mapping({
    ...     "study": {"title": "Ring push"},
    ...     "groups": [{"name": "blocked"}, {"name": "random"}],
    ...     "tests": [{"phase": "retention", "trials": 20, "interval_days": 7}],
    ...     "outcomes": [{"name": "hits", "better": "higher"}],
    ...     "primary": {"outcome": "hits", "aim": "non-inferiority"},
    ...     "smallest_effect": {"value": 2},
    ... })
    >>> table = pd.DataFrame({"group": ["blocked", "random"], "stage": "retention"})
    >>> question = question_of(plan, table)
    >>> row = pd.Series({"estimate": 0.5, "std_error": 0.8, "df": 14.0, "effect": "difference"})
    >>> found = claimed(row, pd.DataFrame({"bound_high": [2.0]}), question)
    >>> found["bound_low"], round(found["conf_low"], 2), found["shown"]
    (-2.0, -1.22, True)
    """
    primary = question.design.primary
    if primary is None or primary.aim == "difference":
        return None
    edge = float(tests["bound_high"].iloc[0]) if len(tests) else float("nan")
    edge = float(np.log(edge)) if row["effect"] == "ratio" else edge
    better = question.outcomes[0].outcome.better
    named = {str(name): value for name, value in row.items()}
    return VERDICT.row(**judged(named, primary.aim, edge, better))
