"""Outcomes of a plan that is started from its files: columns, units and targets."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import pandas as pd

from motorlearn.exceptions import InputError
from motorlearn.trials.importing.recipe_text import toml_key, toml_value
from motorlearn.vocabulary import COLUMNS

_BETTER: Final = {"hit": "higher", "hits": "higher", "score": "higher", "speed": "higher"}
_UNITS: Final = {"x": "length", "y": "length", "radial_error": "length", "error": "error"}
_FIRST: Final = ("radial_error", "hits", "hit", "error", "time", "speed", "score")
_NOT_SCORES: Final = frozenset({"session", "block", "trial", "attempts", "feedback", "index"})
_IN_HEADING: Final = re.compile(
    r".+?[ _]?[\[(_ ](ms|s|sec|min|deg|rad|mm|cm|m|px|hz|kg|n)[\])]?", re.I
)


@dataclass(frozen=True)
class StartedOutcome:
    """An outcome as a started plan holds it; a target makes it an error."""

    name: str
    column: str
    unit: str
    better: str
    target: float | None = None
    targets: Mapping[str, float] | None = None
    measure: str = ""

    @property
    def has_target(self) -> bool:
        """Whether a score is the distance from a target."""
        return self.target is not None or bool(self.targets)

    def text(self) -> str:
        """Write the ``[[outcomes]]`` entry."""
        lines = ["[[outcomes]]", f"name = {toml_value(self.name)}"]
        if self.unit:
            lines.append(f"unit = {toml_value(self.unit)}")
        lines.append(f"better = {toml_value(self.better)}")
        if self.has_target or self.column != self.name:
            lines.append(f"column = {toml_value(self.column)}")
        if self.target is not None:
            lines.append(f"target = {self.target:g}")
        if self.targets:
            own = ", ".join(f"{toml_key(part)} = {value:g}" for part, value in self.targets.items())
            lines.append(f"targets = {{{own}}}")
        if self.measure and self.has_target:
            lines.append(f"measure = {toml_value(self.measure)}")
        return "\n".join(lines) + "\n"


def outcomes_of(
    table: pd.DataFrame, said: str, better: str, unit: str, targets: Mapping[str, str], measure: str
) -> list[StartedOutcome]:
    """Outcomes as said (``angle=xi_deg,timing=xi_ms``), else as the columns suggest.

    Raises
    ------
    InputError
        If a target is no number or belongs to no outcome.
    """
    pairs = [part.strip().partition("=") for part in said.split(",") if part.strip()]
    named = {name.strip(): column.strip() or name.strip() for name, _, column in pairs}
    named = named or {name: name for name in suggested(table)}
    units = [part.strip() for part in unit.split(",")]
    goals = _targets(targets, list(named))
    found = []
    for place, (name, column) in enumerate(named.items()):
        own = units[place] if place < len(units) and units[place] else unit_in(column)
        general, parts = goals.get(name, (None, {}))
        way = better or _BETTER.get(name, "lower")
        found.append(StartedOutcome(name, column, own, way, general, parts, measure))
    return found


def _targets(
    said: Mapping[str, str], names: list[str]
) -> dict[str, tuple[float | None, dict[str, float]]]:
    """Target of each outcome, and others by part of the study: ``angle``, ``angle@transfer``."""
    found: dict[str, tuple[float | None, dict[str, float]]] = {}
    for key, text in said.items():
        name, _, part = (piece.strip() for piece in key.partition("@"))
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if value != value or name not in names:
            raise InputError(
                f"a target is a number for one of {', '.join(names)}",
                [f"{key}={text}"],
                f"for example {names[0]}=40,{names[0]}@transfer=60",
            )
        general, parts = found.get(name, (None, {}))
        found[name] = (general, {**parts, part: value}) if part else (value, parts)
    return found


def unit_in(heading: str) -> str:
    """Unit that a heading ends in.

    Examples
    --------
    >>> [unit_in(name) for name in ("xi_deg", "time (ms)", "angle", "forms")]
    ['deg', 'ms', '', '']
    """
    found = _IN_HEADING.fullmatch(heading.strip())
    return found[1].lower() if found else ""


def suggested(table: pd.DataFrame) -> list[str]:
    """The outcomes that the columns suggest: a standard one, those with a unit, a fine one."""
    first = outcome_of(table)
    if first in COLUMNS:
        return [first]
    units = [str(n) for n in table if pd.api.types.is_numeric_dtype(table[n]) and unit_in(str(n))]
    return units if first in units else [first]


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


def units_text(outcomes: list[StartedOutcome]) -> list[str]:
    """Write the ``[units]`` of the standard columns that the outcomes come from."""
    lines = {}
    for outcome in outcomes:
        name = outcome.name
        quantity = _UNITS.get(name, name if name in ("time", "speed") else "")
        if quantity and outcome.unit:
            lines[quantity] = f"{quantity} = {toml_value(outcome.unit)}"
    return ["[units]", *lines.values(), ""] if lines else []


def questions_on(outcomes: list[StartedOutcome], *, said: bool) -> list[str]:
    """What the files cannot show about outcomes."""
    found = []
    names = " and ".join(outcome.name for outcome in outcomes)
    if not said:
        many = "outcomes were" if len(outcomes) > 1 else "outcome was"
        found.append(
            f"The {many} taken to be {names}, {outcomes[0].better} is better: is it? (--outcome, "
            "--better, --unit, or [[outcomes]])"
        )
    without = [o.name for o in outcomes if not o.unit and o.name not in ("hit", "hits")]
    if without and said:
        found.append(f"In which unit is {' and '.join(without)}? (--unit, or [[outcomes]])")
    own = [o.name for o in outcomes if o.column not in COLUMNS and not o.has_target]
    if own:
        found.append(
            f"Is there a target that {' and '.join(own)} should meet, so that a score is the "
            f"distance from it? (--target {own[0]}=..., --measure, or [[outcomes]])"
        )
    return found
