"""Start a plan from what files show: groups, tests, trials; what they cannot show is asked."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from motorlearn.trials.importing.recipe_text import toml_value
from motorlearn.vocabulary import PHASES, PRACTICE_PHASE

_BETTER = {"hit": "higher", "hits": "higher", "score": "higher", "speed": "higher"}
_UNITS = {"x": "length", "y": "length", "radial_error": "length", "error": "error"}
_FIRST = ("radial_error", "hits", "hit", "error", "time", "speed", "score")
_NOT_SCORES = frozenset({"session", "block", "trial", "attempts", "feedback", "index"})


@dataclass(frozen=True)
class Asked:
    """What a person says about a study whose plan is started from its files.

    Parameters
    ----------
    title : str
        Title of the study.
    outcome, better, unit : str
        Primary outcome, its direction and unit.
    groups, phases : mapping of str to str
        Code in the file to name, for example ``{"1": "pretest"}``.
    """

    title: str = ""
    outcome: str = ""
    better: str = ""
    unit: str = ""
    groups: Mapping[str, str] | None = None
    phases: Mapping[str, str] | None = None


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


def started_plan(table: pd.DataFrame, asked: Asked) -> tuple[str, tuple[str, ...]]:
    """Write a plan from a table in standard columns, and the questions it leaves open."""
    outcome = asked.outcome or outcome_of(table)
    better = asked.better or _BETTER.get(outcome, "lower")
    text = [
        "# Started from the data by motorlearn import: read it, correct it, fill the gaps.",
        f"[study]\ntitle = {toml_value(asked.title or 'A study from its data')}\n",
        *_groups(table),
        *_practice(table),
        *_tests(table),
        _outcome(outcome, better, asked.unit),
        *_units(table, outcome, asked.unit),
    ]
    return "\n".join(text), tuple(_questions(table, asked, outcome, better))


def outcome_of(table: pd.DataFrame) -> str:
    """The outcome that the columns suggest: a standard one, else the first fine measurement."""
    if {"x", "y"} <= set(table):
        return "radial_error"
    for name in _FIRST:
        if name in table and table[name].notna().any():
            return name
    numeric = [
        str(name)
        for name in table
        if pd.api.types.is_numeric_dtype(table[name]) and str(name).lower() not in _NOT_SCORES
    ]
    fine = [name for name in numeric if not (table[name].dropna() % 1 == 0).all()]
    return next(iter([*fine, *numeric]), "score")


def _groups(table: pd.DataFrame) -> list[str]:
    if "group" not in table:
        return ['[[groups]]\nname = "everybody"\n']
    sizes = table.groupby("group", sort=True)["participant"].nunique()
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


def _tests(table: pd.DataFrame) -> list[str]:
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
            written.append(f'[[tests]]\nphase = "{phase}"\n{line}trials = {_per_person(part)}\n')
    return written or [f'[[tests]]\nphase = "posttest"\ntrials = {_per_person(table)}\n']


def _outcome(outcome: str, better: str, unit: str) -> str:
    said = f"unit = {toml_value(unit)}\n" if unit else ""
    return f"[[outcomes]]\nname = {toml_value(outcome)}\n{said}better = {toml_value(better)}\n"


def _units(table: pd.DataFrame, outcome: str, unit: str) -> list[str]:
    quantity = _UNITS.get(outcome, outcome if outcome in ("time", "speed") else "")
    return [f"[units]\n{quantity} = {toml_value(unit)}\n"] if unit and quantity else []


def _questions(table: pd.DataFrame, asked: Asked, outcome: str, better: str) -> list[str]:
    found = []
    if not asked.outcome:
        found.append(
            f"The outcome was taken to be {outcome}, {better} is better: is it? (--outcome, "
            "--better, --unit, or [[outcomes]])"
        )
    elif not asked.unit and outcome not in ("hit", "hits"):
        found.append(f"In which unit is {outcome}? (--unit, or [[outcomes]])")
    delayed = [
        p for p in ("retention", "transfer") if "phase" in table and p in set(table["phase"])
    ]
    if delayed:
        found.append(
            f"How long after the last practice was the {' and the '.join(delayed)} test? "
            "(interval_days of [[tests]])"
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
