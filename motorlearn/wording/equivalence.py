"""The equivalence verdict: a contrast against a smallest effect of interest declared beforehand."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import pandas as pd

from motorlearn import digits
from motorlearn.wording.voice import Voice

Verdict = Literal["equivalent", "smaller than the bound but not nil", "larger", "undecided"]


@dataclass(frozen=True)
class Judgement:
    """A contrast judged against symmetric bounds, on the contrast's own scale.

    Parameters
    ----------
    verdict : str
        ``equivalent`` (90 % interval inside the bounds, 95 % interval holds the null), ``smaller
        than the bound but not nil`` (inside, null excluded), ``larger`` (95 % interval beyond one
        bound) or ``undecided``.
    low, high : float
        The bounds.
    conf_low, conf_high : float
        90 % interval.
    p : float
        The larger of the two one-sided p values.
    """

    verdict: Verdict
    low: float
    high: float
    conf_low: float
    conf_high: float
    p: float


def judge(contrast: pd.Series, test: pd.Series) -> Judgement:
    """Put the interval of a contrast and its two one-sided tests into one verdict.

    Parameters
    ----------
    contrast : Series
        A row of ``PhaseComparison.contrasts``: ``effect, conf_low, conf_high`` (95 %).
    test : Series
        The row of ``PhaseComparison.equivalence`` of the same contrast: ``bound_low, bound_high,
        conf_low, conf_high`` (90 %), ``p, equivalent``.

    Examples
    --------
    >>> contrast = pd.Series({"effect": "difference", "conf_low": -0.8, "conf_high": 1.2})
    >>> test = pd.Series({"bound_low": -2.0, "bound_high": 2.0, "conf_low": -0.6,
    ...                   "conf_high": 1.0, "p": 0.001, "equivalent": True})
    >>> judge(contrast, test).verdict
    'equivalent'
    """
    null = 1.0 if contrast["effect"] == "ratio" else 0.0
    holds_null = contrast["conf_low"] <= null <= contrast["conf_high"]
    beyond = contrast["conf_low"] > test["bound_high"] or contrast["conf_high"] < test["bound_low"]
    if test["equivalent"]:
        verdict: Verdict = "equivalent" if holds_null else "smaller than the bound but not nil"
    else:
        verdict = "larger" if beyond else "undecided"
    numbers = [test[name] for name in ("bound_low", "bound_high", "conf_low", "conf_high", "p")]
    return Judgement(verdict, *(float(value) for value in numbers))


_CLAIM = {
    "equivalence": "{group} and {reference} apart by less than {bound}",
    "non-inferiority": "{group} worse than {reference} by less than {bound}, if at all",
    "superiority": "{group} better than {reference}",
    "minimum effect": "an effect of more than {bound}, in whichever direction",
}


def aim_sentence(
    verdict: Mapping[str, Any], voice: Voice, *, ratio: bool, pair: tuple[str, str]
) -> str:
    """Report the verdict that the plan aimed at.

    Parameters
    ----------
    verdict : mapping
        What :func:`motorlearn.analysis.claimed` gave.
    voice : Voice
        Outcome and decimals.
    ratio : bool
        Whether the effect is a ratio.
    pair : (str, str)
        What is compared with what.
    """
    if verdict.get("reason"):
        return f"The planned claim ({verdict['aim']}) was not judged: {verdict['reason']}."
    aim, (places, unit) = verdict["aim"], (2, "") if ratio else (voice.decimals, voice.unit)
    inside = voice.span(verdict["conf_low"], verdict["conf_high"], places)
    edges = [verdict[name] for name in ("bound_low", "bound_high")]
    known = [edge if ratio else abs(edge) for edge in edges if math.isfinite(edge)]
    bound = " or ".join(dict.fromkeys(f"{voice.number(edge, places)}{unit}" for edge in known))
    claim = _CLAIM[aim].format(group=pair[0], reference=pair[1], bound=bound)
    shown = inside if inside.startswith("95") else f"{digits.percent(verdict['level'])} {inside}"
    against = "" if aim == "superiority" else " against the bound"
    held = "That is shown" if verdict["shown"] else "That is not shown"
    contrary = "" if verdict["shown"] else ", which does not show the contrary"
    return (
        f"The plan aimed at {aim}: {claim}. {held}{contrary} ({shown}{unit}; "
        f"{voice.p(verdict['p'])}{against})."
    )
