"""Equivalence, non-inferiority, superiority and minimum effect of every contrast."""

from collections.abc import Hashable, Iterator, Mapping, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd
from scipy import stats

from motorlearn.compare.between import Comparing
from motorlearn.compare.bounds import SDS, edge_of, sd_of_bound
from motorlearn.compare.crossing import INTERACTION
from motorlearn.compare.schemas import VERDICT
from motorlearn.rows import Row

EQUIVALENCE, NON_INFERIORITY = "equivalence", "non-inferiority"
SUPERIORITY, MINIMUM_EFFECT = "superiority", "minimum effect"
AIMS: Final = (EQUIVALENCE, NON_INFERIORITY, SUPERIORITY, MINIMUM_EFFECT)
PAIR_OF_GROUPS: Final = "pair of groups"
_KEPT = ("phase", "group", "reference", "effect", "adjusted", "estimate")
_METHODS: Final = {
    EQUIVALENCE: "two one-sided tests: the interval lies inside the bounds",
    NON_INFERIORITY: "one-sided test: the interval lies on the better side of the bound",
    SUPERIORITY: "one-sided test: the interval lies on the better side of no effect",
    MINIMUM_EFFECT: "two one-sided tests: the interval lies wholly beyond a bound",
}


def verdict_frame(
    comparing: Comparing,
    contrasts: pd.DataFrame,
    effects: pd.DataFrame,
    *,
    bound: float | None,
    unit: str,
    better: str | None,
) -> pd.DataFrame:
    """Judge every contrast against a bound in four ways; empty where none was declared.

    The intervals are of ``level`` (95 %), so that every one-sided test is at (1 - level) / 2, but
    that of equivalence, whose two tests are at 1 - level each (the 90 % interval). p of a minimum
    effect is twice the smaller one: at the bound it errs at most as often as it says.
    """
    if bound is None:
        return VERDICT.frame()
    rows: list[Row] = []
    for told in contrasts.to_dict("records"):
        named = {"kind": PAIR_OF_GROUPS, "term": "group", "at": "", "at_reference": ""}
        groups = (told["group"], told["reference"])
        rows += _rows(comparing, told | named, (bound, unit, better), groups)
    for told in effects.to_dict("records"):
        rows += _rows(comparing, told, (bound, unit, better), comparing.data.groups)
    return VERDICT.frame(rows)


def _rows(
    comparing: Comparing,
    told: Mapping[Hashable, Any],
    declared: tuple[float, str, str | None],
    groups: Sequence[Hashable],
) -> Iterator[Row]:
    bound, unit, better = declared
    if told["effect"] == "odds ratio":
        return
    edge = edge_of(comparing, told["phase"], bound, unit, groups)
    sd = sd_of_bound(comparing, told["phase"], unit, groups)
    named = {name: told[name] for name in (*_KEPT, "kind", "term", "at", "at_reference")}
    named |= {"bound_unit": SDS.get(unit, unit), "sd": sd}
    for aim in AIMS:
        if told["kind"] == INTERACTION and aim in (NON_INFERIORITY, SUPERIORITY):
            continue
        yield VERDICT.row(**named, **judged(told, aim, edge, better, level=comparing.level))


def judged(
    told: Mapping[Any, Any], aim: str, edge: float, better: str | None, *, level: float = 0.95
) -> Row:
    """One verdict: bounds, interval, p and whether it is shown.

    Parameters
    ----------
    told : mapping
        A row of contrasts or effects: ``estimate, std_error, df, effect``.
    aim : {"equivalence", "non-inferiority", "superiority", "minimum effect"}
        What is to be shown.
    edge : float
        The bound, a positive distance from no effect on the scale of the analysis.
    better : {"lower", "higher"} or None
        Direction in which the group, not the reference, is better.
    level : float
        Level of the interval; of equivalence one minus twice that of each test.
    """
    turn = np.exp if told["effect"] == "ratio" else float
    estimate = np.log(told["estimate"]) if told["effect"] == "ratio" else told["estimate"]
    error, df = told["std_error"], told["df"]
    reason = _why_not(aim, edge, better, error)
    if reason:
        return {"aim": aim, "reason": reason}
    low, high = _bounds(aim, edge, better)
    above = float(stats.t.sf((estimate - low) / error, df)) if np.isfinite(low) else np.nan
    below = float(stats.t.cdf((estimate - high) / error, df)) if np.isfinite(high) else np.nan
    if aim == EQUIVALENCE:
        p, inner = max(above, below), 1 - 2 * (1 - level)
    elif aim == MINIMUM_EFFECT:
        beyond = (
            stats.t.cdf((estimate - low) / error, df),
            stats.t.sf((estimate - high) / error, df),
        )
        p, inner = min(1.0, 2 * float(min(beyond))), level
    else:
        p, inner = min(1.0, 2 * float(np.nanmin([above, below]))), level
    reach = float(stats.t.isf((1 - inner) / 2, df)) * error
    return {
        "aim": aim,
        "bound_low": float(turn(low)) if np.isfinite(low) else np.nan,
        "bound_high": float(turn(high)) if np.isfinite(high) else np.nan,
        "conf_low": float(turn(estimate - reach)),
        "conf_high": float(turn(estimate + reach)),
        "level": inner,
        "p": p,
        "shown": bool(p < 1 - level),
        "method": _METHODS[aim],
    }


def _bounds(aim: str, edge: float, better: str | None) -> tuple[float, float]:
    """Lower and upper bound; infinite where the aim has none on that side."""
    if aim in (EQUIVALENCE, MINIMUM_EFFECT):
        return -edge, edge
    worse = edge if aim == NON_INFERIORITY else 0.0
    return (-worse, np.inf) if better == "higher" else (-np.inf, worse)


def _why_not(aim: str, edge: float, better: str | None, error: float) -> str:
    if not (np.isfinite(error) and error > 0):
        return "the contrast has no standard error"
    if not edge > 0 and aim != SUPERIORITY:
        return "the bound is not known"
    if better is None and aim in (NON_INFERIORITY, SUPERIORITY):
        return "which direction is better is not known: better='lower' or 'higher'"
    return ""
