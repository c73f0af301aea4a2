"""Captions that stand alone, and alternative texts that carry the message."""

import math
from collections.abc import Sequence

import pandas as pd

from motorlearn.design import Factor, stages_of
from motorlearn.digits import count, lapse, plain
from motorlearn.vocabulary import PRACTICE_PHASE, capitalised
from motorlearn.wording.voice import Voice, Words, listed


def group_sizes(frame: pd.DataFrame, *, n: str = "n") -> str:
    """Write ``blocked n = 22, random n = 23`` from rows that hold ``group`` and ``n``."""
    return ", ".join(f"{row['group']} n = {int(row[n])}" for row in frame.to_dict("records"))


MANY = 8
"""Tests from which on a caption counts them instead of naming each."""


def better(voice: Voice) -> str:
    """Say which direction is better."""
    return f"{capitalised(voice.outcome.better)} is better"


def practice_words(points: pd.DataFrame, voice: Voice) -> Words:
    """Caption and alternative text of the practice curve."""
    tests = [phase for phase in dict.fromkeys(points["phase"]) if phase != PRACTICE_PHASE]
    sizes = _sizes_at(points, _in_order([*tests, PRACTICE_PHASE], voice), voice)
    caption = (
        f"{capitalised(voice.name)}{_unit(voice)} over {_span(points)}. {better(voice)}. "
        f"Large symbols: {voice.arm} means of {voice.scores}; bars: 95 % confidence intervals "
        f"of these means (t); thin lines and small symbols: participants. The axis is cut between "
        f"sessions and tests.{_blocks(points, voice)}{_tests(voice, tests)} {sizes}"
    )
    return Words(caption.strip(), _practice_alt(points, voice))


def _span(points: pd.DataFrame) -> str:
    return "practice and tests" if (points["phase"] == PRACTICE_PHASE).any() else "the tests"


def _unit(voice: Voice) -> str:
    return f" ({voice.outcome.unit})" if voice.outcome.unit else ""


def _blocks(points: pd.DataFrame, voice: Voice) -> str:
    sizes = sorted({p.trials_per_block for p in voice.design.practice})
    if not sizes or not (points["phase"] == PRACTICE_PHASE).any():
        return ""
    feedback = dict.fromkeys(p.feedback for p in voice.design.practice if p.feedback)
    said = f", with feedback ({'; '.join(feedback)})" if feedback else ""
    return f" A block of practice has {listed([str(size) for size in sizes], 'or')} trials{said}."


def _tests(voice: Voice, phases: Sequence[str]) -> str:
    parts = []
    for phase in phases:
        test = voice.stage(phase).test
        if test is not None:
            gap = f", {lapse(test.interval_days)} later" if test.interval_days else ""
            feedback = "with feedback" if test.feedback else "without feedback"
            label = voice.stage(phase).told.removeprefix("the ")
            parts.append(f"{label} ({count(test.trials, 'trial')}{gap}, {feedback})")
    if len(parts) > MANY:
        return f" {len(parts)} tests, each described in the method."
    return f" Tests: {listed(parts)}." if parts else ""


def _in_order(phases: Sequence[str], voice: Voice) -> list[str]:
    """Phases as the plan has them in time; one that it lacks comes last."""
    known = [stage.name for stage in stages_of(voice.design)]
    return sorted(phases, key=lambda name: known.index(name) if name in known else len(known))


def _sizes_at(points: pd.DataFrame, phases: Sequence[str], voice: Voice) -> str:
    said: list[str] = []
    sizes: list[str] = []
    for phase in phases:
        rows = points[(points["phase"] == phase) & points["mean"].notna()]
        if rows.empty:
            continue
        spread = rows.groupby("group", sort=False)["n"].agg(["min", "max"])
        parts = [
            f"{group} {int(low)}" + (f" to {int(high)}" if high > low else "")
            for group, low, high in spread.itertuples()
        ]
        sizes.append(", ".join(parts))
        said.append(f"{voice.stage(phase).told.split(' (')[0]}: {sizes[-1]}")
    if len(set(sizes)) == 1:
        said = sizes[:1]
    if len(said) > MANY:
        spread = points[points["mean"].notna()].groupby("group", sort=False)["n"]
        said = [f"{group} {_from_to(mine)}" for group, mine in spread]
    return f"{capitalised(voice.one)}s at each point: {'; '.join(said)}." if said else ""


def _from_to(counts: pd.Series) -> str:
    low, high = int(counts.min()), int(counts.max())
    return str(low) if low == high else f"{low} to {high}"


def _practice_alt(points: pd.DataFrame, voice: Voice) -> str:
    phases = list(dict.fromkeys(points["phase"]))
    kind = (
        f"Line chart of {voice.name}{_unit(voice)} over {_span(points)}, one line per "
        f"{voice.arm} ({listed([str(g) for g in dict.fromkeys(points['group'])])})."
    )
    message = []
    for group, mine in points.groupby("group", sort=False):
        practised = mine[mine["phase"] == PRACTICE_PHASE]
        if len(practised) > 1:
            first, last = practised["mean"].iloc[0], practised["mean"].iloc[-1]
            message.append(f"{group} from {voice.measured(first)} to {voice.measured(last)}")
    start = f" Over practice the means went: {'; '.join(message)}." if message else ""
    end = _phase_means(points, [p for p in phases if p != PRACTICE_PHASE][-1:], voice)
    return kind + start + end


def _phase_means(points: pd.DataFrame, phases: Sequence[str], voice: Voice) -> str:
    said = []
    for phase in phases:
        rows = points[(points["phase"] == phase) & points["mean"].notna()]
        parts = [f"{row.group} {voice.measured(row.mean)}" for row in rows.itertuples()]
        if parts:
            said.append(f" At {voice.at(phase)}: {listed(parts)}.")
    return "".join(said)


def scores_words(
    means: pd.DataFrame, adjusted: pd.DataFrame | None, phases: Sequence[str], voice: Voice
) -> Words:
    """Caption and alternative text of the scores of the tests by group."""
    rows = means[means["phase"].isin(list(phases)) & means["mean"].notna()]
    sizes = "; ".join(
        f"{voice.stage(phase).told.removeprefix('the ')}: {group_sizes(part)}"
        for phase, part in rows.groupby("phase", sort=False)
    )
    open_symbols = (
        " Open symbols: means adjusted for the baseline with their 95 % confidence intervals."
        if adjusted is not None and adjusted["phase"].isin(list(phases)).any()
        else ""
    )
    names = listed([voice.stage(phase).told for phase in phases])
    caption = (
        f"{capitalised(voice.name)}{_unit(voice)} by {voice.arm} at {names}. {better(voice)}. "
        f"Small symbols: {voice.one}s; filled symbols: {voice.arm} means with 95 % confidence "
        f"intervals of {voice.scores} (t).{open_symbols}{_tests(voice, phases)} "
        f"{capitalised(sizes)}."
    )
    alt = (
        f"Dot plot of {voice.name}{_unit(voice)} of every {voice.one} by {voice.arm} at {names}."
        + _phase_means(rows, phases, voice)
    )
    return Words(caption, alt)


def change_words(changes: pd.DataFrame, phases: tuple[str, str], voice: Voice) -> Words:
    """Caption and alternative text of the paired change, with everybody's own interval."""
    known = changes.dropna(subset=["change"])
    sizes = known.groupby("group", sort=False)["change"].agg(["count", "mean"])
    said = [
        f"{group} {voice.number(mean)}{voice.unit} (n = {n})"
        for group, n, mean in sizes.itertuples()
    ]
    own, beyond = "", ""
    judged = known.dropna(subset=["conf_low"])
    if len(judged):
        outside = int(((judged["conf_low"] > 0) | (judged["conf_high"] < 0)).sum())
        own = (
            " Bars: 95 % interval of each person's own change, from that person's trials alone; "
            "day-to-day variation would widen it."
        )
        beyond = (
            f" The intervals of {outside} of {len(judged)} participants leave out zero; chance "
            f"alone would make about {voice.number(0.05 * len(judged), 1)} do so."
        )
    caption = (
        f"Change in {voice.name}{_unit(voice)} of each participant from {voice.at(phases[0])} to "
        f"{voice.at(phases[1])}, sorted within {voice.arm}. {better(voice)}. Dashed line: mean "
        f"change of the {voice.arm}.{own} Mean changes: {listed(said)}."
    )
    alt = (
        f"Plot of the change in {voice.name} of every participant by {voice.arm}. "
        f"Mean changes: {listed(said)}.{beyond}"
    )
    return Words(caption, alt)


def landing_words(
    trials: pd.DataFrame,
    phases: Sequence[str],
    radius: float | None,
    unit: str,
    voice: Voice,
) -> Words:
    """Caption and alternative text of the landing maps."""
    points = trials[trials["phase"].isin(list(phases))].dropna(subset=["x", "y"])
    names = listed([voice.stage(p).told for p in phases if (points["phase"] == p).any()])
    found = points.groupby("group", sort=False)["x"].count()
    order = [name for name in voice.design.group_names if name in found.index]
    counts = found.reindex(order or found.index)
    target = (
        f" Grey disc: the target (radius {plain(radius)}{' ' + unit if unit else ''})."
        if radius
        else ""
    )
    caption = (
        f"Landing points at {names}, by {voice.arm}, on equal axes with the same scale; the target "
        f"centre is the origin.{target} Dots: trials; crosses at the edge: trials beyond the "
        "frame; large symbol: mean landing point; ellipse: holds 95 % of a bivariate normal "
        "with the covariance of the trials shown (a description of trials, not an interval of "
        f"the mean). Trials: {', '.join(f'{group} {n}' for group, n in counts.items())}."
    )
    centres = points.groupby(["phase", "group"], sort=False)[["x", "y"]].mean()
    said = [
        f"{group} at {voice.stage(phase).told}: {_off_target(x, y, voice)}"
        for (phase, group), x, y in centres.itertuples()
    ]
    alt = (
        f"Scatter plots of landing points about the target at {names}, one panel per {voice.arm}. "
        f"Mean landing points{f' ({unit})' if unit else ''}: {'; '.join(said)}."
    )
    return Words(caption, alt)


def effects_words(
    contrasts: pd.DataFrame, voice: Voice, bound: tuple[float, float] | None
) -> Words:
    """Caption and alternative text of the effect forest."""
    ratio = bool(len(contrasts)) and contrasts["effect"].iloc[0] == "ratio"
    what = "Ratios of means" if ratio else "Differences of means"
    places = 2 if ratio else voice.decimals
    said = [
        f"{row['group']} against {row['reference']} {voice.during(str(row['phase']))} "
        + (
            f"{voice.number(row['estimate'], places)} "
            f"({voice.number(row['conf_low'], places)} to {voice.number(row['conf_high'], places)})"
            if math.isfinite(row["estimate"])
            else "not computed"
        )
        for row in contrasts.to_dict("records")
    ]
    null = "1 (same size)" if ratio else "0"
    grey = " Grey band: less than the smallest effect of interest." if bound else ""
    adjusted = " adjusted for the baseline" if contrasts["adjusted"].all() else ""
    caption = (
        f"{what} in {voice.name}{'' if ratio else _unit(voice)} between {voice.several}{adjusted}, "
        f"with 95 % confidence intervals, not corrected for multiplicity. {better(voice)}. "
        f"Vertical line: {null}.{grey}{_compared_sizes(contrasts, voice)}"
    )
    return Words(caption, f"Forest plot. {capitalised('; '.join(said))}.")


def estimation_words(rows: pd.DataFrame, means: pd.DataFrame, stage: str, voice: Voice) -> Words:
    """Caption and alternative text of raw scores with the difference on an axis of its own."""
    ratio = rows["effect"].iloc[0] == "ratio"
    places = 2 if ratio else voice.decimals
    own = means[(means["phase"] == stage) & means["mean"].notna()]
    said = [
        f"{row['group']} {'over' if ratio else 'minus'} {row['reference']}: "
        f"{voice.number(row['estimate'], places)} "
        f"({voice.number(row['conf_low'], places)} to {voice.number(row['conf_high'], places)})"
        for row in rows.to_dict("records")
    ]
    what = "ratio of means" if ratio else "difference of means"
    adjusted = ", adjusted for the baseline," if rows["adjusted"].all() else ""
    null = "1 (same size)" if ratio else "0"
    caption = (
        f"Above: {voice.name}{_unit(voice)} of every {voice.one} {voice.during(stage)}, bars: "
        f"{voice.arm} means ({group_sizes(own)}). {better(voice)}. Below, on an axis of its own: "
        f"the {what}{adjusted} with its 95 % confidence interval, not corrected for multiplicity; "
        f"horizontal line: {null}."
    )
    alt = f"Dot plot of {voice.name} by {voice.arm} {voice.during(stage)} with the {what} beneath."
    return Words(caption, f"{alt} {capitalised('; '.join(said))}.")


def interaction_words(cells: pd.DataFrame, factors: tuple[Factor, Factor], voice: Voice) -> Words:
    """Caption and alternative text of the means of the tests by two factors."""
    one, other = (factor.words for factor in factors)
    said = [
        f"{voice.during(test)} "
        + ", ".join(
            f"{row['line']} with {row['along']} {voice.number(row['mean'])}"
            for row in rows.to_dict("records")
        )
        for test, rows in cells.groupby("phase", sort=False)
    ]
    caption = (
        f"{capitalised(voice.name)}{_unit(voice)}: mean of each cell at the tests with its 95 % "
        f"confidence interval, not adjusted; lines: {one}; along the axis: {other}. "
        f"{better(voice)}. Whether {one} does the same at every level of {other} is told by the "
        "interval of the interaction, not by the look of the lines."
    )
    return Words(caption, f"Lines of cell means. {capitalised('; '.join(said))}.")


def pairs_words(pairs: pd.DataFrame, stages: tuple[str, str], voice: Voice) -> Words:
    """Caption and alternative text of a line for each participant between two tests."""
    first, second = stages
    wide = pairs.pivot_table(
        index=["participant", "group"], columns="phase", values="score", observed=True, sort=False
    ).reindex(columns=[first, second])
    both = wide.dropna()
    means = both.groupby(level="group", sort=False)[[first, second]].agg(["mean", "count"])
    said = [
        f"{group} {voice.number(row[(first, 'mean')])} to {voice.number(row[(second, 'mean')])}"
        f"{voice.unit} (n = {int(row[(first, 'count')])})"
        for group, row in means.iterrows()
    ]
    alone = len(wide) - len(both)
    points = (
        f" Single points: {count(alone, 'participant')} with one of the tests." if alone else ""
    )
    caption = (
        f"{capitalised(voice.name)}{_unit(voice)} of each participant {voice.during(first)} and "
        f"{voice.during(second)}. {better(voice)}. Thin lines: participants; thick line: mean of "
        f"those with both tests: {listed(said)}.{points}"
    )
    return Words(caption, f"Lines of participants from one test to another. Means: {listed(said)}.")


def _compared_sizes(contrasts: pd.DataFrame, voice: Voice) -> str:
    """Participants behind the contrasts of each test."""
    said = []
    for phase, rows in contrasts.groupby("phase", sort=False):
        sizes: dict[str, int] = {}
        for row in rows.to_dict("records"):
            sizes |= {row["reference"]: row["n_reference"], row["group"]: row["n_group"]}
        label = voice.stage(str(phase)).told.removeprefix("the ")
        said.append(f"{label}: {', '.join(f'{group} {int(n)}' for group, n in sizes.items())}")
    return f" {capitalised(voice.one)}s: {'; '.join(said)}."


def flow_words(flow: pd.DataFrame, arm: str = "group") -> Words:
    """Caption and alternative text of the participant flow."""
    stages = list(dict.fromkeys(flow["stage"]))
    said = [
        f"{stage}: {group_sizes(flow[flow['stage'] == stage])}" for stage in (stages[0], stages[-1])
    ]
    caption = (
        f"Flow of participants by {arm}. A box gives the participants with at least one usable "
        "trial in that part of the study, how many of those allocated are absent, and the reasons "
        "noted for those who are absent for the first time; parts that hold the same people share "
        "a row."
    )
    return Words(caption, f"Flow chart of participants by {arm}. {'; '.join(said)}.")


def _off_target(x: float, y: float, voice: Voice) -> str:
    """Where a landing point lies, without signs: to which side, and before or beyond."""
    side, end = "right" if x >= 0 else "left", "beyond" if y >= 0 else "short"
    return f"{voice.number(abs(x), 1)} {side}, {voice.number(abs(y), 1)} {end}"


def missing_words(presence: pd.DataFrame, people: int, arm: str = "group") -> Words:
    """Caption and alternative text of the missing-data map."""
    absent = presence[presence["share"] == 0]
    part = presence[(presence["share"] > 0) & (presence["share"] < 1)]
    by_stage = absent.groupby("stage", sort=False)["participant"].nunique()
    gone = listed([f"{stage}: {n}" for stage, n in by_stage.items()]) or "nowhere"
    caption = (
        f"Which trials can be used, by participant (column), part of the study (row) and {arm}. "
        "Light: every planned trial; dark: some lack or are void; crossed: none."
    )
    alt = (
        f"Map of usable trials of {count(people, 'participant')}. Participants without any trial – "
        f"{gone}. Cells with some trials lacking: {len(part)} of {len(presence)}."
    )
    return Words(caption, alt)
