"""A report: its first part for every reader, and the appendix that holds everything else."""

import math
from collections.abc import Iterator

from motorlearn.compare import PhaseComparison
from motorlearn.figures.drawing.drawn import Drawing
from motorlearn.report.sections import (
    exhibits,
    factor_exhibits,
    factors,
    outcome_tables,
    study_tables,
)
from motorlearn.report.sections.beside import side_sections
from motorlearn.report.sections.closing import appendix, closing_sections
from motorlearn.report.sections.declared_exhibits import look_blocks, multiverse_blocks
from motorlearn.report.sections.front import front_part, in_appendix
from motorlearn.report.sections.methods_of_plan import programme_exhibits
from motorlearn.report.sections.primary import (
    baseline_name,
    change_sentences,
    primary_sentences,
    shown_stage,
)
from motorlearn.report.sections.questionnaires import questionnaire_sections
from motorlearn.report.sections.single_case import (
    is_single_case,
    single_case_blocks,
    single_case_tables,
)
from motorlearn.report.sections.spread_of_scores import spread_of_scores
from motorlearn.report.sections.spreads import spread_sections
from motorlearn.report.sections.technique import technique_sections
from motorlearn.report.view import OutcomeView, StudyView
from motorlearn.report.writers.contents import Document, Heading, Text, slug
from motorlearn.results import Refused
from motorlearn.tables import Table
from motorlearn.vocabulary import PRACTICE_PHASE, STANDING_CAUTION
from motorlearn.wording import sentences
from motorlearn.wording.voice import Voice

Block = Heading | Text | Drawing | Table


def compose(
    found: StudyView,
    *,
    decimal: str = ".",
    draft: bool = True,
    short: bool = False,
    versions: dict[str, str],
) -> Document:
    """Put what was found into a document: a first part for every reader, and an appendix.

    Parameters
    ----------
    found : StudyView
        Everything that was computed.
    decimal : str
        Decimal sign.
    draft : bool
        Whether remarks to the author are shown.
    short : bool
        Whether the first part stands alone.
    versions : dict of str to str
        Names and versions of the software.
    """
    blocks: list[Block] = list(front_part(found, versions, whole=not short))
    if not short:
        blocks += in_appendix(_details(found))
        sections = [block.text for block in blocks if isinstance(block, Heading)]
        blocks += in_appendix(list(appendix(found, sections)))
    else:
        blocks.append(Text(STANDING_CAUTION, "caution"))
    kind = " ".join(["draft"] * draft + ["short"] * short + ["report"]).capitalize()
    if not draft:
        blocks = [b for b in blocks if not (isinstance(b, Text) and b.kind == "author")]
    return Document(found.design.study.title, kind, tuple(blocks), decimal)


def _groups(found: StudyView) -> Iterator[Block]:
    voice = found.outcomes[0].voice
    several = voice.arm if len(found.groups) == 1 else voice.several
    yield Heading(f"{several.capitalize()} at the start")
    yield Text(f"{{tab:participants}} describes the {several}.")
    yield study_tables.participants_table(found)


def _details(found: StudyView) -> list[Block]:
    """Everything that the first part only sums up."""
    blocks: list[Block] = [*_groups(found), Heading("Programme")]
    blocks += programme_exhibits(
        found.design, trials=found.table, groups=found.groups, kept=found.kept
    )
    blocks += _primary(found)
    for entry in found.outcomes[1:]:
        blocks += _secondary(found, entry)
    return [
        *blocks,
        *questionnaire_sections(found),
        *technique_sections(found),
        *side_sections(found),
        *spread_sections(found),
        *multiverse_blocks(found),
        *look_blocks(found),
        *closing_sections(found),
    ]


def _primary(found: StudyView) -> Iterator[Block]:
    entry = found.outcomes[0]
    yield Heading(f"Primary outcome: {entry.voice.name}")
    if is_single_case(found):
        yield from single_case_tables(found, entry)
        return
    if isinstance(entry.comparison, Refused):
        yield Text(f"Not computed: {entry.comparison.told}", "caution")
    else:
        yield from _tests_of(found, entry)
    yield from _within(found, entry)
    landing = exhibits.landing_figure(found)
    if landing is not None:
        yield Heading("Where the object came to rest", 2)
        yield Text("{fig:landing-map} shows the landing points about the target.")
        yield landing


def _tests_of(found: StudyView, entry: OutcomeView) -> Iterator[Block]:
    """Everybody at the tests that matter, all contrasts, all scores."""
    assert isinstance(entry.comparison, PhaseComparison)
    name = slug(entry.outcome.name)
    scores = exhibits.scores_figure(found, entry)
    if scores is not None:
        yield Text(f"{{fig:{scores.name}}} shows every {entry.voice.one}.")
        yield scores
    if len(entry.comparison.clusters):
        yield Text(
            f"{{tab:clusters-{name}}} holds what it costs that whole classes were allocated."
        )
        yield outcome_tables.clusters_table(entry)
    if len(found.groups) > 1:
        yield from _between(found, entry, shown_stage(found))
    yield from spread_of_scores(found, entry, shown_stage(found))
    yield Text(f"{{tab:means-{name}}} holds the scores of every test and group.")
    yield outcome_tables.descriptives_table(entry)


def _between(found: StudyView, entry: OutcomeView, stage: str) -> Iterator[Block]:
    assert isinstance(entry.comparison, PhaseComparison)
    comparison, voice, name = entry.comparison, entry.voice, slug(entry.outcome.name)
    yield Heading(f"All contrasts in {voice.name}", 2)
    yield from (Text(text) for text in _omnibus(comparison, stage, voice, len(found.groups)))
    adjusted = bool(comparison.contrasts["adjusted"].any())
    title = f"{voice.several.capitalize()} compared in {voice.name}" + (
        f", adjusted for the {baseline_name(comparison)}" if adjusted else ""
    )
    forest = exhibits.effects_figure(found, entry)
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
    yield from factor_exhibits.effects_blocks(found, entry)
    yield from (Text(text) for text in _interaction(comparison, voice, f"{{tab:anova-{name}}}"))
    if comparison.anova["statistic"].notna().any():
        yield outcome_tables.anova_table(entry)


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
    if comparison.recipe.options.get("factors"):
        return factors.changes_by_factor(comparison, voice, table)
    rows = comparison.anova[comparison.anova["term"].str.contains(":")]
    said = []
    for row in rows.to_dict("records"):
        if math.isfinite(row["p"]):
            p = sentences.p_to_read(row)
            how = " (Greenhouse-Geisser corrected p)" if p == "p_gg" else ""
            said.append(
                f"Whether {voice.several} changed differently over "
                f"{factors.parts_of(comparison)} is asked "
                f"by the {voice.arm}-by-phase interaction of the "
                f"{'mixed ' if voice.several == 'groups' else ''}analysis of variance: "
                f"{sentences.f_clause(row, voice, p)}{how}, generalised η² "
                f"{voice.share_clause(row['generalised_eta2'])}; complete cases only ({table})."
            )
    return said


def _within(found: StudyView, entry: OutcomeView) -> Iterator[Block]:
    voice = entry.voice
    practised = (entry.analysis.points["phase"] == PRACTICE_PHASE).any()
    yield Heading(f"{'Practice and change' if practised else 'Change'} in {voice.name}", 2)
    if entry is not found.outcomes[0]:
        figure = exhibits.practice_figure(found, entry)
        note = "; scores in practice describe performance under its conditions" if practised else ""
        yield Text(f"{{fig:{figure.name}}} follows the {voice.several} over the study{note}.")
        yield figure
    if isinstance(entry.practice, Refused) or entry.practice.anova["statistic"].isna().all():
        yield from (Text(text) for text in _no_practice_test(entry, practised))
    else:
        yield Text(
            f"{{tab:practice-{slug(entry.outcome.name)}}} tests {voice.several} and blocks of "
            "practice."
        )
        yield outcome_tables.practice_table(entry)
    if not isinstance(entry.comparison, Refused):
        yield from (Text(text) for text in change_sentences(found, entry))
        if len(entry.comparison.paired):
            name = slug(entry.outcome.name)
            yield Text(f"{{tab:change-{name}}} holds the changes between all tests.")
            yield outcome_tables.paired_table(entry)
    alone = len(found.groups) == 1
    pairs = exhibits.pairs_figure(found, entry) if entry is found.outcomes[0] else None
    if pairs is not None and not alone:
        yield Text(f"{{fig:{pairs.name}}} joins the two tests of every participant.")
        yield pairs
    change = exhibits.change_figure(found, entry)
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
        yield from single_case_tables(found, entry)
        return
    if isinstance(entry.comparison, Refused):
        yield Text(f"Not computed: {entry.comparison.told}", "caution")
    else:
        stage = shown_stage(found)
        yield Text(sentences.means_sentence(entry.comparison.means, stage, entry.voice))
        yield from (Text(sentence) for sentence in primary_sentences(found, entry))
        yield from _tests_of(found, entry)
    yield from _within(found, entry)
