"""The registration of a plan: what is asked, measured and analysed, before the data are seen."""

import datetime
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pandas as pd

from motorlearn import digits
from motorlearn.design import Design, hits_declared_of, primary_words, read_design
from motorlearn.digits import count
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.drawn import Drawing
from motorlearn.files import write_bytes, write_text
from motorlearn.plan import audit_design, power
from motorlearn.plan.power.power import Power, assumed_table
from motorlearn.plan.power.sequential import looks_table
from motorlearn.plan.registered import KEPT, Version, register_version
from motorlearn.report.sections.before_data import nothing_recorded
from motorlearn.report.sections.study_tables import programme_table
from motorlearn.report.writers.contents import Document, Heading, Text
from motorlearn.report.writers.markdown import to_markdown
from motorlearn.report.writers.word import to_word
from motorlearn.results import Refused, or_refused, software_versions
from motorlearn.tables import Column, Table
from motorlearn.trials import read_study
from motorlearn.trials.named_files import refuse_inputs
from motorlearn.vocabulary import STANDING_CAUTION
from motorlearn.wording import declared, eligibility, method
from motorlearn.wording.tense import to_come
from motorlearn.wording.times import time_rules_of
from motorlearn.wording.voice import listed

Block = Heading | Text | Drawing | Table
MADE_HERE = "Registration of a plan"


def register_plan(
    study: str | Path,
    file: str | Path,
    *,
    simulations: int = 1000,
    seed: int = 1,
    today: datetime.date | None = None,
) -> tuple[Path, Version]:
    """Write the registration of a plan and keep the plan as registered.

    The text has the order that open registration forms ask for; what the plan does not hold is
    marked for the author. The plan is kept beside ``study.toml``, and a later report sets what was
    conducted against it, change by change.

    Parameters
    ----------
    study : path-like
        Folder that holds ``study.toml``.
    file : path-like
        Text to write, ``.docx`` or ``.md``.
    simulations : int
        Simulated studies behind the reasons for the sample size.
    seed : int
        Seed of the simulation.
    today : date, optional
        Day of the registration; by default the present one.

    Returns
    -------
    tuple of Path and Version
        The text, and the version of the plan that was kept.

    Raises
    ------
    InputError
        If the name of the text ends otherwise, or it would take the place of a file of the study.
    FileError
        If there is no plan, or something cannot be written.
    """
    place = Path(file)
    if place.suffix.lower() not in (".docx", ".md"):
        remedy = "end the name in .docx or .md"
        raise InputError("a registration is written as Word or Markdown", [place.name], remedy)
    refuse_inputs(place, study)
    design = read_design(study)
    recorded = _recorded(Path(study))
    found = _simulated(design, simulations, seed)
    version, _ = register_version(
        study, design, recorded=recorded, today=today or datetime.date.today()
    )
    document = registration_document(design, version, found)
    made = {**software_versions(), "study.toml": f"SHA-256 {version.sha256}"}
    if place.suffix.lower() == ".md":
        write_text(place, to_markdown(document, made), only_over=MADE_HERE)
    else:
        write_bytes(place, to_word(document, {}, made), only_over=b"PK")
    return place, version


def _simulated(design: Design, simulations: int, seed: int) -> Power | Refused:
    """Power of the plan with the people it plans, or why there is none."""
    sizes = sorted({group.size for group in design.groups if group.size})
    if not sizes:
        return Refused("the plan names no number of people: set groups.size")
    if design.assumptions is None:
        return Refused(
            "the plan holds no assumptions to simulate from: fill the section assumptions"
        )
    return or_refused(power)(design, n=sizes, simulations=simulations, seed=seed)


def _recorded(folder: Path) -> int:
    """Trials that count already; a registration after the fact says so."""
    study = read_study(folder, begun=False)
    return 0 if nothing_recorded(study) else len(study.trials.table)


def registration_document(design: Design, version: Version, found: Power | Refused) -> Document:
    """Put a plan into the order of a registration."""
    with to_come():
        blocks = [
            *_question(design, version),
            *_design(design),
            *_sample(design, found),
            *_variables(design),
            *_analysis(design),
            *_departures(design),
            *_other(design, version),
        ]
    return Document(design.study.title, MADE_HERE, tuple(blocks))


def _question(design: Design, version: Version) -> Iterator[Block]:
    yield Heading("Question and hypotheses")
    if design.study.question:
        yield Text(design.study.question)
    yield Text(_hypothesis(design))
    yield Text(
        "Give names and affiliations, what earlier work shows, and why you expect this direction.",
        "author",
    )
    yield Heading("What is known of the data", 2)
    yield Text(
        f"Registered on {version.date}. Nothing had been recorded at that time."
        if not version.recorded
        else f"Registered on {version.date}, when {count(version.recorded, 'trial')} had been "
        "recorded already: this is no registration before the data. Say who had seen what.",
        "paragraph" if not version.recorded else "caution",
    )


def _hypothesis(design: Design) -> str:
    primary = design.primary
    if primary is None:
        return "No primary comparison is declared, so the study explores and tests no hypothesis."
    groups = f" of {listed(list(primary.groups), 'against')}" if primary.groups else ""
    groups = f" ({primary_words(design)})" if primary.factors else groups
    where = primary.test or primary.phase
    scale = ", told as a ratio" if primary.effect == "ratio" else ""
    return (
        f"The primary hypothesis is tested once: {primary.aim}{groups} in "
        f"{_named(design, primary.outcome)} at {where}{scale}."
    )


def _named(design: Design, outcome: str) -> str:
    found = design.outcome(outcome)
    return (found.label if found else "") or outcome.replace("_", " ")


def _design(design: Design) -> Iterator[Block]:
    yield Heading("Design")
    yield from _texts(method.task_paragraph(design), method.programme_paragraph(design))
    yield Text("{tab:programme} lists every part of the programme.")
    yield programme_table(design)
    yield Heading("Allocation", 2)
    way = design.allocation
    strata = f", stratified by {listed(list(way.strata))}" if way.strata else ""
    yield Text(
        f"The unit of allocation is the {way.unit}; {_allocated(way.method)}{strata}."
        if len(design.groups) > 1
        else "There is one group, so nobody is allocated."
    )
    blind = {test.blinded for test in design.tests}
    yield Text(
        "Whoever tests does not know the groups."
        if blind == {True}
        else "Say who knows the groups: those who teach, test, rate and analyse.",
        "paragraph" if blind == {True} else "author",
    )


def _allocated(way: str) -> str:
    words = method.ALLOCATION.get(way)
    return f"allocation is {words}" if words else "nobody is allocated by chance"


def _sample(design: Design, found: Power | Refused) -> Iterator[Block]:
    yield Heading("Sample")
    yield from _texts(eligibility.eligibility_paragraph(design))
    sizes = listed([f"{g.name} {g.size or 'not decided'}" for g in design.groups])
    yield Text(f"Planned number of people: {sizes}.")
    if isinstance(found, Refused):
        reason = found.reason.removesuffix(".")
        yield Text(f"The power of this plan could not be simulated ({reason}).", "author")
    else:
        yield Text(
            "{tab:power} gives the simulated power of the planned analysis; it rests on the "
            "assumptions of {tab:rests}."
        )
        yield _power_table(found)
        yield replace(assumed_table(found), name="rests", title="What the simulation rests on")
        if len(found.looks):
            yield Text("{tab:looks} gives the chance to stop at each look.")
            yield looks_table(found.looks)
    yield from _texts(eligibility.stopping_paragraph(design))
    yield Text("State how people are recruited and when recruitment ends.", "author")


def _power_table(found: Power) -> Table:
    columns = (
        Column("n", "n a group", "count"),
        Column("effect_name", "effect"),
        Column("kind"),
        Column("power", "rate", "number", decimals=3),
        Column("mc_error", "Monte-Carlo error", "number", decimals=3),
        Column("simulations", kind="count"),
    )
    return Table("power", "Sample size by simulation", columns, found.table)


def _variables(design: Design) -> Iterator[Block]:
    yield Heading("Outcomes")
    rows = [
        {
            "outcome": entry.words,
            "unit": entry.unit or "–",
            "better": entry.better,
            "role": "primary"
            if design.primary is not None and entry.name == design.primary.outcome
            else "secondary"
            if entry.name in {a.outcome for a in design.analyses}
            else "exploratory",
        }
        for entry in design.outcomes
    ]
    yield Text("{tab:outcomes} lists what is scored.")
    columns = tuple(Column(name) for name in ("outcome", "unit", "better", "role"))
    yield Table("outcomes", "Outcomes", columns, pd.DataFrame(rows))
    yield from _texts(method.tests_paragraph(design))


def _analysis(design: Design) -> Iterator[Block]:
    yield Heading("Analysis")
    yield Heading("Primary analysis", 2)
    yield Text(method.outcome_paragraph(design))
    yield Text(method.analysis_paragraph(design, software_versions()))
    trials = hits_declared_of(design)
    if design.smallest_effect is None:
        yield Text("Declare the smallest effect that matters, and why.", "author")
    elif trials:
        value = digits.significant(design.smallest_effect.value)
        yield Text(f"The smallest effect of interest is {value} of {trials}.")
    for heading, text in (
        ("Interim looks", declared.looks_paragraph(design)),
        ("Alternatives to the primary analysis", declared.alternatives_paragraph(design)),
    ):
        if text:
            yield Heading(heading, 2)
            yield Text(text)
    yield Heading("Secondary analyses", 2)
    if design.analyses:
        for entry in design.analyses:
            name = _named(design, entry.outcome)
            yield Text(f"{name} at {entry.phase}, {entry.method} ({entry.role})", "item")
    else:
        yield Text("None is declared; whatever else is computed explores, and is told as such.")
    yield Heading("Exclusions and missing data", 2)
    for rule in design.exclusions:
        reason = f" ({rule.reason})" if rule.reason else ""
        yield Text(f"{rule.rule}{reason}", "item")
    yield from (Text(told, "item") for told in time_rules_of(design))
    if not design.exclusions:
        yield Text("No exclusion is declared: every trial without a void reason counts.")
    yield Text(
        "Scores that are missing are not filled in for the primary analysis; imputed scores and "
        "the shift of the missing that would change the conclusion stand beside it."
    )


_CONSENT = (
    "State conflicts of interest; who asks for consent (nobody who teaches, marks or selects these "
    "people) and from whom: each person, a guardian and the child where minors take part, whoever "
    "decides for a class or team that is allocated as a whole; until when data can be "
    "withdrawn; who sees video and on which day it is deleted; who gives first aid, and whom an "
    "incident is told to. Where your committee, school, club or law asks otherwise, follow them."
)


def _departures(design: Design) -> Iterator[Block]:
    yield Heading("Departures from this plan")
    yield Text(
        "A change of the plan is registered before the data it concerns are seen, with its date "
        "and reason; the report lists every change of the plan and every departure that the data "
        "show. The primary analysis is run as registered, and any other analysis stands beside it."
    )
    for entry in design.thresholds:
        yield Text(f"Threshold of {entry.name}, set beforehand ({entry.source}).", "item")


def _other(design: Design, version: Version) -> Iterator[Block]:
    yield Heading("Ethics, data and code")
    yield Text(
        f"Ethics approval: {design.study.ethics_approval}."
        if design.study.ethics_approval
        else "State the ethics approval.",
        "paragraph" if design.study.ethics_approval else "author",
    )
    yield Text(_CONSENT, "author")
    if design.study.data_licence:
        yield Text(f"Licence of the data: {design.study.data_licence}.")
    holes = audit_design(design).table
    if len(holes):
        yield Heading("Open in the plan", 2)
        yield from (Text(f"{row.topic} ({row.grade})", "item") for row in holes.itertuples())
    yield Text(f"SHA-256 of study.toml: {version.sha256}; the plan is kept in {KEPT} beside it.")
    yield Text(STANDING_CAUTION, "caution")


def _texts(*texts: str) -> Iterator[Text]:
    yield from (Text(text) for text in texts if text)
