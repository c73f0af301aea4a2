"""The section on the model of spread beside an outcome that is a variable error."""

from collections.abc import Iterator
from dataclasses import replace

from motorlearn.analysis import SpreadBeside
from motorlearn.figures.drawing.drawn import Drawing
from motorlearn.report.sections.beside import doubts_of_model, if_possible, shown
from motorlearn.report.view import OutcomeView, StudyView
from motorlearn.report.writers.contents import Heading, Text, slug
from motorlearn.results import Refused
from motorlearn.tables import Table
from motorlearn.wording.variability import spread_beside_sentences, spread_lead

Block = Heading | Text | Drawing | Table


def spread_sections(found: StudyView) -> Iterator[Block]:
    """Give the blocks on how variable performers are, for every outcome that asks it."""
    for name, result in found.analysis.spreads.items():
        entry = next(view for view in found.outcomes if view.outcome.name == name)
        yield Heading(f"How variable performers are: {entry.voice.name}")
        if isinstance(result, Refused):
            yield Text(f"Not computed: {result.told}", "caution")
        else:
            yield from _spread(result, entry, found)


def spread_sentences(found: StudyView) -> Iterator[str]:
    """What the models of spread say of the primary test, for the first part of a report."""
    tests = _tests(found)
    for result in found.analysis.spreads.values():
        if isinstance(result, SpreadBeside):
            told = spread_beside_sentences(result, tests)[0]
            yield f"In a model of the trials, which is secondary: {told[0].lower()}{told[1:]}"


def _tests(found: StudyView) -> dict[str, str]:
    return {stage.name: stage.told for stage in found.stages}


def _spread(result: SpreadBeside, entry: OutcomeView, found: StudyView) -> Iterator[Block]:
    tests, ending = _tests(found), slug(result.outcome)
    yield Text(spread_lead(result, entry.voice.name, tests))
    (table,) = result.tables()
    named = table.rows.assign(test=[tests.get(name, name) for name in table.rows["test"]])
    table = replace(table, name=f"spread-{ending}", rows=named)
    told = " ".join(spread_beside_sentences(result, tests))
    yield Text(f"{told} {{tab:{table.name}}} has the numbers.")
    yield table
    by = [name for name in ("test", "group") if name in result.fit.of_spread.design.fixed.levels]
    unit = f" ({result.unit})" if result.unit else ""
    label = f"{'landing points' if result.directions > 1 else 'errors'}{unit}"
    drawing = if_possible(
        lambda: found.kept.draw("modelled_spreads", result.fit, by=by, label=label, ending=ending)
    )
    yield from shown(drawing, "draws how much a typical performer scatters.")
    yield from doubts_of_model(result.audit, f"open-spread-{ending}")
