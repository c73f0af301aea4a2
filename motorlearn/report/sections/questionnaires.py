"""The part of a report on questionnaires."""

import math
from collections.abc import Iterator
from dataclasses import replace

import pandas as pd

from motorlearn import digits
from motorlearn.analysis.questionnaires import QuestionnaireAnalysis
from motorlearn.compare import PhaseComparison
from motorlearn.report.view import StudyView
from motorlearn.report.writers.contents import Heading, Text, slug
from motorlearn.results import Refused
from motorlearn.tables import Column, Table
from motorlearn.vocabulary import term_in_words

Block = Heading | Text | Table


def questionnaire_sections(found: StudyView) -> Iterator[Block]:
    """Give the blocks of every questionnaire of the plan."""
    for entry in found.analysis.questionnaires:
        yield Heading(f"Questionnaire: {entry.name}")
        if isinstance(entry.scored, Refused):
            yield Text(f"Not scored: {entry.scored.told}", "caution")
            continue
        yield from _scored(entry)
        yield from _changes(entry, found.decimal)


def _scored(entry: QuestionnaireAnalysis) -> Iterator[Block]:
    assert not isinstance(entry.scored, Refused)
    needed = entry.scored.recipe.options["minimum_answered"]
    least = "; ".join(f"{scale}: {number}" for scale, number in needed.items())
    ending = slug(entry.name)
    summed = entry.scored.recipe.options["score"] == "sum"
    what = "sum of its answers (their mean times the number of items)" if summed else (
        "mean of its answers"
    )  # fmt: skip
    yield Text(
        f"The score of a scale is the {what}, reversed items turned, where enough were "
        f"given ({least}). {{tab:scales-{ending}}} holds the scores."
    )
    scales, reliability = entry.scored.tables()
    yield replace(scales, name=f"scales-{ending}")
    if len(reliability.rows):
        yield Text(
            f"{{tab:reliability-{ending}}} says how well the items hold together: alpha with "
            "Feldt's interval, omega total of one factor with a bootstrap interval over people."
        )
        yield replace(reliability, name=f"reliability-{ending}")


_ANOVA = (
    Column("scale"),
    Column("term"),
    Column("df1", "df 1", "df"),
    Column("df2", "df 2", "df"),
    Column("statistic", "F", "number"),
    Column("p_gg", "p (GG)", "p"),
    Column("generalised_eta2", "generalised η²", "share"),
)


def _changes(entry: QuestionnaireAnalysis, decimal: str) -> Iterator[Block]:
    frames = []
    for scale, change in entry.changes.items():
        if isinstance(change, Refused):
            yield Text(f"Change in {scale} was not tested: {change.told}", "caution")
            continue
        sentence = _sentence(scale, change, decimal)
        if sentence:
            yield Text(sentence)
        terms = change.anova["term"].map(_over_times)
        frames += change.anova.assign(scale=scale, term=terms).to_dict("records")
    if frames:
        name = f"change-{slug(entry.name)}"
        yield Text(
            f"{{tab:{name}}} tests groups and times; no scale was declared primary, and p values "
            "are not corrected for the number of scales."
        )
        title, note = f"Groups and times of {entry.name}", "GG: Greenhouse-Geisser correction."
        yield Table(name, title, _ANOVA, pd.DataFrame(frames), (note,))


def _over_times(term: str) -> str:
    """Name of a term whose repeated measure is the time."""
    return term_in_words(":".join("time" if part == "phase" else part for part in term.split(":")))


def _sentence(scale: str, change: PhaseComparison, decimal: str) -> str:
    rows = change.anova[change.anova["term"] == "phase"]
    if rows.empty or not math.isfinite(rows.iloc[0]["statistic"]):
        return ""
    row = rows.iloc[0]
    epsilon = row["epsilon_gg"] if math.isfinite(row["epsilon_gg"]) else 1.0
    df = ", ".join(
        digits.degrees_of_freedom(float(value) * epsilon, decimal=decimal)
        for value in (row["df1"], row["df2"])
    )
    said = digits.p_clause(float(row["p_gg"]), decimal=decimal)
    f = digits.number(float(row["statistic"]), 2, decimal=decimal)
    groups = ", averaged over the groups," if len(change.anova) > 1 else ""
    return f"Over the times{groups} {scale}: F({df}) = {f}, {said}."
