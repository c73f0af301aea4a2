"""The model of level and spread beside an outcome that is a variable error."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from motorlearn.analysis.allocated import refuse_clusters, refuse_conditions
from motorlearn.analysis.questions import Question
from motorlearn.analysis.scores import OutcomeScores
from motorlearn.audit import Audit, check_assumptions
from motorlearn.design.outcomes import VARIABILITY
from motorlearn.exceptions import InputError
from motorlearn.linear import holm
from motorlearn.mixed import VariabilityFit, fit_variability
from motorlearn.results import Recipe, Refused, Result, or_refused, register_record
from motorlearn.rows import Row, Schema
from motorlearn.tables import Column, Table
from motorlearn.trials import Study

TWO_WAYS = ("bivariate_variable_error", "bivariate_variable_error_corrected")
FEWEST_TRIALS = 3
"""Trials of a person at a test below which a spread about their own mean is not modelled."""
RATIO = Schema(
    (
        Column("group"),
        Column("reference"),
        Column("test"),
        Column("kind"),
        Column("estimate", "ratio of SDs", "significant", decimals=3),
        Column("conf_low", "lower", "significant", decimals=3),
        Column("conf_high", "upper", "significant", decimals=3),
        Column("df", kind="df"),
        Column("statistic", "t", "number"),
        Column("p", "p", "p"),
        Column("p_adjusted", "p (Holm)", "p"),
    )
)
AT_TEST, CHANGE, OVER_TIME = "at the test", "change", "over time"


@register_record
@dataclass(frozen=True)
class SpreadBeside(Result):
    """Whether groups differ in how variable their performers are, from all trials of two tests.

    Attributes
    ----------
    outcome, unit : str
        The outcome of the plan that asks for it, and its unit.
    tests : tuple of (str, str)
        First and primary test.
    directions : int
        One for signed errors, two for landing points.
    fit : VariabilityFit
        Level and spread of the trials, people differing in both at each test.
    ratios : DataFrame
        ``group, reference, test, kind, estimate, conf_low, conf_high, df, statistic, p,
        p_adjusted``: ratios of standard deviations of typical performers, group by reference.
        ``kind`` is ``at the test`` for groups at the primary test, ``change`` for the ratio of
        their changes since the first, and ``over time`` for the later by the earlier test in a
        study of one group.
    audit : Audit or Refused
        Assumptions of the model.
    recipe : Recipe
        How it was made.
    """

    outcome: str
    unit: str
    tests: tuple[str, str]
    directions: int
    fit: VariabilityFit
    ratios: pd.DataFrame
    audit: Audit | Refused = field(repr=False)
    recipe: Recipe = field(repr=False)

    def tables(self) -> Sequence[Table]:
        """Ratios of standard deviations."""
        notes = (f"{self.fit.n} values of {self.fit.people} people. Lower, upper: 95 % interval.",)
        return (RATIO.table("spread_ratios", "How variable performers are", self.ratios, notes),)


def spreads_of(
    scores: Sequence[OutcomeScores], question: Question, study: Study, seed: int
) -> Mapping[str, SpreadBeside | Refused]:
    """The model of spread of every outcome that is a variable error, by name of the outcome."""
    if question.design.single_case is not None:
        return {}
    return {
        entry.outcome.name: spread_beside(entry, question, study, seed)
        for entry in scores
        if entry.measured and entry.column in VARIABILITY
    }


@or_refused
def spread_beside(
    scores: OutcomeScores, question: Question, study: Study, seed: int = 0
) -> SpreadBeside:
    """Model level and spread of the trials that a variable error is made from.

    log σ follows group by test, and people differ in level and in log σ at each test, since people
    and not trials were allocated. Landing points have a level in each direction and one spread.

    Raises
    ------
    InputError
        If there are no two tests, people were not the unit, or trials are too few.
    FitError
        If the trials do not identify the model.
    """
    refuse_clusters(study.design, "the model of spread")
    refuse_conditions(study.design, "the model of spread")
    rows, tests = _rows(scores, question)
    groups = [str(name) for name in rows["group"].cat.categories]
    both = "group * test" if len(groups) > 1 else "test"
    level, people, spread = f"{both}", "1 + test", both
    two = scores.column in TWO_WAYS
    if two:
        level, people, spread = f"({both}) * axis", "1 + test * axis", f"{both} + axis"
    elif "task" in rows and rows["task"].nunique() > 1:
        level += " + task"
    fit = fit_variability(
        f"value ~ {level}",
        rows,
        spread=spread,
        random={"participant": people},
        spread_random="1 + test",
        correlated=not two,
    )
    return SpreadBeside(
        outcome=scores.outcome.name,
        unit=scores.outcome.unit,
        tests=tests,
        directions=2 if two else 1,
        fit=fit,
        ratios=_ratios(fit, groups, tests),
        audit=or_refused(check_assumptions)(fit, study=study, seed=seed),
        recipe=fit.recipe,
    )


def _rows(scores: OutcomeScores, question: Question) -> tuple[pd.DataFrame, tuple[str, str]]:
    """Values of trials at the first and the primary test, one row for each direction."""
    late, pair = question.primary_stage, question.pair
    if pair is None or late is None or late.name == pair[0]:
        raise InputError("a model of spread needs two tests, the primary one among them")
    tests = (pair[0], late.name)
    names = ["x", "y"] if scores.column in TWO_WAYS else ["error"]
    table = scores.table[scores.table["stage"].isin(tests) & scores.present()]
    absent = [name for name in names if name not in table]
    if absent:
        raise InputError("the model of spread needs the trials themselves", absent)
    table = table.dropna(subset=names)
    present = set(table["group"].astype("str"))
    groups = [question.reference, *(name for name in question.groups if name in present)]
    groups = [name for name in dict.fromkeys(groups) if name in present]
    table = table[table["group"].isin(groups)].assign(
        test=pd.Categorical(table.loc[table["group"].isin(groups), "stage"], categories=tests),
        group=pd.Categorical(table.loc[table["group"].isin(groups), "group"], categories=groups),
    )
    _refuse_few(table)
    parts = [table.assign(axis=name, value=table[name].astype("float64")) for name in names]
    return pd.concat(parts, ignore_index=True), tests


def _refuse_few(table: pd.DataFrame) -> None:
    if table.empty:
        raise InputError("no trial of the two tests counts, so no spread can be modelled")
    counts = table.groupby(["participant", "test"], observed=True).size()
    most = int(counts.groupby("test", observed=True).median().min())
    if most < FEWEST_TRIALS:
        raise InputError(
            f"a person has {most} trials at a test (median), too few for a spread about their own "
            "mean",
            remedy=f"record {FEWEST_TRIALS} at least, better ten",
        )


def _ratios(fit: VariabilityFit, groups: list[str], tests: tuple[str, str]) -> pd.DataFrame:
    first, last = tests
    if len(groups) < 2:
        (row,) = fit.ratios("test").frame.to_dict("records")
        return RATIO.frame([_row(row, OVER_TIME, last, (last, first))])
    pairs = [(group, groups[0]) for group in groups[1:]]
    weights = {
        " - ".join(pair): [float(name == pair[0]) - float(name == pair[1]) for name in groups]
        for pair in pairs
    }
    found = fit.ratios("group", within="test", kind=weights).frame
    at = found[found["test"].astype("str") == last].to_dict("records")
    rows = [_row(row, AT_TEST, last, pair) for row, pair in zip(at, pairs, strict=True)]
    return RATIO.frame([*rows, *_changes(fit, tests)])


def _changes(fit: VariabilityFit, tests: tuple[str, str]) -> list[Row]:
    """Each group's ratio of late to early spread by that of the reference."""
    plan, frame = fit.of_spread.design.fixed, fit.estimates
    reference = plan.levels["group"][0]
    at = {
        str(dict(parts)["group"]): plan.columns.index(column)
        for column, parts in plan.parts().items()
        if {name for name, _ in parts} == {"group", "test"}
    }
    p_adjusted = holm(frame["p"].iloc[list(at.values())].to_numpy(dtype=float))
    rows = []
    for (group, place), adjusted in zip(at.items(), p_adjusted, strict=True):
        row = frame.iloc[place].to_dict()
        limits = {name: np.exp(row[name]) for name in ("estimate", "conf_low", "conf_high")}
        rows.append(
            _row(row | limits | {"p_adjusted": adjusted}, CHANGE, tests[1], (group, str(reference)))
        )
    return rows


def _row(row: Mapping[Any, Any], kind: str, test: str, pair: tuple[str, str]) -> Row:
    names = ("estimate", "conf_low", "conf_high", "df", "statistic", "p", "p_adjusted")
    named = {"group": pair[0], "reference": pair[1], "test": test, "kind": kind}
    return RATIO.row(**named, **{name: row[name] for name in names})
