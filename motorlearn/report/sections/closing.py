"""Last sections of a report: what is missing, deviations, standards, sources; its limits."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import pandas as pd

from motorlearn.compare import Limit, PhaseComparison
from motorlearn.figures.drawing.drawn import Drawing
from motorlearn.mixed import MixedFit
from motorlearn.report.sections import exhibits, study_tables
from motorlearn.report.sections.conduct import session_blocks
from motorlearn.report.sections.exclusions import exclusion_blocks
from motorlearn.report.sections.exhibits import shown_contrasts
from motorlearn.report.sections.registered import registered_and_now
from motorlearn.report.sections.single_case import single_case_limits
from motorlearn.report.view import OutcomeView, StudyView
from motorlearn.report.writers.contents import Heading, Text
from motorlearn.results import Refused
from motorlearn.tables import Column, Table
from motorlearn.vocabulary import STANDING_CAUTION
from motorlearn.wording import limitations
from motorlearn.wording.references import references
from motorlearn.wording.voice import arm_of

Block = Heading | Text | Drawing | Table


def closing_sections(found: StudyView) -> Iterator[Block]:
    """Give the blocks on what is missing and on deviations."""
    yield from _missing(found)
    yield from exclusion_blocks(found.analysis)
    yield from _deviations(found)


def appendix(found: StudyView, sections: Sequence[str]) -> Iterator[Block]:
    """Give the blocks on reporting standards, given the headings so far, and on sources."""
    yield Heading("Reporting standards")
    yield Text("{tab:standards} says which items stand here and which the author must write.")
    yield study_tables.standards_table(found.design, sections)
    yield Heading("References")
    yield Text("Sources of the methods used here; check each entry, and add your own.", "author")
    yield from (Text(entry, "item") for entry in references(methods_used(found)))
    yield Text(STANDING_CAUTION, "caution")


def _missing(found: StudyView) -> Iterator[Block]:
    yield Heading("Missing data")
    listing = (
        f"{{tab:missing}} lists who is absent and what was left out, by {arm_of(found.design)} and "
        "reason; trials were dropped for these reasons only."
        if len(found.analysis.people.attrition)
        else "Nobody is absent and nothing was left out."
    )
    yield Text("{fig:missing-data-map} shows which trials can be used. " + listing)
    yield exhibits.missing_figure(found)
    if len(found.analysis.people.attrition):
        yield study_tables.attrition_table(found)


def _registered(found: StudyView) -> Iterator[Block]:
    """The plan as it was registered beside the plan as it is, change by change."""
    said, changes = registered_and_now(found)
    if not said:
        return
    yield Heading("Registered and present plan", 2)
    yield Text(said + (" {tab:plan-changes} lists the changes." if changes else ""))
    if changes:
        columns = (
            Column("date", "registered"),
            Column("entry", "entry of the plan"),
            Column("before"),
            Column("after"),
        )
        rows = pd.DataFrame([vars(change) for change in changes]).replace("", "–")
        rows["date"] = rows["date"].replace("–", "not registered")
        yield Table("plan-changes", "Plan: registered and present", columns, rows)


def _deviations(found: StudyView) -> Iterator[Block]:
    study = found.study
    yield Heading("Deviations")
    yield from _registered(found)
    said = limitations.deviations(
        study.problems, pd.DataFrame(columns=["reason", "participant"]), study.trials.changes
    )
    conduct = found.departures
    if len(conduct):
        yield Text("{tab:deviations} sets the conduct of the study against its plan.")
        yield study_tables.deviations_table(conduct)
    else:
        yield Text("The data show no departure from the plan.")
    yield from session_blocks(study)
    if not said:
        yield Text("Checking the data raised no error and no doubt.")
    yield from (Text(text, "item") for text in said)
    if (study.problems["severity"] == "doubt").any():
        yield Text("{tab:doubts} gives the place of each doubt and what can be done.")
        yield study_tables.problems_table(study.problems)
    yield Text(
        "Describe every departure from the plan that the data cannot show, when it was decided and "
        "why.",
        "author",
    )


def limits_of(found: StudyView) -> list[str]:
    """What the study cannot show, a sentence or two each."""
    limits: list[Limit] = []
    for entry in found.outcomes:
        if not isinstance(entry.comparison, Refused):
            limits += (
                _with_outcome(limit, entry.analysis.label, found)
                for limit in entry.comparison.limits
            )
    said = limitations.limitations(found.design, found.analysis.people.flow, limits, found.name_of)
    return [*single_case_limits(found), *said]


def _with_outcome(limit: Limit, label: str, found: StudyView) -> Limit:
    """A limit that rests on scores names its outcome, where there are several."""
    own = limit.kind.startswith("unequal spread") and len(found.outcomes) > 1
    return replace(limit, outcome=label) if own else limit


_DEGREES = {"satterthwaite": {"Satterthwaite"}, "kenward-roger": {"Kenward-Roger"}}


def methods_used(found: StudyView) -> set[str]:
    """Names of methods, as :data:`motorlearn.wording.references.SOURCES` has them."""
    used = {name for entry in found.outcomes for name in _of_outcome(entry)}
    if {"x", "y"} <= set(found.table) and found.table[["x", "y"]].notna().any().all():
        used.add("landing points")
    beside = {"agreement", "curves", "population curve", "mixed model"}
    beside |= {"multiverse", "interim look"}
    results = {k: v for k, v in found.analysis.beside.items() if not isinstance(v, Refused)}
    used |= beside & set(results)
    if found.design.single_case is not None:
        used.add("single case")
    mixed = results.get("mixed model")
    if isinstance(mixed, MixedFit):
        used |= _DEGREES.get(mixed.inference.method, set())
    return used


def _of_outcome(entry: OutcomeView) -> Iterator[str]:
    comparison, practice = entry.comparison, entry.practice
    tables = [c.anova for c in (comparison, practice) if not isinstance(c, Refused)]
    if any(table["statistic"].notna().any() for table in tables):
        yield "analysis of variance"
    if not isinstance(comparison, PhaseComparison):
        return
    if comparison.paired["g"].notna().any():
        yield "g"
    shown = shown_contrasts(entry)
    if shown is not None and shown["p"].notna().any():
        yield from ("Holm", "g", "adjusted contrast" if shown["adjusted"].any() else "Welch")
    if comparison.equivalence["p"].notna().any():
        yield "equivalence"
