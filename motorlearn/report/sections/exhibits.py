"""Figures of a report with their captions and alternative texts."""

import pandas as pd

from motorlearn.compare import PhaseComparison, pair_in_words
from motorlearn.figures import (
    Drawing,
)
from motorlearn.report.view import OutcomeView, StudyView
from motorlearn.report.writers.contents import slug
from motorlearn.trials import counted_rows
from motorlearn.vocabulary import PRACTICE_PHASE
from motorlearn.wording import captions
from motorlearn.wording.voice import Words, arm_of


def worded(drawing: Drawing, words: Words) -> Drawing:
    """Put words on a drawing."""
    return drawing.with_words(words.caption, words.alt)


def flow_figure(found: StudyView) -> Drawing:
    """Participant flow; parts of the study that nobody left stand in one row."""
    flow = condensed(found.analysis.people.flow)
    drawing = found.kept.draw("participant_flow", flow, groups=found.groups)
    return worded(drawing, captions.flow_words(found.analysis.people.flow, arm_of(found.design)))


def condensed(flow: pd.DataFrame) -> pd.DataFrame:
    """Join neighbouring parts of the study that hold the same people, but for the allocation.

    Parameters
    ----------
    flow : DataFrame
        ``group, stage, n, note``.
    """
    runs: list[list[str]] = []
    before: object = None
    for place, stage in enumerate(dict.fromkeys(flow["stage"])):
        part = flow[flow["stage"] == stage]
        counts = dict(zip(part["group"].astype("str"), part["n"], strict=True))
        if place > 1 and counts == before:
            runs[-1].append(str(stage))
        else:
            runs.append([str(stage)])
        before = counts
    named = {run[0]: run[0] if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs}
    kept = flow[flow["stage"].isin(list(named))]
    return kept.assign(stage=kept["stage"].map(named)).reset_index(drop=True)


def missing_figure(found: StudyView) -> Drawing:
    """Missing-data map."""
    stages = list(dict.fromkeys(found.analysis.people.presence["stage"]))
    drawing = found.kept.draw(
        "missing_map", found.analysis.people.presence, stages=stages, groups=found.groups
    )
    return worded(
        drawing,
        captions.missing_words(
            found.analysis.people.presence, found.analysis.people.count, arm_of(found.design)
        ),
    )


def practice_figure(found: StudyView, entry: OutcomeView) -> Drawing:
    """Practice and tests."""
    drawing = found.kept.draw(
        "practice_curve",
        entry.analysis.points,
        entry.analysis.cells,
        ending=slug(entry.outcome.name),
        outcome=entry.outcome,
        groups=found.groups,
        tests={s.name: s.label.lower() for s in found.stages if s.test and s.test.name},
    )
    words = captions.practice_words(entry.analysis.points, entry.voice)
    return worded(drawing, words)


def scores_figure(found: StudyView, entry: OutcomeView) -> Drawing | None:
    """Scores of the tests that matter most: the delayed ones, else the last."""
    comparison = entry.comparison
    if not isinstance(comparison, PhaseComparison):
        return None
    tests = [stage for stage in found.stages if stage.phase != PRACTICE_PHASE]
    shown = [stage.name for stage in tests if stage.is_delayed] or [tests[-1].name]
    titles = {stage.name: stage.short for stage in tests}
    frames = [
        frame.assign(stage=frame["phase"]).replace({"phase": titles})
        for frame in (comparison.scores, comparison.means, comparison.adjusted_means)
    ]
    drawing = found.kept.draw(
        "delayed_scores",
        *frames,
        ending=slug(entry.outcome.name),
        phases=[titles[name] for name in shown],
        outcome=entry.outcome,
        groups=found.groups,
    )
    words = captions.scores_words(comparison.means, comparison.adjusted_means, shown, entry.voice)
    return worded(drawing, words)


def estimation_figure(found: StudyView, entry: OutcomeView, stage: str) -> Drawing | None:
    """Raw scores of one test with the difference from the reference on an axis of its own."""
    rows = shown_contrasts(entry)
    if rows is None or not isinstance(entry.comparison, PhaseComparison):
        return None
    rows = rows[(rows["phase"] == stage) & rows["estimate"].notna()]
    scores = entry.comparison.scores
    scores = scores[(scores["phase"] == stage) & scores["score"].notna()]
    if rows.empty or scores.empty:
        return None
    reference = rows["reference"].iloc[0]
    rows = rows[rows["reference"] == reference]
    drawing = found.kept.draw(
        "estimation_plot",
        scores[["group", "score"]],
        rows[["group", "reference", "estimate", "conf_low", "conf_high"]],
        ending=slug(entry.outcome.name),
        reference=str(reference),
        outcome=entry.outcome,
        groups=found.groups,
        null=1.0 if rows["effect"].iloc[0] == "ratio" else 0.0,
    )
    words = captions.estimation_words(rows, entry.comparison.means, stage, entry.voice)
    return worded(drawing, words)


def pairs_figure(found: StudyView, entry: OutcomeView) -> Drawing | None:
    """A line for each participant from the first to the primary test, by group."""
    stages, cells = entry.analysis.change_stages, entry.analysis.cells
    if stages is None:
        return None
    names = {stage.name: stage.short for stage in found.stages}
    pairs = cells[cells["phase"].isin(stages)].dropna(subset=["score"])
    both = pairs.groupby("participant", observed=True)["phase"].transform("nunique") == 2
    if not both.any():
        return None
    drawing = found.kept.draw(
        "paired_lines",
        pairs[["participant", "group", "phase", "score"]].replace({"phase": names}),
        ending=slug(entry.outcome.name),
        phases=(names[stages[0]], names[stages[1]]),
        outcome=entry.outcome,
        groups=found.groups,
    )
    return worded(drawing, captions.pairs_words(pairs, stages, entry.voice))


def interaction_figure(found: StudyView, entry: OutcomeView) -> Drawing | None:
    """Means of the tests by the two factors of the plan."""
    design, comparison = found.analysis.study.design, entry.comparison
    if not isinstance(comparison, PhaseComparison) or len(design.factors) != 2:
        return None
    places = {group.name: group.levels for group in design.groups}
    tests = {s.name: s.short for s in found.stages if s.phase != PRACTICE_PHASE}
    rows = comparison.means.dropna(subset=["mean"])
    rows = rows[rows["phase"].isin(list(tests)) & rows["group"].isin(list(places))]
    if rows.empty:
        return None
    levels = [places[str(name)] for name in rows["group"]]
    cells = rows.assign(line=[cell[0] for cell in levels], along=[cell[1] for cell in levels])
    first, second = design.factors
    drawing = found.kept.draw(
        "interaction_plot",
        cells.replace({"phase": tests})[
            ["phase", "line", "along", "mean", "conf_low", "conf_high"]
        ],
        ending=slug(entry.outcome.name),
        lines=first.levels,
        along=second.levels,
        outcome=entry.outcome,
        names=(first.words, second.words),
    )
    return worded(drawing, captions.interaction_words(cells, (first, second), entry.voice))


def effects_figure(found: StudyView, entry: OutcomeView) -> Drawing | None:
    """Forest of the contrasts between groups at each stage."""
    rows = shown_contrasts(entry)
    if rows is None or rows["estimate"].isna().all():
        return None
    ratio = rows["effect"].iloc[0] == "ratio"
    voice = entry.voice
    rows = rows.assign(
        name=[
            f"{voice.short(row.phase)}: {pair_in_words(row.group, row.reference, row.effect)}"
            for row in rows.itertuples()
        ]
    )
    what = "ratio of means" if ratio else "difference of means"
    unit = f" ({entry.outcome.unit})" if entry.outcome.unit and not ratio else ""
    bound = declared_bound(entry)
    drawing = found.kept.draw(
        "effect_forest",
        rows,
        ending=slug(entry.outcome.name),
        label=f"{what} in {voice.name}{unit}",
        null=1.0 if ratio else 0.0,
        bound=bound,
        decimals=2 if ratio else voice.decimals,
        decimal=voice.decimal,
        sides=_sides(entry),
    )
    return worded(drawing, captions.effects_words(rows, voice, bound))


def shown_contrasts(entry: OutcomeView) -> pd.DataFrame | None:
    """Contrasts of the figure: adjusted where there are any, tests and practice in order."""
    if not isinstance(entry.comparison, PhaseComparison) or entry.comparison.contrasts.empty:
        return None
    rows = entry.comparison.contrasts
    adjusted = rows[rows["adjusted"]]
    return adjusted if len(adjusted) else rows


def declared_bound(entry: OutcomeView) -> tuple[float, float] | None:
    """Both sides of the smallest effect of interest, where one was declared for this outcome."""
    if not isinstance(entry.comparison, PhaseComparison) or entry.comparison.equivalence.empty:
        return None
    first = entry.comparison.equivalence.iloc[0]
    return float(first["bound_low"]), float(first["bound_high"])


def _sides(entry: OutcomeView) -> tuple[str, str]:
    if entry.outcome.better == "lower":
        return "first better", "second better"
    return "second better", "first better"


def change_figure(found: StudyView, entry: OutcomeView) -> Drawing | None:
    """Paired change of every participant."""
    stages, changes = entry.analysis.change_stages, entry.analysis.person_changes
    if stages is None or changes["change"].notna().sum() == 0:
        return None
    drawing = found.kept.draw(
        "paired_change",
        changes,
        ending=slug(entry.outcome.name),
        outcome=entry.outcome,
        groups=found.groups,
    )
    words = captions.change_words(changes, stages, entry.voice)
    return worded(drawing, words)


def landing_figure(found: StudyView) -> Drawing | None:
    """Landing maps of the first test and the last delayed test, where there are landing points."""
    table = found.table
    if not {"x", "y"} <= set(table) or table[["x", "y"]].dropna().empty:
        return None
    tests = [stage for stage in found.stages if stage.phase != PRACTICE_PHASE]
    late = [stage for stage in tests if stage.phase == "retention"] or tests[-1:]
    names = list(dict.fromkeys([tests[0].name, late[-1].name]))
    labels = {stage.name: stage.short for stage in tests}
    used = table[counted_rows(table)]
    used = used.assign(phase=used["stage"])
    unit = found.design.units.get("length", "")
    radius = found.design.target.radius if found.design.target else None
    drawing = found.kept.draw(
        "landing_map",
        used.replace({"phase": labels}),
        phases=[labels[name] for name in names],
        groups=found.groups,
        radius=radius,
        unit=unit,
    )
    voice = found.outcomes[0].voice
    return worded(drawing, captions.landing_words(used, names, radius, unit, voice))
