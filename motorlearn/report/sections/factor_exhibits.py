"""Tables and figure of two factors: their effects, and the means of their levels."""

from collections.abc import Iterator

import pandas as pd

from motorlearn.compare import PhaseComparison
from motorlearn.figures import Drawing
from motorlearn.report.sections import exhibits
from motorlearn.report.sections.outcome_tables import written
from motorlearn.report.view import OutcomeView, StudyView
from motorlearn.report.writers.contents import Text, slug
from motorlearn.tables import Column, Table
from motorlearn.wording import factors


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


def _effects(entry: OutcomeView, rows: pd.DataFrame, name: str) -> Table:
    voice = entry.voice
    shown = rows.assign(
        stage=[voice.short(phase) for phase in rows["phase"]],
        factor=[factors.term_of(voice, term) for term in rows["term"]],
        level=[f"{a}, {b}" for a, b in zip(rows["group"], rows["reference"], strict=True)],
        other=[
            " against ".join(part for part in pair if part)
            for pair in zip(rows["at"].astype(str), rows["at_reference"].astype(str))
        ],
    )
    ratio = bool(len(rows)) and rows["effect"].iloc[0] == "ratio"
    number, unit = written(2 if ratio else voice.decimals), "" if ratio else voice.outcome.unit
    columns = (
        Column("stage", "phase"),
        Column("kind", "effect"),
        Column("factor"),
        Column("level", "first, second"),
        Column("other", "at"),
        number("estimate", "ratio" if ratio else "difference", unit),
        number("conf_low", "95 % CI lower"),
        number("conf_high", "upper"),
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
    number = written(voice.decimals)
    columns = (
        Column("stage", "phase"),
        Column("factor"),
        Column("level"),
        Column("n", "n", "count"),
        number("estimate", "mean", voice.outcome.unit),
        number("conf_low", "95 % CI lower"),
        number("conf_high", "upper"),
    )
    note = "Mean of the cells at a level with equal weight, adjusted where the comparison is."
    return Table(name, f"Means of the levels in {voice.name}", columns, shown, (note,))
