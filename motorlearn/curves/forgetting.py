"""Forgetting over the retention interval: exponential or power loss, with the same honesty."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from motorlearn.curves.single.curve_fit import CurveFit
from motorlearn.curves.single.learner import fit_curve
from motorlearn.curves.single.rows import as_numbers
from motorlearn.exceptions import InputError
from motorlearn.results import Recipe, Result
from motorlearn.tables import Column, Table

FORGETTING_FORMS = ("exponential", "power")
TERMS = {
    "asymptote": "floor",
    "gain": "loss",
    "rate": "rate",
    "start": "end_of_practice",
    "half_life": "half_life",
}


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
    delay,
    outcome,
    *,
    forms: Sequence[str] = FORGETTING_FORMS,
    floor: float | None = None,
    attempts=None,
    interval: str = "profile",
    level: float = 0.95,
    unit: str = "days",
) -> ForgettingCurve:
    r"""Fit the loss of a practised score over the delay since practice.

    .. math:: y(d) = \mathrm{floor} - \mathrm{loss} \cdot e^{-\mathrm{rate}\, d}, \qquad
              y(d) = \mathrm{floor} - \mathrm{loss} \cdot (1 + d)^{-\mathrm{rate}}

    Parameters
    ----------
    delay : array of float
        Time since the end of practice of each test, 0 for the test at its end.
    outcome : array of float
        Scores, or hits with ``attempts``. Several scores may share a delay.
    forms : sequence of str
        ``exponential``, ``power`` or both.
    floor : float, optional
        Score where forgetting is complete, for example the pretest mean. Two or three delays
        cannot tell it, so it must then be given.
    attempts : int or array, optional
        Attempts behind the hits; the curve is then on the logit scale.
    interval : {"profile", "wald", "bootstrap"}
        As in :func:`fit_curve`.
    level : float
        Confidence level.
    unit : str
        Unit of the delay, for tables.

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
    delay = as_numbers(delay, "the delay")
    if np.any(delay < 0) or not np.all(np.isfinite(delay)):
        raise InputError("delays must be 0 or more", delay[~(delay >= 0)])
    unknown = [form for form in forms if form not in FORGETTING_FORMS]
    if unknown or not forms:
        raise InputError("forgetting is exponential or power", unknown)
    there = np.unique(delay[np.isfinite(as_numbers(outcome, "the outcome"))])
    if len(there) < 2:
        raise InputError("forgetting needs tests at two different delays at least", there)
    fixed = None if floor is None else {"asymptote": float(floor)}
    fits = {
        form: fit_curve(
            delay + (form == "power"),
            outcome,
            form=form,
            first=float(form == "power"),
            fixed=fixed,
            attempts=attempts,
            interval=interval,
            level=level,
            repeated="allow",
        )
        for form in forms
    }
    return _combined(
        fits, unit, {"forms": tuple(forms), "floor": floor, "interval": interval, "level": level}
    )


def _combined(fits: Mapping[str, CurveFit], unit: str, options) -> ForgettingCurve:
    criteria = np.array([fit.aicc for fit in fits.values()])
    usable = np.where(np.isfinite(criteria), criteria, np.inf)
    known = np.isfinite(usable).any()
    weight = np.exp(-0.5 * (usable - usable.min())) if known else np.full(len(usable), np.nan)
    comparison = pd.DataFrame(
        {
            "form": list(fits),
            "status": [fit.status for fit in fits.values()],
            "meaning": [_meaning(fit) for fit in fits.values()],
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


_MEANINGS = {
    "asymptote not seen": "The last test came before scores had settled, so the floor is an "
    "extrapolation; test later or give the floor.",
    "rate at a bound": "The tests cannot tell this loss from a straight line or from a step, so "
    "its rate is not estimated.",
    "no change": "The tests show no loss that a flat line would not show as well.",
    "too few trials": "There are too few tests or too few different delays for this loss; give "
    "the floor or test at more delays.",
    "ok": "The loss is identified by these tests.",
}


def _meaning(fit: CurveFit) -> str:
    return _MEANINGS[fit.status]


def _fitted(fit: CurveFit, form: str) -> pd.DataFrame:
    delay = fit.practice - (form == "power")
    return pd.DataFrame({"delay": delay, "outcome": fit.outcome, "fitted": fit.fitted})
