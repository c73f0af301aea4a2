"""Method sections of a report: programme, tests, outcomes and analysis, as the plan has them."""

from collections.abc import Iterator, Sequence

import pandas as pd

from motorlearn.design import Design
from motorlearn.digits import count, plain
from motorlearn.figures.drawing.drawn import Drawing
from motorlearn.plan import ThrowLoad, programme_tables, throw_load
from motorlearn.report.figure_cache import Kept
from motorlearn.report.sections import study_tables
from motorlearn.report.sections.beside import if_possible, shown
from motorlearn.report.writers.contents import Heading, Text
from motorlearn.tables import Table
from motorlearn.vocabulary import PRACTICE_PHASE
from motorlearn.wording import declared, eligibility, method
from motorlearn.wording.voice import listed

Block = Heading | Text | Drawing | Table


def method_sections(design: Design, versions: dict[str, str], *, kept: Kept) -> Iterator[Block]:
    """Give the blocks on skill, programme, tests, outcomes and analysis of a plan.

    Parameters
    ----------
    design : Design
        The plan.
    versions : dict of str to str
        Names and versions of the software.
    kept : Kept
        Drawings of an earlier report.
    """
    yield from timeline(design, kept)
    yield from method_texts(design, versions)
    yield Heading("Programme")
    yield from programme_exhibits(design, trials=pd.DataFrame(), groups=(), kept=kept)


def method_texts(design: Design, versions: dict[str, str]) -> Iterator[Block]:
    """Give the paragraphs on skill, programme, tests, outcomes and analysis."""
    yield Heading("Method")
    frame = eligibility.frame_paragraph(design)
    said = [
        method.task_paragraph(design),
        f"{frame} {method.programme_paragraph(design)}".strip(),
        method.tests_paragraph(design),
        eligibility.stopping_paragraph(design),
        method.outcome_paragraph(design),
        method.analysis_paragraph(design, versions),
        declared.looks_paragraph(design),
        declared.alternatives_paragraph(design),
    ]
    yield from (Text(text) for text in said if text)


def timeline(design: Design, kept: Kept) -> Iterator[Block]:
    """Give the plan in time, where it has days."""
    if _timed(design):
        drawing = if_possible(lambda: kept.draw("design_timeline", design))
        yield from shown(drawing, "shows the plan in time.")


def _timed(design: Design) -> bool:
    return bool(design.practice) or all(test.planned_day is not None for test in design.tests)


def programme_exhibits(
    design: Design, *, trials: pd.DataFrame, groups: Sequence[str], kept: Kept
) -> Iterator[Block]:
    """Give the programme part by part, its drills, the order of tasks and the load by week.

    Parameters
    ----------
    design : Design
        The plan; nearly everything comes from it.
    trials : DataFrame
        Trials, for the order in which tasks were practised; may be empty.
    groups : sequence of str
        Groups that have people.
    kept : Kept
        Drawings of an earlier report.
    """
    yield Text("{tab:programme} lists every part of the programme.")
    yield study_tables.programme_table(design)
    if design.drills:
        yield Text("{tab:drills} describes the drills.")
        yield programme_tables(design)[1]
    yield from _figures(design, trials, groups, kept)


def _figures(
    design: Design, trials: pd.DataFrame, groups: Sequence[str], kept: Kept
) -> Iterator[Block]:
    """The order of tasks in practice and the load by week: what the plan allows."""
    tasks = [task.name for task in design.tasks]
    practised = trials[trials["phase"] == PRACTICE_PHASE] if "phase" in trials else trials
    if len(tasks) > 1 and "task" in practised and len(practised):
        order = if_possible(
            lambda: kept.draw("trial_order_raster", practised, groups=groups, tasks=tasks)
        )
        yield from shown(order, "shows in which order tasks were practised.")
    if _timed(design):
        load = throw_load(design)
        if len(load.weeks) < WEEKS_DRAWN:
            yield Text(_weeks(load))
        else:
            drawing = if_possible(lambda: _load(design, load, kept))
            yield from shown(drawing, "adds up the planned trials by week.")
        yield from (Text(text, "caution") for text in _breaches(load))


WEEKS_DRAWN = 3
"""Fewer weeks are told in a sentence: two bars are no figure."""


def _weeks(load: ThrowLoad) -> str:
    said = [f"{row.total} in week {plain(row.week)}" for row in load.weeks.itertuples()]
    return f"Planned trials of one participant: {listed(said)}. The count predicts no injury."


def _load(design: Design, load: ThrowLoad, kept: Kept) -> Drawing:
    limits = [limit for limit in design.load.limits if limit.per == "week"]
    limit = limits[0] if limits else None
    return kept.draw(
        "load_by_week",
        load,
        limit=limit.trials if limit else None,
        limit_source=limit.source if limit else "",
    )


def _breaches(load: ThrowLoad) -> list[str]:
    """Where the plan goes above a limit that its author entered."""
    return [
        f"The plan goes above a limit in {row['period']}: {count(row['trials'], 'trial')} where "
        f"{row['limit']} a {row['per']} are allowed ({row['source']})."
        for row in load.breaches.to_dict("records")
    ]
