"""The verdict that a plan aims at: non-inferiority, superiority, a minimum effect."""

import math
from collections.abc import Mapping
from typing import Any

from motorlearn import digits
from motorlearn.wording.voice import Voice

_SHOWN = {
    "equivalence": "equivalence is shown",
    "non-inferiority": "the first is shown to be worse by less than that bound, if at all",
    "superiority": "the first is shown to be better",
    "minimum effect": "an effect larger than that bound is shown",
}
_NOT = {
    "equivalence": "equivalence is not shown",
    "non-inferiority": "non-inferiority is not shown, which does not show the contrary",
    "superiority": "superiority is not shown",
    "minimum effect": "an effect larger than that bound is not shown",
}


def aim_sentence(verdict: Mapping[str, Any], voice: Voice, *, ratio: bool) -> str:
    """Report the verdict that the plan aimed at.

    Parameters
    ----------
    verdict : mapping
        What :func:`motorlearn.analysis.claimed` gave.
    voice : Voice
        Outcome and decimals.
    ratio : bool
        Whether the effect is a ratio.
    """
    if verdict.get("reason"):
        return f"The planned claim ({verdict['aim']}) was not judged: {verdict['reason']}."
    places, unit = (2, "") if ratio else (voice.decimals, voice.unit)
    level = digits.percent(verdict["level"])
    inside = voice.span(verdict["conf_low"], verdict["conf_high"], places)
    edges = [verdict[name] for name in ("bound_low", "bound_high")]
    bounds = " and ".join(voice.number(edge, places + 1) for edge in edges if math.isfinite(edge))
    says = (_SHOWN if verdict["shown"] else _NOT)[verdict["aim"]]
    shown = inside if inside.startswith("95") else f"{level} interval {inside}"
    return (
        f"The plan aimed at {verdict['aim']} (bound {bounds}{unit}; {shown}{unit}; "
        f"{voice.p(verdict['p'])}): {says}."
    )
