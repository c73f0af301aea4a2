"""Rules and a bound that a person declares with an import, in one line each.

``22 at tests: never came close`` leaves out; ``y = 90 by 132: the device writes 90`` replaces.
"""

import re
from collections.abc import Sequence
from typing import Any, Final, get_args

import pandas as pd

from motorlearn.design.programme import CurvePlan
from motorlearn.design.smallest import SmallestEffect
from motorlearn.exceptions import InputError
from motorlearn.trials.importing.recipe_text import toml_value
from motorlearn.trials.importing.started_rules import ProposedRule
from motorlearn.vocabulary import PHASES

_RULE: Final = re.compile(
    r"(?P<what>.+?)(?:\s+at\s+(?P<where>[^:]+?))?(?:\s+by\s+(?P<by>[^:]+?))?\s*:\s*(?P<why>\S.*)"
)
_CELLS: Final = re.compile(
    r"(?P<column>.+?)\s*(?:(?P<sign>[=<>])\s*(?P<number>\S+)|\s(?P<no>empty))"
)
_KEYS: Final = {"=": "equals", ">": "above", "<": "below"}
_TAKEN: Final = ("largest", "smallest", "mean", "worst")
_LEAVE_OUT: Final = "for example 'P07 at tests: hurt a wrist' or 'block > 5 at acquisition: free'"
_REPLACE: Final = (
    "for example 'y = 90 by 132: what the device writes at the board' or 'x empty at tests by "
    "largest: left the floor'"
)
_BOUND: Final = re.compile(r"(\d*\.?\d+)\s*(.*)")
_PARTS: Final = ("tests", "tests and practice")
_GROUPS: Final = ("together", "apart")
_FORMS: Final = get_args(CurvePlan.model_fields["form"].annotation)
_SDS: Final = ("sd", "baseline sd", "average sd")


def said_rules(
    leave_out: Sequence[str], replace: Sequence[str], table: pd.DataFrame | None = None
) -> list[ProposedRule]:
    """Read rules as they were said, and check them against the trials where these are there.

    Raises
    ------
    InputError
        If a line is no rule, or names a person or a column that the trials do not have.

    Examples
    --------
    >>> rule = said_rules((), ["x empty at tests by 33 signed: left the floor"])[0]
    >>> rule.keys
    {'column': 'x', 'phases': ['tests'], 'missing': True, 'reason': 'left the floor', \
'value': 33, 'sign': 'mean'}
    """
    rules = [_left_out(text) for text in leave_out] + [_replaced(text) for text in replace]
    if table is not None:
        for rule in rules:
            _is_there(rule.keys, table)
    return rules


def _parts(text: str, example: str) -> tuple[str, list[str], str, str]:
    found = _RULE.fullmatch(text.strip())
    if found is None:
        raise InputError("a rule says what it touches and, after a colon, why", [text], example)
    where = [part.strip() for part in (found["where"] or "").split(",") if part.strip()]
    return found["what"].strip(), where, (found["by"] or "").strip(), found["why"].strip()


def _condition(what: str) -> dict[str, Any] | None:
    """Column and condition; None where none is said."""
    found = _CELLS.fullmatch(what)
    if found is None:
        return None
    condition = (
        {"missing": True} if found["no"] else {_KEYS[found["sign"]]: _number(found["number"])}
    )
    return {"column": found["column"], **condition}


def _number(text: str) -> float | int:
    try:
        value = float(text)
    except ValueError:
        raise InputError("a rule compares with a number", [text], "for example 'y = 90'") from None
    return int(value) if value == round(value) else value


def _left_out(text: str) -> ProposedRule:
    what, where, by, why = _parts(text, _LEAVE_OUT)
    if by:
        raise InputError("what is left out is not replaced by something", [text], _LEAVE_OUT)
    condition = _condition(what)
    people = [name.strip() for name in what.split(",") if name.strip()]
    touched = condition or {"participants": people}
    named = {"rule": _told(what, where), **touched, **({"phases": where} if where else {})}
    return ProposedRule("exclusions", "", {**named, "reason": why}, taken=True)


def _told(what: str, where: Sequence[str]) -> str:
    return f"{what} at {', '.join(where)}" if where else what


def _replaced(text: str) -> ProposedRule:
    what, where, by, why = _parts(text, _REPLACE)
    condition = _condition(what)
    if condition is None or not by:
        raise InputError(
            "a replacement says which cells of a column, and by what", [text], _REPLACE
        )
    keys = {"column": condition.pop("column"), **({"phases": where} if where else {}), **condition}
    keys |= {"reason": why, **_value(by)}
    return ProposedRule("replacements", "", keys, taken=True)


def _value(by: str) -> dict[str, Any]:
    if by in _TAKEN:
        return {"take": by}
    number, _, sign = by.partition(" ")
    if sign.strip() not in ("", "signed"):
        raise InputError(
            "a value is put in by a number or by what the person has there",
            [by],
            f"a number, 'NUMBER signed', {' or '.join(_TAKEN)}",
        )
    return {"value": _number(number), **({"sign": "mean"} if sign else {})}


def _is_there(keys: dict[str, Any], table: pd.DataFrame) -> None:
    people = sorted(set(keys.get("participants", ())) - set(table["participant"].astype("str")))
    if people:
        raise InputError(
            "a rule names somebody, or a condition, that the trials do not have", people, _LEAVE_OUT
        )
    column = keys.get("column")
    if column is not None and column not in table:
        raise InputError(
            "a rule names a column the trials do not have",
            [column],
            f"they have {', '.join(map(str, table.columns))}",
        )
    there = {"tests", *_values(table, "phase"), *_values(table, "test")}
    strange = [part for part in keys.get("phases", ()) if part not in {*there, *PHASES}]
    if strange:
        raise InputError(
            "a rule names a part of the study that the trials do not have",
            strange,
            f"they have {', '.join(sorted(there))}",
        )


def _values(table: pd.DataFrame, name: str) -> set[str]:
    return set(table[name].dropna().astype("str")) - {""} if name in table else set()


def anova_text(said: str) -> str:
    """Write ``[anova]``: whether practice is one of the parts that are analysed together.

    Raises
    ------
    InputError
        If it is neither ``tests`` nor ``tests and practice``.
    """
    if said not in ("", *_PARTS):
        raise InputError(
            "the analysis of variance takes the tests, or the tests and practice",
            [said],
            f"say {' or '.join(map(repr, _PARTS))}",
        )
    return f"[anova]\nparts = {toml_value(said)}\n" if said else ""


def curve_text(said: str) -> str:
    """Write ``[curve]``: groups together or apart, what varies between people, and the form.

    Raises
    ------
    InputError
        If something else is said.

    Examples
    --------
    >>> print(curve_text("together, asymptote+gain"))
    [curve]
    groups = "together"
    vary = ["asymptote", "gain"]
    <BLANKLINE>
    """
    words = [word for part in said.split(",") for word in [part.strip().lower()] if word]
    groups = [word for word in words if word in _GROUPS]
    others = [(word, re.sub("[ -]", "_", word)) for word in words if word not in _GROUPS]
    forms = [name for _, name in others if name in _FORMS]
    varies = [
        tuple(w.strip() for w in word.split("+")) for word, name in others if name not in _FORMS
    ]
    known = all(set(names) <= set(CurvePlan().vary) for names in varies)
    if max(len(groups), len(varies), len(forms)) > 1 or not known:
        raise InputError(
            "a curve of practice is for groups together or apart, lets asymptote, gain or rate "
            f"vary from person to person, and has one form ({', '.join(_FORMS)})",
            [said],
            "for example 'together', 'asymptote+gain', or 'together, asymptote+gain, power'",
        )
    lines = [f"groups = {toml_value(name)}" for name in groups]
    lines += [f"vary = {toml_value(names)}" for names in varies]
    lines += [f"form = {toml_value(name)}" for name in forms]
    return "\n".join(["[curve]", *lines, ""]) if lines else ""


def smallest_effect_text(said: str) -> str:
    """Write ``[smallest_effect]`` from a number, or a number of standard deviations: and why.

    Raises
    ------
    InputError
        If it is no number above 0, or counts something else.

    Examples
    --------
    >>> print(smallest_effect_text("0.57 average sd: what a coach would see"))
    [smallest_effect]
    value = 0.57
    unit = "average sd"
    reason = "what a coach would see"
    <BLANKLINE>
    """
    if not said.strip():
        return ""
    number, _, reason = (part.strip() for part in said.partition(":"))
    found = _BOUND.fullmatch(number)
    unit = found[2].strip().lower() if found else ""
    if found is None or float(found[1]) <= 0 or unit not in ("", *_SDS):
        raise InputError(
            "the smallest effect of interest is a number above 0 in the unit of the outcome, or "
            "of standard deviations",
            [said],
            f"for example 2.5, or one with {', '.join(repr(f'0.5 {name}') for name in _SDS)}",
        )
    bound = SmallestEffect.model_validate({"value": float(found[1]), "unit": unit or "score"})
    lines = ["[smallest_effect]", f"value = {bound.value:g}"]
    lines += [f"unit = {toml_value(unit)}"] if unit else []
    lines += [f"reason = {toml_value(reason)}"] if reason else []
    return "\n".join([*lines, ""])
