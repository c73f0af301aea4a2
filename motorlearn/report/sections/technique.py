"""Sections on technique and speed beside the outcome."""

from collections.abc import Iterator
from dataclasses import replace

from motorlearn.analysis import SpeedBeside, TechniqueChange
from motorlearn.analysis.technique import TOTAL
from motorlearn.figures.drawing.drawn import Drawing
from motorlearn.report.sections.beside import if_possible, shown
from motorlearn.report.view import StudyView
from motorlearn.report.writers.contents import Heading, Text
from motorlearn.results import Refused
from motorlearn.tables import Table
from motorlearn.wording.technique import (
    item_sentence,
    speed_sentence,
    speed_words,
    together_sentence,
)

Block = Heading | Text | Drawing | Table


def technique_sections(found: StudyView) -> Iterator[Block]:
    """Give the blocks on technique and on speed, where the study has ratings or speed."""
    beside = found.analysis.beside
    for name, title in (("technique", "Technique"), ("speed", "Speed beside the outcome")):
        if name not in beside:
            continue
        yield Heading(title)
        result = beside[name]
        match result:
            case Refused():
                yield Text(f"Not computed: {result.told}", "caution")
            case TechniqueChange():
                yield from _technique(result, found)
            case SpeedBeside():
                yield from _speed(result, found)


def _technique(result: TechniqueChange, found: StudyView) -> Iterator[Block]:
    decimal = found.decimal
    totals = result.items[result.items["item"] == TOTAL]
    for row in totals.to_dict("records"):
        said = [f"in {row['group']}"] if totals["group"].nunique() > 1 else []
        said += [f"by {row['source']}"] if totals["source"].nunique() > 1 else []
        who = f" ({', '.join(said)})" if said else ""
        yield Text(item_sentence(row, result.tests, decimal, who))
    yield Text("{tab:technique-items} holds every item.")
    items, *more = result.tables()
    yield replace(items, name="technique-items")
    for row in result.together.to_dict("records"):
        yield Text(f"{together_sentence(row, decimal)} {{tab:technique-together}} says how.")
    for table in more:
        yield replace(table, name="technique-together")


def _speed(result: SpeedBeside, found: StudyView) -> Iterator[Block]:
    voice = found.outcomes[0].voice
    several = len(result.verdicts) > 1
    for group in (name for name in found.groups if name in result.verdicts):
        rows = result.change[result.change["group"].astype(str) == group]
        who = f"in {group}, " if several else ""
        told = result.verdicts[group]
        yield Text(speed_sentence(rows, told, result.tests, result.unit, voice, who))
    tests = {stage.name: stage.label for stage in found.stages}
    drawing = if_possible(
        lambda: found.kept.draw(
            "speed_and_outcome",
            result.people,
            outcome=found.outcomes[0].outcome,
            groups=found.groups,
            tests=tests,
            unit=result.unit,
        )
    )
    if drawing is not None:
        words = speed_words(found.groups, result.tests, voice)
        drawn = drawing.with_words(words.caption, words.alt)
        yield from shown(drawn, "draws both.")
    for row in result.together.to_dict("records"):
        yield Text(together_sentence(row, found.decimal))
