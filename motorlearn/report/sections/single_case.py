"""The part of a report on one athlete to five."""

from collections.abc import Iterator
from dataclasses import replace

from motorlearn.compare import SingleCase
from motorlearn.figures.drawing.drawn import Drawing
from motorlearn.report.view import OutcomeView, StudyView
from motorlearn.report.writers.contents import Heading, Text, slug
from motorlearn.results import Refused
from motorlearn.tables import Table
from motorlearn.wording import single_case as wording

Block = Heading | Text | Drawing | Table


def is_single_case(found: StudyView) -> bool:
    """Whether the plan is one of a single case."""
    return found.design.single_case is not None


def single_case_sentences(found: StudyView, entry: OutcomeView) -> list[str]:
    """The answer of an outcome: each case, the test, the cases together."""
    result = found.analysis.single_cases[entry.outcome.name]
    if isinstance(result, Refused):
        return [f"The conditions were not compared: {result.told}"]
    said = [wording.case_sentence(result, case, entry.voice) for case in result.cases]
    said += [
        wording.test_sentence(result, entry.voice),
        wording.summary_sentence(result, entry.voice),
    ]
    return [sentence for sentence in said if sentence]


def single_case_blocks(found: StudyView, entry: OutcomeView) -> Iterator[Block]:
    """Graph and sentences of an outcome of a single case."""
    result = found.analysis.single_cases[entry.outcome.name]
    if isinstance(result, Refused):
        yield Text(f"Not computed: {result.told}", "caution")
        return
    graph = _graph(found, entry, result)
    yield Text(f"{{fig:{graph.name}}} shows every session, which is the first thing to look at.")
    yield graph
    yield from (Text(sentence) for sentence in single_case_sentences(found, entry))
    yield Text(wording.neighbours_sentence(result, entry.voice))


def single_case_tables(found: StudyView, entry: OutcomeView) -> Iterator[Block]:
    """Tables of an outcome of a single case."""
    result = found.analysis.single_cases[entry.outcome.name]
    if isinstance(result, Refused):
        yield Text(f"Not computed: {result.told}", "caution")
        return
    ending = slug(entry.outcome.name)
    names = {
        "estimates": "holds the differences and the overlap of phases",
        "phases": "holds level, trend and variability of every phase",
        "neighbours": "holds the serial dependence",
        "test": "holds the randomisation test",
        "summary": "holds the cases together",
    }
    for table in result.tables():
        name = f"single-case-{table.name}-{ending}"
        yield Text(f"{{tab:{name}}} {names[table.name]}.")
        yield replace(table, name=name)


def _graph(found: StudyView, entry: OutcomeView, result: SingleCase) -> Drawing:
    drawing = found.kept.draw(
        "single_case_graph",
        result.sessions,
        result.phases,
        ending=slug(entry.outcome.name),
        outcome=entry.outcome,
        conditions=result.conditions,
        alternating=result.design == "alternating",
    )
    words = wording.graph_words(result, entry.voice)
    return drawing.with_words(words.caption, words.alt)


def single_case_limits(found: StudyView) -> list[str]:
    """What the study cannot show, by its primary outcome."""
    first = next(iter(found.analysis.single_cases.values()), None)
    return list(first.statements) if isinstance(first, SingleCase) else []
