"""Sections of a report: what was found, put into words, figures and tables."""

import math
from collections.abc import Iterator

from motorlearn.analysis import equivalence_rows
from motorlearn.compare import PhaseComparison
from motorlearn.figures.drawing.style import Drawing
from motorlearn.report.sections import exhibits, outcome_tables, study_tables
from motorlearn.report.sections.beside import side_sections
from motorlearn.report.sections.closing import appendix, closing_sections
from motorlearn.report.sections.methods_of_plan import method_sections
from motorlearn.report.sections.questionnaires import questionnaire_sections
from motorlearn.report.sections.single_case import (
    is_single_case,
    single_case_blocks,
    single_case_sentences,
)
from motorlearn.report.sections.spread_of_scores import spread_of_scores
from motorlearn.report.sections.technique import technique_sections
from motorlearn.report.view import OutcomeView, StudyView, primary_contrast
from motorlearn.report.writers.contents import Document, Heading, Text, slug
from motorlearn.results import Refused
from motorlearn.tables import Table
from motorlearn.vocabulary import PRACTICE_PHASE
from motorlearn.wording import eligibility, method, sentences
from motorlearn.wording.voice import Voice

Block = Heading | Text | Drawing | Table


def compose(
    found: StudyView, *, decimal: str = ".", draft: bool = True, versions: dict[str, str]
) -> Document:
    """Put what was found into a document.

    Parameters
    ----------
    found : StudyView
        Everything that was computed.
    decimal : str
        Decimal sign.
    draft : bool
        Whether remarks to the author are shown.
    versions : dict of str to str
        Names and versions of the software.
    """
    blocks: list[Block] = [*_summary(found)]
    blocks += [*_participants(found), *_method(found, versions)]
    blocks += _results(found)
    for entry in found.outcomes[1:]:
        blocks += _secondary(found, entry)
    blocks += [*questionnaire_sections(found)]
    blocks += [*technique_sections(found), *side_sections(found), *closing_sections(found)]
    sections = [block.text for block in blocks if isinstance(block, Heading)]
    blocks += appendix(found, sections)
    kind = "Draft report" if draft else "Report"
    if not draft:
        blocks = [b for b in blocks if not (isinstance(b, Text) and b.kind == "author")]
    return Document(found.design.study.title, kind, tuple(blocks), decimal)


def _summary(found: StudyView) -> Iterator[Block]:
    yield Heading("Summary")
    if found.design.study.question:
        yield Text(f"Question: {found.design.study.question}")
    entry = found.outcomes[0]
    said = primary_sentences(found, entry)
    yield from (Text(sentence) for sentence in said)
    if len(found.groups) == 1 and not isinstance(entry.comparison, Refused):
        yield Text(entry.comparison.statements[0], "caution")
    doubts = (found.study.problems["severity"] == "doubt").sum()
    if doubts:
        yield Text(
            f"Reading the data raised doubts ({doubts}); see {{tab:doubts}} before you rely on "
            "these numbers.",
            "caution",
        )


def primary_sentences(found: StudyView, entry: OutcomeView) -> list[str]:
    """The primary comparison, or the closest thing the design allows."""
    if is_single_case(found):
        return single_case_sentences(found, entry)
    if isinstance(entry.comparison, Refused):
        return [f"The comparison was not computed: {entry.comparison.reason}"]
    row = primary_contrast(found, entry)
    if row is None:
        return _changes(found, entry)
    tests = equivalence_rows(entry.comparison, row)
    test = tests.iloc[0] if len(tests) else None
    said = [
        sentences.contrast_sentence(
            row, entry.voice, found.analysis.allocated, baseline=_baseline(entry.comparison)
        ),
        sentences.reading(row, entry.voice, test),
    ]
    return [sentence for sentence in said if sentence]


def _baseline(comparison: PhaseComparison) -> str:
    return str(comparison.recipe.options["baseline"] or "baseline")


def _changes(found: StudyView, entry: OutcomeView) -> list[str]:
    assert isinstance(entry.comparison, PhaseComparison)
    paired = entry.comparison.paired
    if entry.analysis.change_stages is None or paired.empty:
        return ["There is one test only, so neither groups nor tests can be compared."]
    first, second = entry.analysis.change_stages
    rows = paired[(paired["from_phase"] == first) & (paired["to_phase"] == second)]
    rows = rows if len(rows) else paired
    said = [sentences.paired_sentence(row, entry.voice) for row in rows.to_dict("records")]
    bound = entry.comparison.recipe.options["equivalence"]
    if bound is not None and len(found.groups) == 1:
        bound *= _bound_in_scores(entry.comparison, str(rows.iloc[0]["to_phase"]))
        said.append(sentences.change_reading(rows.iloc[0], bound, entry.voice))
    return [sentence for sentence in said if sentence]


def _bound_in_scores(comparison: PhaseComparison, test: str) -> float:
    """What one unit of the declared bound is in scores: 1, or the standard deviation at a test."""
    if comparison.recipe.options["equivalence_unit"] != "sd":
        return 1.0
    means = comparison.means
    return float(means.loc[means["phase"] == test, "sd"].iloc[0])


def _participants(found: StudyView) -> Iterator[Block]:
    yield Heading("Participants")
    who = eligibility.eligibility_paragraph(found.design)
    yield Text(
        f"{who} ".lstrip()
        + method.participants_paragraph(found.design, found.analysis.allocated)
        + (
            " {tab:participants} describes them."
            if is_single_case(found)
            else " {fig:participant-flow} shows how many reached each part of the study; "
            "{tab:participants} describes the groups."
        )
    )
    approval = found.design.study.ethics_approval
    yield Text(
        ("State " if who else "State who could take part, ")
        + "how people were recruited, the ethics approval"
        + (f" ({approval})" if approval else "")
        + " and how the number of participants was decided.",
        "author",
    )
    if not is_single_case(found):
        yield exhibits.flow_figure(found)
    yield study_tables.participants_table(found)


def _method(found: StudyView, versions: dict[str, str]) -> Iterator[Block]:
    return method_sections(
        found.design,
        versions,
        trials=found.table,
        groups=found.groups,
        kept=found.kept,
    )


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
        yield Text(f"Not computed: {entry.comparison.reason}", "caution")
    else:
        yield from _compared(found, entry)
    yield from _within(found, entry)
    landing = exhibits.landing_figure(found)
    if landing is not None:
        yield Heading("Where the object came to rest", 2)
        yield Text("{fig:landing-map} shows the landing points about the target.")
        yield landing


def _compared(found: StudyView, entry: OutcomeView) -> Iterator[Block]:
    assert isinstance(entry.comparison, PhaseComparison)
    comparison, voice, name = entry.comparison, entry.voice, slug(entry.outcome.name)
    stage = shown_stage(found)
    yield Text(sentences.means_sentence(comparison.means, stage, voice))
    for sentence in primary_sentences(found, entry):
        yield Text(sentence)
    scores = exhibits.scores_figure(found, entry, "thesis")
    if scores is not None:
        yield Text(f"{{fig:{scores.name}}} shows every {voice.one}.")
        yield scores
    if len(comparison.clusters):
        yield Text(
            f"{{tab:clusters-{name}}} holds what it costs that whole classes were allocated."
        )
        yield outcome_tables.clusters_table(entry)
    if len(found.groups) > 1:
        yield from _estimated(found, entry, stage)
        yield from _between(found, entry, stage)
    yield from spread_of_scores(found, entry, stage)
    yield Text(f"{{tab:means-{name}}} holds the scores of every test and group.")
    yield outcome_tables.descriptives_table(entry)


def _estimated(found: StudyView, entry: OutcomeView, stage: str) -> Iterator[Block]:
    """Scores and difference of the test that was asked for first, of the primary outcome."""
    if entry is not found.outcomes[0]:
        return
    figure = exhibits.estimation_figure(found, entry, stage)
    if figure is not None:
        yield Text(f"{{fig:{figure.name}}} sets the scores beside the difference between groups.")
        yield figure


def _between(found: StudyView, entry: OutcomeView, stage: str) -> Iterator[Block]:
    assert isinstance(entry.comparison, PhaseComparison)
    comparison, voice, name = entry.comparison, entry.voice, slug(entry.outcome.name)
    yield Heading(f"All contrasts in {voice.name}", 2)
    yield from (Text(text) for text in _omnibus(comparison, stage, voice, len(found.groups)))
    adjusted = bool(comparison.contrasts["adjusted"].any())
    title = f"Groups compared in {voice.name}" + (
        f", adjusted for the {_baseline(comparison)}" if adjusted else ""
    )
    forest = exhibits.effects_figure(found, entry, "thesis")
    drawn = f"; {{fig:{forest.name}}} draws them" if forest else ""
    yield Text(f"{{tab:contrasts-{name}}} holds the contrasts at every part of the study{drawn}.")
    if forest is not None:
        yield forest
    yield outcome_tables.contrasts_table(entry, f"contrasts-{name}", title, adjusted)
    if len(comparison.periods):
        yield Text(f"{{tab:periods-{name}}} holds what the periods and their order did.")
        yield outcome_tables.periods_table(entry)
    if comparison.adjusted_means["estimate"].notna().any():
        yield Text(f"{{tab:adjusted-{name}}} holds the adjusted means.")
        yield outcome_tables.adjusted_table(entry)
    yield from (Text(text) for text in _interaction(comparison, voice, f"{{tab:anova-{name}}}"))
    if comparison.anova["statistic"].notna().any():
        yield outcome_tables.anova_table(entry)


def shown_stage(found: StudyView) -> str:
    """Test whose means are told: the primary one, else the last that has trials."""
    stage = found.analysis.question.primary_stage
    tests = found.analysis.question.tests
    return stage.name if stage is not None else (tests[-1] if tests else found.stages[-1]).name


def _omnibus(comparison: PhaseComparison, stage: str, voice: Voice, groups: int) -> list[str]:
    if groups < 3:
        return []
    rows = comparison.omnibus
    rows = rows[(rows["phase"] == stage) & (rows["term"] == "group")]
    return [
        sentences.omnibus_sentence(row, voice)
        for row in rows.tail(1).to_dict("records")
        if math.isfinite(row["p"])
    ]


def _interaction(comparison: PhaseComparison, voice: Voice, table: str) -> list[str]:
    rows = comparison.anova[comparison.anova["term"].str.contains(":")]
    said = []
    for row in rows.to_dict("records"):
        if math.isfinite(row["p"]):
            p = "p_gg" if math.isfinite(row["p_gg"]) else "p"
            how = " (Greenhouse-Geisser corrected p)" if p == "p_gg" else ""
            said.append(
                f"Whether {voice.several} changed differently over all parts of the study is asked "
                f"by the {voice.several[:-1]}-by-test interaction of the "
                f"{'mixed ' if voice.several == 'groups' else ''}analysis of variance: "
                f"{sentences.f_clause(row, voice, p)}{how}, generalised η² = "
                f"{voice.share(row['generalised_eta2'])}; complete cases only ({table})."
            )
    return said


def _within(found: StudyView, entry: OutcomeView) -> Iterator[Block]:
    voice = entry.voice
    practised = (entry.analysis.points["phase"] == PRACTICE_PHASE).any()
    yield Heading(f"{'Practice and change' if practised else 'Change'} in {voice.name}", 2)
    figure = exhibits.practice_figure(found, entry, "thesis")
    note = "; scores in practice describe performance under its conditions" if practised else ""
    yield Text(f"{{fig:{figure.name}}} follows the groups over the study{note}.")
    yield figure
    if isinstance(entry.practice, Refused) or entry.practice.anova["statistic"].isna().all():
        yield from (Text(text) for text in _no_practice_test(entry, practised))
    else:
        yield Text(
            f"{{tab:practice-{slug(entry.outcome.name)}}} tests groups and blocks of practice."
        )
        yield outcome_tables.practice_table(entry)
    if not isinstance(entry.comparison, Refused):
        yield from (Text(text) for text in _changes(found, entry))
        if len(entry.comparison.paired):
            name = slug(entry.outcome.name)
            yield Text(f"{{tab:change-{name}}} holds the changes between all tests.")
            yield outcome_tables.paired_table(entry)
    pairs = exhibits.pairs_figure(found, entry) if entry is found.outcomes[0] else None
    if pairs is not None:
        yield Text(f"{{fig:{pairs.name}}} joins the two tests of every participant.")
        yield pairs
    change = exhibits.change_figure(found, entry, "thesis")
    if change is not None:
        yield Text(
            f"{{fig:{change.name}}} shows the change of every participant; a change whose "
            "interval holds zero can come from the noise of that person's trials alone."
            if not isinstance(entry.analysis.changes, Refused)
            else f"{{fig:{change.name}}} shows the change of every participant."
        )
        yield change


def _no_practice_test(entry: OutcomeView, practised: bool) -> list[str]:
    if not practised:
        return []
    if isinstance(entry.practice, Refused):
        reason = entry.practice.reason
    else:
        reason = sentences.why(entry.practice.anova.iloc[-1])
    return [f"Groups and blocks of practice were not tested: {reason.rstrip('.')}."]


def _secondary(found: StudyView, entry: OutcomeView) -> Iterator[Block]:
    yield Heading(f"Secondary outcome: {entry.voice.name}")
    yield Text(
        "This outcome was not declared primary; its p values are not corrected for the number of "
        "outcomes, and its results explore."
    )
    if is_single_case(found):
        yield from single_case_blocks(found, entry)
        return
    if isinstance(entry.comparison, Refused):
        yield Text(f"Not computed: {entry.comparison.reason}", "caution")
    else:
        yield from _compared(found, entry)
    yield from _within(found, entry)
