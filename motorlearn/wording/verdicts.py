"""The verdict that a plan aims at: non-inferiority, superiority, a minimum effect."""

import math
from collections.abc import Mapping
from typing import Any

from motorlearn import digits
from motorlearn.wording.voice import Voice

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
