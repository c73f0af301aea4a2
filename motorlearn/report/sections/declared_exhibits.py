"""Sections of the appendix on alternatives and looks that a plan declares."""

from collections.abc import Iterator

from motorlearn.analysis import InterimLook
from motorlearn.figures.drawing.drawn import Drawing
from motorlearn.figures.drawing.naming import outcome_label
from motorlearn.report.sections.beside import if_possible, shown
from motorlearn.report.sections.declared import agreement, look_sentences
from motorlearn.report.view import StudyView
from motorlearn.report.writers.contents import Heading, Text
from motorlearn.results import Refused
from motorlearn.tables import Table
from motorlearn.wording import multiverse as words

Block = Heading | Text | Drawing | Table


def multiverse_blocks(found: StudyView) -> Iterator[Block]:
    """The section of the appendix on the multiverse."""
    result = found.analysis.multiverse
    if result is None:
        return
    yield Heading("Multiverse of declared choices")
    if isinstance(result, Refused):
        yield Text(f"Not computed: {result.told}", "caution")
        return
    plan = found.design.multiverse
    why = f" Why these are as defensible as the plan's own: {plan.reason}" if plan else ""
    yield Text(f"{agreement(result, found)}{why if plan and plan.reason else ''}")
    yield Text(words.NO_TEST, "caution")
    voice = found.outcomes[0].voice
    ratio = result.one_scale and result.null == 1.0
    label = f"ratio of {voice.name}" if ratio else outcome_label(found.outcomes[0].outcome)
    drawing = if_possible(lambda: found.kept.draw("multiverse_plot", result, label=label))
    yield from shown(drawing, "shows all of them.")
    whole, by_choice = result.tables()
    yield Text("{tab:choices} counts agreement by choice, {tab:multiverse} has all combinations.")
    yield by_choice
    yield whole


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
