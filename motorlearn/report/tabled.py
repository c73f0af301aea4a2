"""Tables of a report, each a function of what was found."""

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import pandas as pd

from motorlearn import digits
from motorlearn.compare import BlockComparison, PhaseComparison
from motorlearn.design import Design, Test
from motorlearn.report.findings import Findings, OutcomeFindings
from motorlearn.tables import Column, Table
from motorlearn.wording.standards import standards_checklist
from motorlearn.wording.voice import Voice, capitalised, count

NOT_BASELINE = ("participant", "group", "status")
MANY = 8
"""A column of participants with more different texts than this is not tabulated."""


def slug(text: str) -> str:
    """Name for a file or a reference."""
    return "".join(c if c.isalnum() else "-" for c in text.lower()).strip("-")


def _written(places: int) -> Callable[..., Column]:
    """Maker of columns of numbers with so many decimals."""

    def column(name: str, label: str = "", unit: str = "") -> Column:
        return Column(name, label, "number", unit, places)

    return column


def participants_table(found: Findings) -> Table:
    """Participants by group: numbers and shares, mean and SD; without tests of the baseline."""
    rows: list[tuple[str, str, Mapping[str, object]]] = [("Allocated", "", found.allocated)]
    people, decimal = found.people, found.outcomes[0].voice.decimal
    for name in people.columns:
        if name in NOT_BASELINE:
            continue
        if pd.api.types.is_numeric_dtype(people[name]) and people[name].nunique() > 2:
            rows.append((_label(name), "mean (SD)", _mean_sd(people, name, decimal)))
        elif people[name].nunique() <= MANY:
            rows += _shares(people, name)
    frame = pd.DataFrame(
        [
            {
                "characteristic": label,
                "written": how,
                **{g: cells.get(g, "–") for g in found.groups},
            }
            for label, how, cells in rows
        ]
    )
    columns = [Column("characteristic"), Column("written", "as")]
    columns += [Column(group) for group in found.groups]
    return Table(
        "participants",
        "Participants by group",
        tuple(columns),
        frame.astype("str"),
        ("Groups are described, not tested: any difference arose by allocation.",),
    )


def _label(name: str) -> str:
    return capitalised(name.replace("_", " "))


def _mean_sd(people: pd.DataFrame, name: str, decimal: str) -> dict[str, str]:
    parts = people.groupby("group")[name].agg(["mean", "std"])
    return {
        str(
            group
        ): f"{digits.number(mean, 1, decimal=decimal)} ({digits.number(sd, 1, decimal=decimal)})"
        for group, mean, sd in parts.itertuples()
    }


def _shares(people: pd.DataFrame, name: str) -> list[tuple[str, str, dict[str, str]]]:
    rows = []
    known = people.dropna(subset=[name])
    sizes = known["group"].value_counts()
    for level in sorted(known[name].unique(), key=str):
        counts = known.loc[known[name] == level, "group"].value_counts()
        cells = {
            str(group): f"{counts.get(group, 0)} ({digits.percent(counts.get(group, 0) / size)})"
            for group, size in sizes.items()
        }
        shown = f"{level:g}" if isinstance(level, float) else level
        rows.append((f"{_label(name)}: {shown}", "n (%)", cells))
    return rows


def programme_table(design: Design) -> Table:
    """The programme: every session and test with its day, trials and feedback."""
    rows: list[dict[str, Any]] = [
        {
            "order": (session.day, 1, session.session),
            "part": f"Practice session {session.session}",
            "day": session.day,
            "trials": session.trials,
            "content": f"{count(session.blocks, 'block')} of {session.trials_per_block}",
            "feedback": _feedback(session.feedback, session.feedback_every),
        }
        for session in design.practice
    ]
    for place, test in enumerate(design.tests):
        day = test.planned_day
        rows.append(
            {
                "order": (_day(test), 0 if test.phase == "pretest" else 2, place),
                "part": capitalised(test.name or test.phase),
                "day": day,
                "trials": test.trials,
                "content": test.description,
                "feedback": "yes" if test.feedback else "none",
            }
        )
    frame = pd.DataFrame(sorted(rows, key=lambda row: row["order"])).drop(columns="order")
    frame["day"] = frame["day"].astype("float")
    columns = (
        Column("part"),
        Column("day", kind="number", decimals=0),
        Column("trials", kind="count"),
        Column("content"),
        Column("feedback"),
    )
    return Table(
        "programme",
        "The programme: practice sessions and tests",
        columns,
        frame,
        ("Day 0 is the first practice session.",),
    )


def _day(test: Test) -> float:
    """Day of a test, or where it stands when the plan gives none: a pretest first, others last."""
    if test.planned_day is not None:
        return test.planned_day
    return -math.inf if test.phase == "pretest" else math.inf


def _feedback(what: str, every: int | None) -> str:
    if every == 0:
        return "none"
    often = "" if every is None else ", every trial" if every == 1 else f", every {every} trials"
    return f"{what}{often}" if what else "–"


def descriptives_table(entry: OutcomeFindings) -> Table:
    """Group, stage and task: n, mean, SD, median, quartiles and interval of the mean."""
    voice = entry.voice
    rows = entry.by_task.assign(
        stage=[voice.label(name).split(" (")[0] for name in entry.by_task["stage"]]
    )
    tasks = (Column("task"),) if (rows["task"] != "all").any() else ()
    number = _written(voice.decimals)
    columns = (
        Column("stage"),
        Column("group"),
        *tasks,
        Column("n", kind="count"),
        number("mean"),
        number("sd", "SD"),
        number("median"),
        number("quartile_low", "25 %"),
        number("quartile_high", "75 %"),
        number("conf_low", "95 % CI lower"),
        number("conf_high", "upper"),
    )
    unit = f" ({entry.outcome.unit})" if entry.outcome.unit else ""
    cells = "test, group and task" if tasks else "test and group"
    return Table(
        f"means-{slug(entry.outcome.name)}",
        f"{capitalised(voice.name)}{unit} by {cells}",
        columns,
        rows,
        (
            f"Means of participants' scores; {voice.outcome.better} is better. CI: confidence "
            "interval of the mean (t).",
        ),
    )


def contrasts_table(entry: OutcomeFindings, name: str, title: str, adjusted: bool) -> Table:
    """Contrasts between groups at every stage with raw and Holm-adjusted p."""
    assert isinstance(entry.comparison, PhaseComparison)
    rows = entry.comparison.contrasts
    rows = rows[rows["adjusted"] == adjusted]
    rows = rows.assign(
        stage=[entry.voice.label(stage).split(" (")[0] for stage in rows["phase"]],
        contrast=[f"{a} − {b}" for a, b in zip(rows["group"], rows["reference"], strict=True)],
        n=[f"{a} + {b}" for a, b in zip(rows["n_group"], rows["n_reference"], strict=True)],
    )
    ratio = bool(len(rows)) and rows["effect"].iloc[0] == "ratio"
    if ratio:
        rows["contrast"] = rows["contrast"].str.replace(" − ", " / ")
    return Table(
        name,
        title,
        _contrast_columns(entry.voice, ratio),
        rows,
        _contrast_notes(rows, ratio, entry.voice),
    )


def adjusted_table(entry: OutcomeFindings) -> Table:
    """Means adjusted for the baseline at every stage, with what was adjusted for."""
    assert isinstance(entry.comparison, PhaseComparison)
    voice, comparison = entry.voice, entry.comparison
    rows = comparison.adjusted_means.assign(
        stage=[voice.label(name).split(" (")[0] for name in comparison.adjusted_means["phase"]]
    )
    number = _written(voice.decimals)
    columns = (
        Column("stage"),
        Column("group"),
        number("estimate", "adjusted mean", unit=voice.outcome.unit),
        number("conf_low", "95 % CI lower"),
        number("conf_high", "upper"),
        Column("std_error", "standard error", "significant", decimals=3),
        Column("df", "df", "df"),
    )
    ratio = comparison.recipe.options["effect"] == "ratio"
    what = "Geometric means" if ratio else "Means"
    scale = "; standard errors are on the log scale" if ratio else ""
    baseline = comparison.recipe.options["baseline"]
    return Table(
        f"adjusted-{slug(entry.outcome.name)}",
        f"{capitalised(voice.name)} adjusted for the {baseline}",
        columns,
        rows,
        (f"{what} at the grand mean of the {baseline}, by analysis of covariance{scale}.",),
    )


def _contrast_columns(voice: Voice, ratio: bool) -> tuple[Column, ...]:
    places = 2 if ratio else voice.decimals
    number = _written(places)
    unit = "" if ratio else voice.outcome.unit
    return (
        Column("stage"),
        Column("contrast"),
        Column("n"),
        number("estimate", "ratio" if ratio else "difference", unit=unit),
        number("conf_low", "95 % CI lower"),
        number("conf_high", "upper"),
        Column("statistic", "t", "number"),
        Column("df", "df", "df"),
        Column("p", "p", "p"),
        Column("p_holm", "p (Holm)", "p"),
        Column("g", "Hedges g", "number"),
        Column("g_low", "g lower", "number"),
        Column("g_high", "g upper", "number"),
    )


def _contrast_notes(rows: pd.DataFrame, ratio: bool, voice: Voice) -> tuple[str, ...]:
    methods = [text.rstrip(".") for text in dict.fromkeys(rows["method"]) if text]
    what = "ratio of geometric means" if ratio else "difference of means"
    scale = ", on the log scale" if ratio else ""
    return (
        f"Estimate: {what}, first group against second; {voice.outcome.better} is better. "
        f"Hedges g: small-sample corrected{scale}. Holm: within each test.",
        f"Method: {'; '.join(methods)}.",
    )


def anova_table(entry: OutcomeFindings) -> Table:
    """Mixed analysis of variance over stages with sphericity corrections."""
    assert isinstance(entry.comparison, PhaseComparison)
    return _anova(
        entry.comparison.anova,
        f"anova-{slug(entry.outcome.name)}",
        f"Mixed analysis of variance of {entry.voice.name}: group by test",
        "Complete cases only.",
    )


def practice_table(entry: OutcomeFindings) -> Table:
    """Mixed analysis of variance over blocks of practice."""
    assert isinstance(entry.practice, BlockComparison)
    return _anova(
        entry.practice.anova,
        f"practice-{slug(entry.outcome.name)}",
        f"Mixed analysis of variance of {entry.voice.name} in practice: group by block",
        "Performance during practice; complete cases only.",
    )


def _anova(rows: pd.DataFrame, name: str, title: str, note: str) -> Table:
    columns = (
        Column("term"),
        Column("df1", "df 1", "df"),
        Column("df2", "df 2", "df"),
        Column("statistic", "F", "number"),
        Column("p", "p", "p"),
        Column("p_gg", "p (GG)", "p"),
        Column("p_hf", "p (HF)", "p"),
        Column("epsilon_gg", "ε (GG)", "number", decimals=3),
        Column("mauchly_w", "Mauchly W", "number", decimals=3),
        Column("mauchly_p", "p (W)", "p"),
        Column("partial_eta2", "partial η²", "number", decimals=3),
        Column("generalised_eta2", "generalised η²", "number", decimals=3),
    )
    methods = [text.rstrip(".") for text in dict.fromkeys(rows["method"]) if text]
    note += " GG, HF: Greenhouse-Geisser and Huynh-Feldt corrections (epsilon at most 1)."
    return Table(name, title, columns, rows, (note, *(f"Method: {m}." for m in methods)))


def paired_table(entry: OutcomeFindings) -> Table:
    """Change within each group between stages."""
    assert isinstance(entry.comparison, PhaseComparison)
    rows, voice = entry.comparison.paired, entry.voice
    rows = rows.assign(
        change=[
            f"{voice.label(a).split(' (')[0]} to {voice.label(b).split(' (')[0]}"
            for a, b in zip(rows["from_phase"], rows["to_phase"], strict=True)
        ]
    )
    ratio = bool(len(rows)) and rows["effect"].iloc[0] == "ratio"
    number = _written(2 if ratio else voice.decimals)
    columns = (
        Column("group"),
        Column("change", "from and to"),
        Column("n", kind="count"),
        number("estimate", "ratio" if ratio else "change"),
        number("conf_low", "95 % CI lower"),
        number("conf_high", "upper"),
        Column("statistic", "t", "number"),
        Column("df", "df", "df"),
        Column("p", "p", "p"),
        Column("g", "g", "number"),
    )
    return Table(
        f"change-{slug(entry.outcome.name)}",
        f"Change in {voice.name} within each group",
        columns,
        rows,
        ("Later test against earlier test, participants with both. g: standardised change.",),
    )


def attrition_table(found: Findings) -> Table:
    """Absences and trials left out, with reasons."""
    columns = (
        Column("stage", "part of the study"),
        Column("group"),
        Column("reason"),
        Column("participants", kind="count"),
        Column("rows", "trials", "count"),
    )
    return Table(
        "missing",
        "Absent participants and trials left out",
        columns,
        found.attrition,
        ("Nobody and nothing else was left out.",),
    )


def problems_table(problems: pd.DataFrame) -> Table:
    """Doubts and notes that reading the data raised."""
    columns = [Column(name) for name in ("file", "row", "column", "value", "rule", "advice")]
    shown = problems[problems["severity"] != "note"].head(40)
    rest = len(problems) - len(shown)
    notes = (f"{count(rest, 'further entry')} of less weight.",) if rest else ()
    return Table("doubts", "Doubts in the data", tuple(columns), shown.astype("str"), notes)


def deviations_table(conduct: pd.DataFrame) -> Table:
    """What was done otherwise than planned; of many people the first few are named."""
    columns = [Column(name) for name in ("topic", "where", "planned", "actual")]
    columns += [Column("people", kind="count"), Column("participants")]
    shown = conduct.assign(
        where=conduct["where"].str.replace("practice session", "session"),
        participants=conduct["participants"].map(_first_few),
    )
    return Table("deviations", "Plan and conduct", tuple(columns), shown)


def _first_few(names: str, most: int = 8) -> str:
    people = names.split(", ")
    rest = len(people) - most
    return names if rest < 1 else f"{', '.join(people[:most])} and {rest} more"


def standards_table(design: Design, sections: Sequence[str]) -> Table:
    """Reporting standards: what is covered where, what the author must write."""
    columns = (
        Column("standard"),
        Column("item"),
        Column("covered", kind="flag"),
        Column("where"),
    )
    return Table(
        "standards",
        "Reporting standards: covered here, or for the author to write",
        columns,
        standards_checklist(design, set(sections)),
        ("Items in our own words after JARS-Quant, CONSORT and TIDieR; see your journal's form.",),
    )
