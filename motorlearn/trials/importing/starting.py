"""Start a plan from what files show: groups, tests, trials; what they cannot show is asked."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields

import numpy as np
import pandas as pd

from motorlearn.trials.importing.crossed import Crossed
from motorlearn.trials.importing.recipe_text import toml_value
from motorlearn.trials.importing.said_questionnaires import AskedQuestionnaires
from motorlearn.trials.importing.said_rules import anova_text, curve_text, smallest_effect_text
from motorlearn.trials.importing.started_outcomes import outcomes_of, questions_on, units_text
from motorlearn.vocabulary import PHASES, PRACTICE_PHASE

_DELAYED = ("retention", "transfer")
_DECLARED = (*_DELAYED, "posttest")


_NONE = AskedQuestionnaires()


@dataclass(frozen=True)
class Asked:
    """What a person says about a study whose plan is started from its files.

    Parameters
    ----------
    title : str
        Title of the study.
    outcome, better, unit : str
        Primary outcome, its direction and unit. Several are separated by commas, and may name the
        column they come from: ``angle=xi_deg,timing=xi_ms``.
    groups, phases : mapping of str to str
        Code in the file to name, for example ``{"1": "pretest"}``. Names of groups may be levels of
        two factors: ``{"1": "order:blocked+aid:always"}``.
    targets : mapping of str to str
        Target of an outcome, which makes it an error, and others by part of the study:
        ``{"angle": "40", "angle@transfer": "60"}``.
    measure : str
        How errors become a score, for example ``total_error``.
    retention_days : float, optional
        Days from the last practice to the retention and transfer tests.
    primary : str
        Test that was declared as the primary one, with two groups, or one factor or both, after a
        colon where there is a choice: ``retention``, ``retention:random+blocked``.
    smallest_effect : str
        Smallest effect of interest: ``2.5`` in the unit of the outcome, ``0.5 sd``, ``0.5 baseline
        sd`` or ``0.57 average sd``; its reason after a colon.
    leave_out : sequence of str
        What does not count, and why: ``P07 at tests: hurt a wrist``, ``block > 5 at acquisition:
        further practice was free``.
    replace : sequence of str
        What stands for something else, and why: ``y = 90 by 132: the device writes 90 at the
        board``, ``x empty at tests by 33 signed: left the floor``.
    anova : str
        ``tests`` where the analysis of variance over parts of the study leaves practice out.
    curve : str
        Whether the curve of practice takes all groups together, and what varies from person to
        person: ``together, asymptote+gain``.
    questionnaires : AskedQuestionnaires
        Files of questionnaires, scales and answers.
    """

    title: str = ""
    outcome: str = ""
    better: str = ""
    unit: str = ""
    groups: Mapping[str, str] | None = None
    phases: Mapping[str, str] | None = None
    targets: Mapping[str, str] | None = None
    measure: str = ""
    retention_days: float | None = None
    primary: str = ""
    smallest_effect: str = ""
    leave_out: Sequence[str] = ()
    replace: Sequence[str] = ()
    anova: str = ""
    curve: str = ""
    questionnaires: AskedQuestionnaires = _NONE

    @property
    def adds_only(self) -> bool:
        """Whether everything that is said can be added to a plan that is there."""
        new = ("smallest_effect", "leave_out", "replace", "anova", "curve", "questionnaires")
        return all(
            getattr(self, entry.name) == entry.default
            for entry in fields(self)
            if entry.name not in new
        )


def guess_phases(codes: pd.Series, people: pd.Series) -> dict[str, str]:
    """Guess which part of a study each code stands for: the longest is practice.

    Codes before it are the pretest (several, where nobody has two of them); the first after it is
    the retention test, the second the transfer test. More codes than that cannot be guessed.

    Examples
    --------
    >>> codes = pd.Series(["1"] * 2 + ["2"] * 6 + ["3"] * 2)
    >>> guess_phases(codes, pd.Series(["P1"] * 10))
    {'1': 'pretest', '2': 'acquisition', '3': 'retention'}
    """
    counts = codes.groupby(codes).size() / people.groupby(codes).nunique()
    order = sorted(counts.index, key=_number)
    longest = int(np.argmax(counts[order].to_numpy()))
    clear = (counts[order].drop(order[longest]) < 0.75 * counts[order[longest]]).all()
    before, after = order[:longest], order[longest + 1 :]
    early = people[codes.isin(before)]
    one_each = bool(codes[codes.isin(before)].groupby(early).nunique().le(1).all())
    if len(order) < 2 or not clear or not one_each or len(after) > 2:
        return {}
    names = ["pretest"] * len(before) + [PRACTICE_PHASE, "retention", "transfer"]
    return dict(zip(order, names, strict=False))


def _number(code: str) -> tuple[float, str]:
    try:
        return float(code), code
    except ValueError:
        return np.inf, code


def started_plan(
    table: pd.DataFrame, asked: Asked, told: Crossed, rules: str
) -> tuple[str, tuple[str, ...]]:
    """Write a plan from a table in standard columns, and the questions it leaves open.

    Raises
    ------
    InputError
        If a target is no number.
    """
    outcomes = outcomes_of(
        table, asked.outcome, asked.better, asked.unit, asked.targets or {}, asked.measure
    )
    factors, order = told.factors, list(told.names.values())
    text = [
        "# Started from the data by motorlearn import: read it, correct it, fill the gaps.",
        f"[study]\ntitle = {toml_value(asked.title or 'A study from its data')}\n",
        *_factors(factors),
        *_groups(table, order),
        *_practice(table),
        *_tests(table, asked.retention_days),
        *(outcome.text() for outcome in outcomes),
        _primary(table, asked, outcomes[0].name, factors),
        _smallest(table, asked, outcomes[0].unit),
        anova_text(asked.anova),
        curve_text(asked.curve),
        *units_text(outcomes),
        rules,
    ]
    questions = [*questions_on(outcomes, said=bool(asked.outcome)), *_questions(table, asked)]
    return "\n".join(text), tuple(questions)


def _factors(factors: Mapping[str, Sequence[str]]) -> list[str]:
    return [
        f"[[factors]]\nname = {toml_value(name)}\nlevels = {toml_value(tuple(levels))}\n"
        for name, levels in factors.items()
    ]


def _primary(
    table: pd.DataFrame, asked: Asked, outcome: str, factors: Mapping[str, Sequence[str]]
) -> str:
    """Write the primary comparison that was said to be declared; else one to take or leave."""
    tests = [p for p in _DECLARED if "phase" in table and p in set(table["phase"])]
    several = "group" in table and table["group"].nunique() > 1
    if not asked.primary and not (tests and several):
        return ""
    test, _, compared = (asked.primary or tests[0]).partition(":")
    lines = ["[primary]", f"outcome = {toml_value(outcome)}", f"phase = {toml_value(test.strip())}"]
    names = tuple(name.strip() for name in compared.split("+") if name.strip())
    names = names or tuple(factors)
    if names:
        key = "factors" if set(names) <= set(factors) else "groups"
        lines.append(f"{key} = {toml_value(names)}")
    if asked.primary:
        return "\n".join([*lines, ""])
    question = "? Was a primary comparison declared before the data were seen? If so: (--primary)"
    return "".join(f"# {line}\n" for line in (question, *lines))


def _smallest(table: pd.DataFrame, asked: Asked, unit: str) -> str:
    """Write the smallest effect of interest as it was said; else the section to fill in."""
    several = "group" in table and table["group"].nunique() > 1
    if asked.smallest_effect or not several:
        return smallest_effect_text(asked.smallest_effect)
    of = f"a number in {unit}" if unit else "a number in the unit of the outcome"
    return (
        f"# ? Was a smallest effect of interest declared before the data were seen ({of}, or of "
        "standard deviations)? If so: (--smallest-effect)\n# [smallest_effect]\n# value =\n"
    )


def _groups(table: pd.DataFrame, order: Sequence[str]) -> list[str]:
    if "group" not in table:
        return ['[[groups]]\nname = "everybody"\n']
    sizes = table.groupby("group", sort=True)["participant"].nunique()
    sizes = sizes.sort_index(key=lambda names: names.map([*order, *names].index), kind="stable")
    named = [f"[[groups]]\nname = {toml_value(n)}\nsize = {size}\n" for n, size in sizes.items()]
    # Data do not show who allocated people, and how: nothing is claimed for the author.
    return [*named, '[allocation]\nmethod = "own"\n'] if len(named) > 1 else named


def _usual(table: pd.DataFrame, phase: str) -> pd.DataFrame:
    """Rows of a phase with the number of their block, and the usual number of trials."""
    return table[table["phase"] == phase] if "phase" in table else table


def _per_person(rows: pd.DataFrame) -> int:
    if "attempts" in rows and rows["attempts"].notna().any():
        return int(rows.groupby("participant")["attempts"].sum().mode().iloc[0]) or 1
    return int(rows.groupby("participant").size().mode().iloc[0])


def _practice(table: pd.DataFrame) -> list[str]:
    rows = _usual(table, PRACTICE_PHASE) if "phase" in table else table.iloc[:0]
    if rows.empty:
        return []
    several = "session" in rows and rows["session"].notna().any()
    sessions = sorted(rows["session"].dropna().unique()) if several else [1]
    written = []
    for place, session in enumerate(sessions):
        mine = rows[rows["session"] == session] if several else rows
        trials = _per_person(mine)
        known = "block" in mine and mine["block"].notna().any()
        blocks = int(mine.groupby("participant")["block"].nunique().mode().iloc[0]) if known else 1
        each = max(1, round(trials / blocks))
        written.append(
            f"[[practice]]\nsession = {int(session)}\nday = {place}\nblocks = {blocks}\n"
            f"trials_per_block = {each}\n"
        )
    return written


def _tests(table: pd.DataFrame, days: float | None) -> list[str]:
    if "phase" not in table:
        return [f'[[tests]]\nphase = "posttest"\ntrials = {_per_person(table)}\n']
    written = []
    for phase in PHASES:
        rows = table[table["phase"] == phase]
        if phase == PRACTICE_PHASE or rows.empty:
            continue
        named = "test" in rows and rows["test"].fillna("").ne("").any()
        parts = rows.groupby("test", sort=False) if named else [("", rows)]
        for name, part in parts:
            line = f"name = {toml_value(name)}\n" if name else ""
            late = f"interval_days = {days:g}\n" if days is not None and phase in _DELAYED else ""
            trials = f"trials = {_per_person(part)}\n"
            written.append(f'[[tests]]\nphase = "{phase}"\n{line}{trials}{late}')
    return written or [f'[[tests]]\nphase = "posttest"\ntrials = {_per_person(table)}\n']


def _questions(table: pd.DataFrame, asked: Asked) -> list[str]:
    found = []
    delayed = [p for p in _DELAYED if "phase" in table and p in set(table["phase"])]
    if delayed and asked.retention_days is None:
        found.append(
            f"How long after the last practice was the {' and the '.join(delayed)} test? "
            "(--retention-days, or interval_days of [[tests]])"
        )
    if "phase" not in table:
        found.append(
            "No column says which part of the study a row is of: it was taken as one test."
        )
    if "group" in table and all(str(n).isdecimal() for n in table["group"].dropna().unique()):
        found.append("What are the groups called? (--groups 1=...,2=..., or import.levels)")
    if "group" in table and table["group"].nunique() > 1:
        found.append(
            "Did chance decide who came into which group, and how? (method of [allocation])"
        )
    strange = _strange(table)
    if strange:
        found.append(
            f"Which parts of the study are {', '.join(strange)}? (--phases, or import.levels)"
        )
    return found


def _strange(table: pd.DataFrame) -> Sequence[str]:
    if "phase" not in table:
        return ()
    return [str(name) for name in table["phase"].dropna().unique() if name not in PHASES]
