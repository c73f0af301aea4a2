"""What a plan declares beside its analysis: alternatives to its choices, and interim looks."""

from collections.abc import Iterator

import numpy as np

from motorlearn import digits
from motorlearn.analysis import InterimLook, Multiverse
from motorlearn.figures import outcome_label
from motorlearn.figures.drawing.style import Drawing
from motorlearn.figures.outcomes.multiverse import multiverse_plot
from motorlearn.report.sections.beside import if_possible, shown
from motorlearn.report.view import StudyView
from motorlearn.report.writers.contents import Heading, Text
from motorlearn.results import Refused
from motorlearn.tables import Table
from motorlearn.wording import interim as looks
from motorlearn.wording import multiverse as words

Block = Heading | Text | Drawing | Table


def multiverse_line(found: StudyView) -> str:
    """One sentence on the multiverse of declared choices; nothing where none is declared."""
    result = found.analysis.multiverse
    if result is None:
        return ""
    if isinstance(result, Refused):
        return f"The declared combinations of choices were not computed: {result.reason}."
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


def multiverse_blocks(found: StudyView) -> Iterator[Block]:
    """The section of the appendix on the multiverse."""
    result = found.analysis.multiverse
    if result is None:
        return
    yield Heading("Multiverse of declared choices")
    if isinstance(result, Refused):
        yield Text(f"Not computed: {result.reason}", "caution")
        return
    plan = found.design.multiverse
    why = f" Why these are as defensible as the plan's own: {plan.reason}" if plan else ""
    yield Text(f"{agreement(result, found)}{why if plan and plan.reason else ''}")
    yield Text(words.NO_TEST, "caution")
    voice = found.outcomes[0].voice
    ratio = result.one_scale and result.null == 1.0
    label = f"ratio of {voice.name}" if ratio else outcome_label(found.outcomes[0].outcome)
    drawing = if_possible(lambda: found.kept.draw(multiverse_plot, result, label=label))
    yield from shown(drawing, "shows all of them.")
    whole, by_choice = result.tables()
    yield Text("{tab:choices} counts agreement by choice, {tab:multiverse} has all combinations.")
    yield by_choice
    yield whole


def look_sentences(found: StudyView) -> list[str]:
    """Which look this is and what it may claim; nothing where the plan declares none."""
    look = found.analysis.interim
    if look is None:
        return []
    if isinstance(look, Refused):
        return [f"No look can be told: {look.reason}."]
    voice, row = found.outcomes[0].voice, found.analysis.primary.iloc[0]
    ratio = row["effect"] == "ratio"
    places = 2 if ratio else voice.decimals
    reach = digits.interval(look.conf_low, look.conf_high, places, decimal=voice.decimal)
    return [
        looks.look_sentence(look),
        looks.not_as_declared(look, look.undeclared),
        looks.interval_words(look, reach + ("" if ratio else voice.unit)),
    ]


def look_blocks(found: StudyView) -> Iterator[Block]:
    """The section of the appendix on the looks at a study."""
    look = found.analysis.interim
    if not isinstance(look, InterimLook):
        return
    yield Heading("Interim looks")
    yield Text(" ".join(filter(None, look_sentences(found))))
    yield Text(
        "{tab:looks} lists what each look may spend. Other p values of this report are held "
        "against the usual level and know nothing of the looks."
    )
    (table,) = look.tables()
    yield table


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
