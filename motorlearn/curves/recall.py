"""Forgetting of many people: each with a curve, and all in one hierarchical model."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from motorlearn.curves.options import check_column, check_labels, check_table, names_of
from motorlearn.curves.population.curve import PopulationCurve
from motorlearn.curves.population.population import fit_population_curve
from motorlearn.curves.population.table import vary_rows
from motorlearn.curves.single.curve_fit import CurveFit
from motorlearn.curves.single.learner import fit_curve
from motorlearn.curves.single.rows import as_numbers
from motorlearn.exceptions import InputError, MotorlearnError
from motorlearn.results import Recipe, Refused, Result
from motorlearn.rows import Row, Schema
from motorlearn.tables import Column, Table, estimates_table
from motorlearn.trials.counted import set_aside_void

TERMS = {
    "asymptote": "floor",
    "gain": "loss",
    "rate": "rate",
    "log_rate": "log_rate",
    "start": "end_of_practice",
    "half_life": "half_life",
}
ESTIMATES = Schema(
    (
        Column("form"),
        Column("term"),
        Column("estimate", kind="number"),
        Column("std_error", kind="number"),
        Column("conf_low", kind="number"),
        Column("conf_high", kind="number"),
    )
)
COMPARED = Schema(
    (Column("form"), Column("status"), Column("aic", "AIC", "number"), Column("reason"))
)
LEAD = 2.0
"""Lead in AIC below which no form is preferred (common practice)."""

MEANINGS_OF_LOSS = {
    "asymptote not seen": "The last test came before scores had settled, so the floor is an "
    "extrapolation; test later or give the floor.",
    "shape not settled": "There is a loss, but a straight line or a step describes it as well, so "
    "its rate is not settled; test at more delays or share strength between people.",
    "rate at a bound": "The tests cannot tell this loss from a straight line or from a step, so "
    "its rate is not estimated.",
    "no change": "The tests show no loss that a flat line would not show as well.",
    "too few trials": "There are too few tests or too few different delays for this loss; give "
    "the floor or test at more delays.",
    "ok": "The loss is identified by these tests.",
}


@dataclass(frozen=True)
class Asked:
    """Columns and forms of one question about forgetting."""

    outcome: str
    delay: str | None
    participant: str
    group: str | None
    attempts: str | None
    forms: tuple[str, ...]
    unit: str


@dataclass(frozen=True)
class ForgettingCurves(Result):
    """Forgetting of people and of their population.

    ``estimates`` has, per form, the terms of the hierarchical model (``floor``,
    ``end_of_practice``, ``log_rate``; a group in brackets is a difference from the first).
    ``people`` has one row per person and form with the person's own curve, missing where it is
    not estimated. ``populations`` holds the model of each form, or why there is none. ``preferred``
    names the form that leads by 2 in AIC.
    """

    estimates: pd.DataFrame
    people: pd.DataFrame
    comparison: pd.DataFrame
    preferred: str
    unit: str
    n: int
    populations: Mapping[str, PopulationCurve | Refused] = field(repr=False)
    recipe: Recipe = field(default_factory=lambda: Recipe("fit_forgetting"), repr=False)

    def tables(self) -> Sequence[Table]:
        """Estimates of the population, the forms, and what each person's curve can claim."""
        counts = self.people.groupby(["form", "status"], sort=False).size()
        shown = counts.rename("people").reset_index()
        title = f"Forgetting of a population, {self.n} scores, delay in {self.unit}"
        columns = (Column("form"), Column("status"), Column("people", kind="count"))
        return (
            estimates_table("forgetting", title, self.estimates),
            COMPARED.table("forgetting_forms", "Forms of forgetting", self.comparison),
            Table("forgetting_people", "Curves of single people", columns, shown),
        )


def check_delays(days: np.ndarray, outcome: Any) -> None:
    """Refuse delays below 0 and tests at one delay only."""
    if np.any(days < 0) or not np.all(np.isfinite(days)):
        raise InputError("delays must be 0 or more", days[~(days >= 0)])
    scores = as_numbers(outcome, "the outcome", hits=True)
    if scores.shape != days.shape:
        raise InputError("delay and outcome differ in length", [days.shape, scores.shape])
    there = np.unique(days[np.isfinite(scores)])
    if len(there) < 2:
        raise InputError("forgetting needs tests at two different delays at least", there)


def fits_of_one(
    days: np.ndarray,
    outcome: Any,
    forms: Sequence[str],
    floor: float | None,
    attempts: Any,
    interval: str,
    level: float,
) -> dict[str, CurveFit]:
    """Curves of one person, by form."""
    return {
        form: fit_curve(
            days + (form == "power"),
            outcome,
            form=form,
            first=float(form == "power"),
            fixed=None if floor is None else {"asymptote": floor},
            attempts=attempts,
            interval=interval,
            level=level,
            repeated="allow",
        )
        for form in forms
    }


def forgetting_of_people(
    table: pd.DataFrame,
    asked: Asked,
    vary: Sequence[str],
    floor: float | None,
    interval: str,
    level: float,
) -> ForgettingCurves:
    """Fit everybody's forgetting, alone and together."""
    vary = names_of(vary, "vary")
    vary_rows(vary)
    rows, void = _usable(table, asked)
    people = pd.concat(
        [_person(who, part, asked, floor, level) for who, part in rows.groupby("who", sort=False)],
        ignore_index=True,
    )
    kind = "auto" if interval == "bootstrap" else interval
    populations = {
        form: _population(rows, form, asked, vary, floor, kind, level) for form in asked.forms
    }
    estimates = [
        _renamed(form, fit) for form, fit in populations.items() if isinstance(fit, PopulationCurve)
    ]
    comparison = COMPARED.frame([_compared(form, fit) for form, fit in populations.items()])
    options = {"forms": asked.forms, "floor": floor, "vary": vary, "level": level}
    columns = {
        "outcome": asked.outcome,
        "delay": str(asked.delay),
        "participant": asked.participant,
    }
    columns |= {"group": asked.group} if asked.group else {}
    recipe = Recipe("fit_forgetting", columns, options, n=len(rows), left_out=void)
    return ForgettingCurves(
        pd.concat(estimates, ignore_index=True) if estimates else ESTIMATES.frame(),
        people,
        comparison,
        _preferred(comparison),
        asked.unit,
        len(rows),
        populations,
        recipe,
    )


def _usable(table: pd.DataFrame, asked: Asked) -> tuple[pd.DataFrame, pd.DataFrame]:
    wanted = {"y": asked.outcome, "d": asked.delay, "who": asked.participant}
    wanted |= {} if asked.group is None else {"group": asked.group}
    wanted |= {"m": asked.attempts} if asked.attempts is not None else {}
    words = {"y": "the outcome", "d": "delay", "who": "participant", "m": "attempts"}
    for short, name in wanted.items():
        check_column(name, words.get(short, short))
    check_table(table, [str(name) for name in wanted.values()], "forgetting needs")
    check_labels(table, [str(wanted[short]) for short in ("who", "group") if short in wanted])
    counted, void = set_aside_void(table, participant=asked.participant, group=asked.group)
    rows = pd.DataFrame({short: counted[name].to_numpy() for short, name in wanted.items()})
    rows["d"] = as_numbers(rows["d"], f"column {asked.delay!r}")
    rows["y"] = as_numbers(rows["y"], f"column {asked.outcome!r}", hits=True)
    check_delays(rows["d"].to_numpy(), rows["y"].to_numpy())
    return rows[rows["y"].notna()].reset_index(drop=True), void


def _person(
    who: object, part: pd.DataFrame, asked: Asked, floor: float | None, level: float
) -> pd.DataFrame:
    attempts = part["m"].to_numpy() if "m" in part else None
    days, scores = part["d"].to_numpy(), part["y"].to_numpy()
    fits = fits_of_one(days, scores, asked.forms, floor, attempts, "wald", level)
    shown = []
    for form, fit in fits.items():
        values = dict(zip(fit.estimates["term"], fit.estimates["estimate"]))
        row = {TERMS[term]: value for term, value in values.items()}
        row["loss"] = -row["loss"]
        group = part["group"].iloc[0] if "group" in part else ""
        shown.append(
            {"participant": who, "group": group, "form": form, "n": fit.n, "status": fit.status}
            | row
        )
    return pd.DataFrame(shown)


def _population(
    rows: pd.DataFrame,
    form: str,
    asked: Asked,
    vary: Sequence[str],
    floor: float | None,
    interval: str,
    level: float,
) -> PopulationCurve | Refused:
    if floor is not None:
        return Refused(
            "with a floor given only single people are fitted; leave it out, and the floor is "
            "estimated for all together"
        )
    frame = rows.assign(d=rows["d"] + (form == "power"))
    try:
        return fit_population_curve(
            frame,
            "y",
            practice="d",
            participant="who",
            form=form,
            group="group" if asked.group else None,
            vary=vary,
            amount="start",
            first=float(form == "power"),
            attempts="m" if "m" in frame else None,
            level=level,
            interval=interval,
        )
    except MotorlearnError as problem:
        return Refused(str(problem))


def _renamed(form: str, fit: PopulationCurve) -> pd.DataFrame:
    tails = ("", *(f"[{group}]" for group in fit.groups[1:]))
    words = {term + tail: TERMS[term] + tail for term in TERMS for tail in tails}
    shown = fit.estimates.assign(term=fit.estimates["term"].map(words))
    shown.insert(0, "form", form)
    return shown


def _compared(form: str, fit: PopulationCurve | Refused) -> Row:
    if isinstance(fit, Refused):
        return COMPARED.row(form=form, status="not computed", reason=fit.reason)
    reason = MEANINGS_OF_LOSS[fit.status]
    return COMPARED.row(form=form, status=fit.status, aic=fit.aic, reason=reason)


def _preferred(comparison: pd.DataFrame) -> str:
    known = comparison.dropna(subset="aic").sort_values("aic", kind="stable")
    if not len(known) or (known["status"] == "no change").all():
        return "no loss shown" if len(known) else "not computed"
    lead = np.diff(known["aic"].to_numpy())
    return str(known["form"].iloc[0]) if not len(lead) or lead[0] >= LEAD else "no preference"
