"""The report of a study without data: its plan, and what is open in it."""

from collections.abc import Iterator

import pandas as pd

from motorlearn.digits import count
from motorlearn.figures.drawing.drawn import Drawing
from motorlearn.plan import audit_design
from motorlearn.plan.allocation.planned import SEQUENCE_JOIN
from motorlearn.report.figure_cache import Kept
from motorlearn.report.sections.methods_of_plan import method_sections
from motorlearn.report.sections.study_tables import problems_table, standards_table
from motorlearn.report.writers.contents import Document, Heading, Text
from motorlearn.tables import Column, Table
from motorlearn.trials import Study, counted_rows
from motorlearn.trials.checking.rules import OUTCOMES
from motorlearn.vocabulary import STANDING_CAUTION
from motorlearn.wording import eligibility, limitations
from motorlearn.wording.tense import to_come
from motorlearn.wording.voice import listed

Block = Heading | Text | Drawing | Table

NOTHING_YET = "nothing has been recorded yet"
"""Reason that stands in the place of every answer."""


def nothing_recorded(study: Study) -> bool:
    """Whether no trial that counts holds a value of any outcome."""
    table = study.trials.table
    own = (outcome.recorded for outcome in study.design.outcomes)
    named = {*OUTCOMES, *own}
    values = [name for name in table if name in named]
    return table.empty or not table.loc[counted_rows(table), values].notna().any(axis=None)


def compose_plan(
    study: Study, *, kept: Kept, decimal: str, draft: bool, versions: dict[str, str]
) -> Document:
    """Put the plan of a study without data into a document; nothing is told as a result.

    Parameters
    ----------
    study : Study
        A study without a value that counts.
    kept : Kept
        Drawings of an earlier report.
    decimal : str
        Decimal sign.
    draft : bool
        Whether remarks to the author are shown.
    versions : dict of str to str
        Names and versions of the software.
    """
    design = study.design
    with to_come():
        blocks: list[Block] = [*_summary(study), *_participants(study)]
        blocks += method_sections(design, versions, kept=kept)
    blocks += [*_open(study), *_so_far(study), *_limitations(study)]
    sections = [block.text for block in blocks if isinstance(block, Heading)]
    blocks += [*_standards(study, sections)]
    if not draft:
        blocks = [b for b in blocks if not (isinstance(b, Text) and b.kind == "author")]
    return Document(design.study.title, "Plan of the study", tuple(blocks), decimal)


def _summary(study: Study) -> Iterator[Block]:
    yield Heading("Summary")
    if study.design.study.question:
        yield Text(f"Question: {study.design.study.question}")
    yield Text(
        "Nothing has been recorded yet. This report holds the plan and what is open in it; write "
        "it again once the first test is in.",
        "caution",
    )


def _participants(study: Study) -> Iterator[Block]:
    yield Heading("Participants")
    who = eligibility.eligibility_paragraph(study.design)
    yield Text(f"{who} {_sizes(study)}".strip())
    yield Text(
        "State how people were recruited, the ethics approval and how the number of participants "
        "was decided.",
        "author",
    )


def _sizes(study: Study) -> str:
    design, people = study.design, study.participants
    orders = [SEQUENCE_JOIN.join(order) for order in design.sequences]
    if people is not None and "group" in people and len(people):
        sizes = people["group"].astype("str").value_counts()
        names = [n for n in orders or design.group_names if n in sizes.index]
        said = listed([f"{name} n = {sizes[name]}" for name in names])
        verb = "is" if len(people) == 1 else "are"
        return f"{count(len(people), 'participant')} {verb} listed ({said})."
    groups = design.groups
    planned = ["open" if group.size is None else str(group.size) for group in groups]
    if orders:
        return (
            f"Each participant will meet every condition, n = {planned[0]}. "
            f"Orders planned: {listed(orders)}."
        )
    said = listed([f"{g.name} n = {size}" for g, size in zip(groups, planned, strict=True)])
    return f"The plan has {count(len(groups), 'group')} ({said})."


def _open(study: Study) -> Iterator[Block]:
    """Holes of the plan, while they can still be mended."""
    audit = audit_design(study.design)
    yield Heading("Open in the plan")
    if audit.table.empty:
        yield Text("The audit of the plan found no hole.")
        return
    grave = int((audit.table["grade"] == "act").sum())
    must = f"; {grave} of them must be, or the question cannot be answered" if grave else ""
    holes = count(len(audit.table), "hole")
    yield Text(f"{{tab:holes}} lists {holes} of the plan that can still be mended{must}.")
    columns = tuple(Column(name) for name in ("topic", "grade", "reason", "fix"))
    yield Table("holes", "Holes in the plan", columns, audit.table)
    yield from (Text(text, "item") for text in audit.statements)


def _so_far(study: Study) -> Iterator[Block]:
    weighty = study.problems[study.problems["severity"] != "note"]
    if len(weighty):
        yield Heading("Doubts")
        yield Text("{tab:doubts} gives the place of each doubt and what can be done.")
        yield problems_table(study.problems)


def _limitations(study: Study) -> Iterator[Block]:
    yield Heading("Limitations")
    said = limitations.limitations(study.design, pd.DataFrame())
    yield from (Text(text, "item") for text in said)


def _standards(study: Study, sections: list[str]) -> Iterator[Block]:
    yield Heading("Reporting standards")
    yield Text("{tab:standards} says which items stand here and which the author must write.")
    yield standards_table(study.design, sections)
    yield Text(STANDING_CAUTION, "caution")
