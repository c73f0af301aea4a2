"""The first part of a report, which is also the short one: what every reader reads."""

from collections.abc import Iterator
from dataclasses import replace

import pandas as pd

from motorlearn.audit import Audit, Sensitivity
from motorlearn.digits import count
from motorlearn.figures.drawing.drawn import Drawing
from motorlearn.report.sections import exhibits
from motorlearn.report.sections.beside import conclusions_figure
from motorlearn.report.sections.closing import limits_of
from motorlearn.report.sections.declared import multiverse_line
from motorlearn.report.sections.methods_of_plan import method_texts, timeline
from motorlearn.report.sections.primary import missing_sentence, primary_sentences, shown_stage
from motorlearn.report.sections.registered import registered_and_now
from motorlearn.report.sections.secondary import secondary_table
from motorlearn.report.sections.single_case import is_single_case, single_case_blocks
from motorlearn.report.sections.spreads import spread_sentences
from motorlearn.report.view import StudyView
from motorlearn.report.writers.contents import Heading, Text
from motorlearn.results import Refused
from motorlearn.tables import Column, Table
from motorlearn.wording import eligibility, method, sentences, summary

Block = Heading | Text | Drawing | Table


def front_part(found: StudyView, versions: dict[str, str], *, whole: bool) -> Iterator[Block]:
    """Give the blocks of the first part: summary, design, people, result, doubts, limits, method.

    Parameters
    ----------
    found : StudyView
        Everything that was computed.
    versions : dict of str to str
        Names and versions of the software.
    whole : bool
        Whether an appendix follows, to which texts may refer.
    """
    yield from _summary(found, whole)
    design = list(timeline(found.design, found.kept))
    if design:
        yield from [Heading("Design"), *design]
    yield from _participants(found, whole)
    yield from _results(found)
    yield from _doubts(found)
    yield from _limitations(found)
    yield from method_texts(found.design, versions)


def _summary(found: StudyView, whole: bool) -> Iterator[Block]:
    yield Heading("Summary")
    if found.design.study.question:
        yield Text(f"Question: {found.design.study.question}")
    entry = found.outcomes[0]
    yield from (Text(sentence) for sentence in primary_sentences(found, entry))
    yield from (Text(sentence) for sentence in _beside_the_result(found))
    if len(found.groups) == 1 and not isinstance(entry.comparison, Refused):
        yield Text(entry.comparison.statements[0], "caution")
    doubts = (found.study.problems["severity"] == "doubt").sum()
    if doubts:
        where = "see {tab:doubts}" if whole else "look at what 'motorlearn check' lists"
        yield Text(
            f"Reading the data raised {count(int(doubts), 'doubt')}; {where} before you rely on "
            "these numbers.",
            "caution",
        )


def _beside_the_result(found: StudyView) -> Iterator[str]:
    """Who is missing, what is open, what other ways of analysing say."""
    if not is_single_case(found):
        yield missing_sentence(found)
    audit, other = found.analysis.audit, found.analysis.sensitivity
    if isinstance(audit, Audit):
        yield summary.open_assumptions(audit.table)
    if isinstance(other, Sensitivity):
        yield summary.sensitivity_words(other.table, other.original)


def _participants(found: StudyView, whole: bool) -> Iterator[Block]:
    yield Heading("Participants")
    who = eligibility.eligibility_paragraph(found.design)
    single, entry = is_single_case(found), found.outcomes[0]
    parts = [who, method.participants_paragraph(found.design, found.analysis.allocated)]
    if not single:
        parts.append("{fig:participant-flow} shows how many reached each part of the study.")
    if whole:
        parts.append(
            f"{{tab:participants}} describes {'them' if single else f'the {entry.voice.several}'}."
        )
    if not single:
        parts.append(missing_sentence(found))
    yield Text(" ".join(part for part in parts if part))
    approval = found.design.study.ethics_approval
    yield Text(
        ("State " if who else "State who could take part, ")
        + "how people were recruited, the ethics approval"
        + (f" ({approval})" if approval else "")
        + " and how the number of participants was decided.",
        "author",
    )
    if not single:
        yield exhibits.flow_figure(found)


def _results(found: StudyView) -> Iterator[Block]:
    entry = found.outcomes[0]
    declared = found.design.primary is not None
    yield Heading("Results")
    if is_single_case(found):
        yield Heading("Conditions compared within each case", 2)
        yield from single_case_blocks(found, entry)
        return
    yield Heading("Primary comparison" if declared else "Comparison of tests", 2)
    if isinstance(entry.comparison, Refused):
        yield Text(f"Not computed: {entry.comparison.told}", "caution")
    else:
        stage = shown_stage(found)
        yield Text(sentences.means_sentence(entry.comparison.means, stage, entry.voice))
        yield Text(primary_sentences(found, entry)[0])
        yield from _pictured(found, stage)
    yield Heading("Practice and tests", 2)
    figure = exhibits.practice_figure(found, entry)
    yield Text(
        f"{{fig:{figure.name}}} follows {entry.voice.name} over the study; scores in practice "
        "describe performance under its conditions."
    )
    yield figure
    table = secondary_table(found)
    if table is not None:
        yield Heading("Secondary results", 2)
        yield Text(
            f"{{tab:{table.name}}} holds what was not declared primary; it explores, and its p "
            "values are not corrected for the number of rows."
        )
        yield table
    yield from (Text(sentence) for sentence in spread_sentences(found))


def _pictured(found: StudyView, stage: str) -> Iterator[Block]:
    """Scores beside the difference between groups, or the two tests of every participant."""
    entry = found.outcomes[0]
    if len(found.design.factors) == 2:
        figure = exhibits.interaction_figure(found, entry)
        said = "draws the means of the tests by the two factors."
    elif len(found.groups) > 1:
        figure = exhibits.estimation_figure(found, entry, stage)
        said = f"sets the scores beside the difference between {entry.voice.several}."
    else:
        figure = exhibits.pairs_figure(found, entry)
        said = f"joins the two tests of every {entry.voice.one}."
    if figure is not None:
        yield Text(f"{{fig:{figure.name}}} {said}")
        yield figure


def _doubts(found: StudyView) -> Iterator[Block]:
    """Assumptions that are open, and the conclusion in other defensible ways."""
    audit, other = found.analysis.audit, found.analysis.sensitivity
    if audit is not None:
        yield Heading("Assumptions")
    if isinstance(audit, Refused):
        yield Text(f"Not computed: {audit.told}", "caution")
    elif audit is not None:
        flagged = (audit.table["grade"] != "fine").any()
        named = " {tab:open} says what was found." if flagged else ""
        yield Text(summary.open_assumptions(audit.table) + named)
        if flagged:
            yield _open_table(audit.table)
    if other is None:
        return
    yield Heading("Sensitivity")
    if multiverse_line(found):
        yield Text(multiverse_line(found))
    if isinstance(other, Refused):
        yield Text(f"Not computed: {other.told}", "caution")
        return
    yield Text(summary.sensitivity_words(other.table, other.original))
    figure = conclusions_figure(other, found)
    if figure is not None:
        yield Text(f"{{fig:{figure.name}}} draws these ways.")
        yield figure


def _open_table(rows: pd.DataFrame) -> Table:
    columns = (
        Column("assumption"),
        Column("grade"),
        Column("finding", "what was found"),
        Column("remedied", "with the remedy"),
    )
    shown = rows[rows["grade"] != "fine"].drop_duplicates(["assumption", "finding"])
    shown = shown.assign(remedied=shown["remedied"].replace("", "none was run"))
    return Table("open", "Assumptions that stay open", columns, shown)


def _limitations(found: StudyView) -> Iterator[Block]:
    yield Heading("Limitations")
    yield from (Text(text, "item") for text in limits_of(found))
    registered, _ = registered_and_now(found)
    if registered:
        yield Text(registered, "item")
    yield Text(summary.departures(found.departures), "item")
    yield Text(
        "Say to whom, to which tasks and to which intervals the results may extend.", "author"
    )


def in_appendix(blocks: list[Block]) -> list[Block]:
    """Mark sections as belonging to the appendix."""
    return [replace(b, aside=True) if isinstance(b, Heading) else b for b in blocks]
