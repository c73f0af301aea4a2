"""What a report says of two factors, and of the claim that the plan aimed at."""

import math
from collections.abc import Iterator

import pandas as pd

from motorlearn.analysis import claimed
from motorlearn.compare import PhaseComparison
from motorlearn.figures import Drawing
from motorlearn.report.sections import exhibits
from motorlearn.report.view import OutcomeView, StudyView
from motorlearn.report.writers.contents import Text, slug
from motorlearn.tables import Column, Table
from motorlearn.wording import factors, sentences
from motorlearn.wording.equivalence import judge
from motorlearn.wording.verdicts import aim_sentence
from motorlearn.wording.voice import Voice


def primary_effect(
    found: StudyView, entry: OutcomeView, row: pd.Series, test: pd.Series | None, baseline: str
) -> list[str]:
    """The planned main effect or interaction, how far it may be read, and its bound."""
    said = [factors.effect_sentence(row, entry.voice, baseline=baseline)]
    if math.isfinite(row["estimate"]):
        said.append(factors.effect_reading(row, entry.voice))
        if test is not None and math.isfinite(test["p"]):
            said.append(sentences.verdict_sentence(judge(row, test), row, entry.voice))
    return said


def aim_of_plan(found: StudyView, entry: OutcomeView, row: pd.Series, tests: pd.DataFrame) -> str:
    """The verdict that the plan aimed at; empty where it aimed at a difference or equivalence."""
    verdict = claimed(row, tests, found.analysis.question)
    if verdict is None or verdict["aim"] == "equivalence" or not math.isfinite(row["estimate"]):
        return ""
    return aim_sentence(verdict, entry.voice, ratio=row["effect"] == "ratio")


def effects_blocks(found: StudyView, entry: OutcomeView) -> Iterator[Text | Table | Drawing]:
    """Effects of the factors at every part of the study and the means of their levels."""
    assert isinstance(entry.comparison, PhaseComparison)
    rows, name = entry.comparison.effects, slug(entry.outcome.name)
    if rows.empty:
        return
    first = entry is found.outcomes[0]
    drawing = None if first else exhibits.interaction_figure(found, entry)
    drawn = f"; {{fig:{drawing.name}}} draws the cells" if drawing else ""
    yield Text(
        f"{{tab:effects-{name}}} holds main effects, each averaged over the other factor, their "
        f"interaction and simple effects; {{tab:levels-{name}}} the means of the levels{drawn}."
    )
    if drawing is not None:
        yield drawing
    adjusted = rows[rows["adjusted"]]
    yield _effects(entry, adjusted if len(adjusted) else rows, f"effects-{name}")
    means = entry.comparison.marginal_means
    own = means[means["adjusted"]]
    yield _levels(entry, own if len(own) else means, f"levels-{name}")


def changes_by_factor(comparison: PhaseComparison, voice: Voice, table: str) -> list[str]:
    """Whether the change over the tests differs with a factor, or with both."""
    said, both = [], list(comparison.recipe.options["factors"])
    of_term = {":".join([*parts, "phase"]): parts for parts in ([both[0]], [both[1]], both)}
    for row in comparison.anova.to_dict("records"):
        names = [factors.words_of(voice, name) for name in of_term.get(row["term"], ())]
        if not names or not math.isfinite(row["p"]):
            continue
        p = "p_gg" if math.isfinite(row["p_gg"]) else "p"
        clause = sentences.f_clause(row, voice, p)
        said.append(
            f"Change over all parts of the study by {' and '.join(names)}: {clause}, generalised "
            f"η² = {voice.share(row['generalised_eta2'])}."
        )
    if said:
        said[-1] += f" Greenhouse-Geisser corrected p, type III, complete cases only ({table})."
    return said


_NUMBER = {"kind": "significant", "decimals": 4}


def _effects(entry: OutcomeView, rows: pd.DataFrame, name: str) -> Table:
    voice = entry.voice
    shown = rows.assign(
        stage=[voice.short(phase) for phase in rows["phase"]],
        factor=[
            " x ".join(factors.words_of(voice, part) for part in term.split(":"))
            for term in rows["term"]
        ],
        level=[f"{a}, {b}" for a, b in zip(rows["group"], rows["reference"], strict=True)],
        other=[
            " against ".join(part for part in pair if part)
            for pair in zip(rows["at"].astype(str), rows["at_reference"].astype(str))
        ],
    )
    columns = (
        Column("stage", "test"),
        Column("kind", "effect"),
        Column("factor"),
        Column("level", "first, second"),
        Column("other", "at"),
        Column("estimate", **_NUMBER),  # type: ignore[arg-type]
        Column("conf_low", "95 % CI lower", **_NUMBER),  # type: ignore[arg-type]
        Column("conf_high", "upper", **_NUMBER),  # type: ignore[arg-type]
        Column("p", "p", "p"),
        Column("p_adjusted", "p (Holm)", "p"),
    )
    note = (
        "First level minus second (a ratio: first by second). A main effect is averaged over the "
        "levels of the other factor with equal weight; the interaction is a difference of "
        "differences; a simple effect holds at one level of the other factor. Holm within the "
        "pairs of a factor, of the interaction, and the simple effects of a factor."
    )
    return Table(name, f"Effects of the factors in {voice.name}", columns, shown, (note,))


def _levels(entry: OutcomeView, rows: pd.DataFrame, name: str) -> Table:
    voice = entry.voice
    shown = rows.assign(
        stage=[voice.short(phase) for phase in rows["phase"]],
        factor=[factors.words_of(voice, factor) for factor in rows["factor"]],
    )
    columns = (
        Column("stage", "test"),
        Column("factor"),
        Column("level"),
        Column("n", "n", "count"),
        Column("estimate", "mean", **_NUMBER),  # type: ignore[arg-type]
        Column("conf_low", "95 % CI lower", **_NUMBER),  # type: ignore[arg-type]
        Column("conf_high", "upper", **_NUMBER),  # type: ignore[arg-type]
    )
    note = "Mean of the cells at a level with equal weight, adjusted where the comparison is."
    return Table(name, f"Means of the levels in {voice.name}", columns, shown, (note,))
