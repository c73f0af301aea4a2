"""Forgetting over the retention interval: exponential or power loss, with the same honesty."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from motorlearn.curves.options import check_level, one_of
from motorlearn.curves.recall import (
    MEANINGS_OF_LOSS,
    TERMS,
    Asked,
    ForgettingCurves,
    check_delays,
    fits_of_one,
    forgetting_of_people,
)
from motorlearn.curves.single.curve_fit import CurveFit
from motorlearn.curves.single.rows import as_numbers
from motorlearn.exceptions import InputError
from motorlearn.results import Recipe, Result
from motorlearn.tables import Column, Table

FORGETTING_FORMS = ("exponential", "power")


@dataclass(frozen=True)
class ForgettingCurve(Result):
    """Loss after practice, by one or both forms.

    ``estimates`` has, per form, ``floor`` (where scores settle), ``loss`` (what is lost in the
    end: floor less end of practice), ``rate``, ``end_of_practice`` (score at delay 0) and
    ``half_life`` (delay until half of the loss has happened). ``preferred`` names the form that
    leads by 2 in AICc, or says that there is no preference.
    """

    estimates: pd.DataFrame
    comparison: pd.DataFrame
    preferred: str
    family: str
    unit: str
    n: int
    fits: Mapping[str, pd.DataFrame] = field(repr=False)
    warnings: tuple[str, ...] = ()
    recipe: Recipe = field(default_factory=lambda: Recipe("fit_forgetting"), repr=False)

    def tables(self) -> Sequence[Table]:
        """Estimates and the comparison of the forms."""
        names = [Column("form"), Column("term")]
        numbers = [
            Column(name, label, "significant", decimals=4)
            for name, label in (
                ("estimate", ""),
                ("std_error", "standard error"),
                ("conf_low", "lower"),
                ("conf_high", "upper"),
            )
        ]
        shown = [
            Column("form"),
            Column("status"),
            Column("meaning"),
            Column("aicc", "AICc", "number"),
            Column("weight", kind="percent"),
        ]
        return (
            Table(
                "forgetting",
                f"Forgetting, {self.n} scores, delay in {self.unit}",
                (*names, *numbers),
                self.estimates,
                self.warnings,
            ),
            Table("forgetting_forms", "Forms of forgetting", tuple(shown), self.comparison),
        )


def fit_forgetting(
    table: Any,
    outcome: Any,
    *,
    delay: str | None = None,
    participant: str = "participant",
    group: str | None = None,
    vary: Sequence[str] = ("start",),
    forms: Sequence[str] = FORGETTING_FORMS,
    floor: float | None = None,
    attempts: Any = None,
    interval: str = "profile",
    level: float = 0.95,
    unit: str = "days",
) -> "ForgettingCurve | ForgettingCurves":
    r"""Fit the loss of a practised score over the delay since practice, by person and for all.

    .. math:: y(d) = \mathrm{floor} - \mathrm{loss} \cdot e^{-\mathrm{rate}\, d}, \qquad
              y(d) = \mathrm{floor} - \mathrm{loss} \cdot (1 + d)^{-\mathrm{rate}}

    Parameters
    ----------
    table : DataFrame, or array of float
        One row per test and person. For one person alone the delays themselves.
    outcome : str, or array of float
        Column of scores, or of hits with ``attempts``; for one person alone the scores. Several
        scores may share a delay.
    delay : str
        Column of the time since the end of practice, 0 for the test at its end.
    participant, group : str
        Columns of people, and of groups whose forgetting may differ.
    vary : sequence of str
        What differs between people in the hierarchical fit: ``start`` (score at the end of
        practice), ``asymptote`` (floor), ``rate``.
    forms : sequence of str
        ``exponential``, ``power`` or both.
    floor : float, optional
        Score where forgetting is complete, for example the pretest mean. Two or three delays
        cannot tell it, so it must then be given.
    attempts : str, int or array, optional
        Attempts behind the hits (a column of the table); the curve is then on the logit scale.
    interval : {"profile", "wald", "bootstrap"}
        As in :func:`fit_curve`.
    level : float
        Confidence level.
    unit : str
        Unit of the delay, for tables.

    Returns
    -------
    ForgettingCurves or ForgettingCurve
        The latter for the arrays of one person. A curve through the means of several people is
        not the curve of any of them, which is why people are named here.

    Raises
    ------
    InputError
        For fewer than two different delays, delays below 0, or rows that cannot be used.

    Examples
    --------
    >>> day = np.repeat([0, 1, 3, 7, 14, 28], 4)
    >>> error = 38 - 16 * np.exp(-0.15 * day) + np.tile([-1, 1, 0.5, -0.5], 6)
    >>> found = fit_forgetting(day, error, interval="wald")
    >>> rate = found.estimates.query("form == 'exponential' and term == 'rate'")["estimate"]
    >>> round(float(rate.iloc[0]), 2)
    0.15
    """
    forms = _known_forms(forms)
    if isinstance(table, pd.DataFrame):
        asked = Asked(outcome, delay, participant, group, attempts, forms, unit)
        one_of(interval, ("profile", "wald", "bootstrap"), "interval")
        return forgetting_of_people(table, asked, vary, floor, interval, check_level(level))
    if delay is not None:
        raise InputError(
            "delay names a column of a table, and no table is given",
            [delay],
            "give a DataFrame, or for one person fit_forgetting(delays, scores)",
        )
    days = as_numbers(table, "the delay")
    check_delays(days, outcome)
    fits = fits_of_one(days, outcome, forms, floor, attempts, interval, level)
    return _combined(
        fits, unit, {"forms": tuple(forms), "floor": floor, "interval": interval, "level": level}
    )


def _known_forms(forms: Any) -> tuple[str, ...]:
    names = (forms,) if isinstance(forms, str) else forms
    if not isinstance(names, list | tuple) or not names:
        raise InputError("forms must name one form of forgetting at least", [forms])
    unknown = [form for form in names if form not in FORGETTING_FORMS]
    if unknown:
        raise InputError("forgetting is exponential or power", unknown)
    return tuple(names)


def _combined(fits: Mapping[str, CurveFit], unit: str, options: dict[str, Any]) -> ForgettingCurve:
    criteria = np.array([fit.aicc for fit in fits.values()])
    usable = np.where(np.isfinite(criteria), criteria, np.inf)
    known = np.isfinite(usable).any()
    weight = np.exp(-0.5 * (usable - usable.min())) if known else np.full(len(usable), np.nan)
    comparison = pd.DataFrame(
        {
            "form": list(fits),
            "status": [fit.status for fit in fits.values()],
            "meaning": [MEANINGS_OF_LOSS[fit.status] for fit in fits.values()],
            "aicc": criteria,
            "weight": weight / weight.sum(),
        }
    )
    ordered = np.sort(usable)
    lead = known and (len(usable) == 1 or ordered[1] - ordered[0] >= 2)
    flat = all(fit.status in ("no change", "too few trials") for fit in fits.values())
    best = list(fits)[int(np.argmin(usable))]
    one = next(iter(fits.values()))
    return ForgettingCurve(
        estimates=pd.concat([_renamed(form, fit) for form, fit in fits.items()], ignore_index=True),
        comparison=comparison,
        preferred="no loss shown" if flat else best if lead else "no preference",
        family=one.family,
        unit=unit,
        n=one.n,
        fits={form: _fitted(fit, form) for form, fit in fits.items()},
        warnings=one.warnings,
        recipe=Recipe(
            "fit_forgetting",
            options=options,
            n=one.n,
            left_out=one.recipe.left_out,
            engine=one.recipe.engine,
        ),
    )


def _renamed(form: str, fit: CurveFit) -> pd.DataFrame:
    """Estimates in the words of forgetting; a loss is positive where scores rise back."""
    shown = fit.estimates.assign(term=fit.estimates["term"].map(TERMS))
    turned = shown["term"] == "loss"
    low, high = shown["conf_low"].copy(), shown["conf_high"].copy()
    shown.loc[turned, "estimate"] *= -1
    shown.loc[turned, "conf_low"], shown.loc[turned, "conf_high"] = -high[turned], -low[turned]
    shown.insert(0, "form", form)
    return shown


def _fitted(fit: CurveFit, form: str) -> pd.DataFrame:
    delay = fit.practice - (form == "power")
    return pd.DataFrame({"delay": delay, "outcome": fit.outcome, "fitted": fit.fitted})
