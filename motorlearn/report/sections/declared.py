"""What a plan declares beside its analysis: alternatives to its choices, and interim looks."""

import numpy as np

from motorlearn import digits
from motorlearn.analysis import InterimLook, Multiverse
from motorlearn.report.view import StudyView
from motorlearn.results import Refused
from motorlearn.wording import interim as looks
from motorlearn.wording import multiverse as words


def multiverse_line(found: StudyView) -> str:
    """One sentence on the multiverse of declared choices; nothing where none is declared."""
    result = found.analysis.multiverse
    if result is None:
        return ""
    if isinstance(result, Refused):
        return f"The declared combinations of choices were not computed: {result.told}"
    return agreement(result, found)


def agreement(result: Multiverse, found: StudyView) -> str:
    """Share of combinations that agree with the primary analysis, and the range."""
    done = result.computed
    return words.agreement_sentence(
        len(result.table),
        len(done),
        result.same_sign,
        result.same_verdict,
        _reach(result, found) if len(done) else "",
        result.level,
    )


def _reach(result: Multiverse, found: StudyView) -> str:
    voice, done = found.outcomes[0].voice, result.computed
    if not result.one_scale:
        low, high = done["g"].min(), done["g"].max()
        return f"{voice.number(low, 2)} to {voice.number(high, 2)} in Hedges g (scales differ)"
    low, high = done["estimate"].min(), done["estimate"].max()
    if result.null == 1.0:
        return f"{voice.number(low, 2)} to {voice.number(high, 2)} as a ratio"
    return f"{voice.number(low)} to {voice.measured(high)}"


def look_sentences(found: StudyView) -> list[str]:
    """Which look this is and what it may claim; nothing where the plan declares none."""
    look = found.analysis.interim
    if look is None:
        return []
    if isinstance(look, Refused):
        return [f"No look can be told: {look.told}"]
    voice, row = found.outcomes[0].voice, found.analysis.primary.iloc[0]
    ratio = row["effect"] == "ratio"
    places = 2 if ratio else voice.decimals
    reach = digits.interval(look.conf_low, look.conf_high, places, decimal=voice.decimal)
    return [
        looks.look_sentence(look),
        looks.not_as_declared(look, look.undeclared),
        looks.interval_words(look, reach + ("" if ratio else voice.unit)),
        looks.few_for_mixed(look.planned / len(found.groups)) if _is_mixed(found) else "",
    ]


def _is_mixed(found: StudyView) -> bool:
    primary = found.design.primary
    return primary is not None and primary.model == "linear mixed"


def concluded(found: StudyView) -> bool:
    """Whether a sentence may read the primary interval as it stands, without looks to mind."""
    return not isinstance(found.analysis.interim, InterimLook)


def shown_looks(found: StudyView) -> str:
    """The look in few words, for a headline; nothing where there is none."""
    look = found.analysis.interim
    if not isinstance(look, InterimLook):
        return ""
    last = ", the last" if look.final else ""
    held = "below" if look.crossed else "not below"
    level = looks.level_words(look.level)
    return f"; look {look.number}{last}: p {held} {level}" if np.isfinite(look.p) else ""
