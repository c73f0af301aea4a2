"""Tables of a report on one outcome: scores, contrasts, changes, analyses of variance."""

from collections.abc import Callable

import pandas as pd

from motorlearn.compare import BlockComparison, PhaseComparison
from motorlearn.compare.clusters import CLUSTER
from motorlearn.compare.schemas import PERIODS
from motorlearn.report.sections.primary import baseline_name
from motorlearn.report.view import OutcomeView
from motorlearn.report.writers.contents import slug
from motorlearn.rows import Schema
from motorlearn.tables import Column, Table
from motorlearn.vocabulary import capitalised
from motorlearn.wording.factors import named_terms
from motorlearn.wording.voice import Voice


def descriptives_table(entry: OutcomeView) -> Table:
    """Group, stage and task: n, mean, SD, median, quartiles and interval of the mean."""
    voice = entry.voice
    rows = entry.analysis.by_task.assign(
        stage=[voice.short(name) for name in entry.analysis.by_task["stage"]]
    )
    tasks = (Column("task"),) if (rows["task"] != "all").any() else ()
    number = written(voice.decimals)
    columns = (
        Column("stage", "phase"),
        Column("group", voice.arm),
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
    cells = f"phase, {voice.arm} and task" if tasks else f"phase and {voice.arm}"
    return Table(
        f"means-{slug(entry.outcome.name)}",
        f"{capitalised(voice.name)}{unit} by {cells}",
        columns,
        rows,
        (
            f"Means of {voice.scores}; {voice.outcome.better} is better. CI: confidence "
            "interval of the mean (t).",
        ),
    )


def clusters_table(entry: OutcomeView) -> Table:
    """Sizes of allocated classes, resemblance within them and what that costs."""
    assert isinstance(entry.comparison, PhaseComparison)
    note = (
        "ICC: share of the variance of people's scores that lies between classes of one group "
        "(analysis of variance), with its 95 % interval; design effect: by how much a test of "
        "people would understate the variance."
    )
    title = "What it costs that whole classes were allocated"
    return _at_tests(entry, CLUSTER, "clusters", title, entry.comparison.clusters, note)


def periods_table(entry: OutcomeView) -> Table:
    """Differences between periods, and between the orders in which people met the conditions."""
    assert isinstance(entry.comparison, PhaseComparison)
    note = (
        "Sequence (carry-over): difference of people's means over the conditions between the "
        "orders in which they met them. It holds what people of these orders differ in anyway, its "
        "test is weak, and it chose no analysis."
    )
    title = "Periods, and what an order leaves behind"
    return _at_tests(entry, PERIODS, "periods", title, entry.comparison.periods, note)


def _at_tests(
    entry: OutcomeView, schema: Schema, name: str, title: str, rows: pd.DataFrame, note: str
) -> Table:
    """Rows of a result as its schema shows them, tests by the names a reader knows."""
    named = rows.assign(phase=[entry.voice.short(str(phase)) for phase in rows["phase"]])
    return schema.table(f"{name}-{slug(entry.outcome.name)}", title, named, (note,))


def contrasts_table(entry: OutcomeView, name: str, title: str, adjusted: bool) -> Table:
    """Contrasts between groups at every stage with raw and Holm-adjusted p."""
    assert isinstance(entry.comparison, PhaseComparison)
    rows = entry.comparison.contrasts
    rows = rows[rows["adjusted"] == adjusted]
    rows = rows.assign(
        stage=[entry.voice.short(stage) for stage in rows["phase"]],
        contrast=[f"{a} − {b}" for a, b in zip(rows["group"], rows["reference"], strict=True)],
        n=[entry.voice.sizes(row) for row in rows.to_dict("records")],
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


def adjusted_table(entry: OutcomeView) -> Table:
    """Means adjusted for the baseline at every stage, with what was adjusted for."""
    assert isinstance(entry.comparison, PhaseComparison)
    voice, comparison = entry.voice, entry.comparison
    rows = comparison.adjusted_means.assign(
        stage=[voice.short(name) for name in comparison.adjusted_means["phase"]]
    )
    number = written(voice.decimals)
    columns = (
        Column("stage", "phase"),
        Column("group", voice.arm),
        number("estimate", "adjusted mean", unit=voice.outcome.unit),
        number("conf_low", "95 % CI lower"),
        number("conf_high", "upper"),
        Column("std_error", "standard error", "significant", decimals=3),
        Column("df", "df", "df"),
    )
    ratio = comparison.recipe.options["effect"] == "ratio"
    what = "Geometric means" if ratio else "Means"
    scale = "; standard errors are on the log scale" if ratio else ""
    baseline = baseline_name(comparison)
    return Table(
        f"adjusted-{slug(entry.outcome.name)}",
        f"{capitalised(voice.name)} adjusted for the {baseline}",
        columns,
        rows,
        (f"{what} at the grand mean of the {baseline}, by analysis of covariance{scale}.",),
    )


def _contrast_columns(voice: Voice, ratio: bool) -> tuple[Column, ...]:
    places = 2 if ratio else voice.decimals
    number = written(places)
    unit = "" if ratio else voice.outcome.unit
    return (
        Column("stage", "phase"),
        Column("contrast"),
        Column("n"),
        number("estimate", "ratio" if ratio else "difference", unit=unit),
        number("conf_low", "95 % CI lower"),
        number("conf_high", "upper"),
        Column("statistic", "t", "number"),
        Column("df", "df", "df"),
        Column("p", "p", "p"),
        Column("p_adjusted", "p (Holm)", "p"),
        Column("g", "Hedges g", "number"),
        Column("g_low", "g lower", "number"),
        Column("g_high", "g upper", "number"),
    )


def _contrast_notes(rows: pd.DataFrame, ratio: bool, voice: Voice) -> tuple[str, ...]:
    methods = [text.rstrip(".") for text in dict.fromkeys(rows["method"]) if text]
    what = "ratio of geometric means" if ratio else "difference of means"
    scale = ", on the log scale" if ratio else ""
    return (
        f"Estimate: {what}, first {voice.arm} against second; {voice.outcome.better} is better. "
        f"Hedges g: small-sample corrected{scale}. Holm: within each test.",
        f"Method: {'; '.join(methods)}.",
    )


def _analysis(entry: OutcomeView) -> str:
    """What an analysis of variance is called: mixed where there is a factor between people."""
    return f"{'Mixed a' if entry.voice.arm == 'group' else 'A'}nalysis of variance"


def _arms(entry: OutcomeView) -> str:
    """What is crossed with tests or blocks: the group, the condition, or both factors."""
    design = entry.voice.design
    return " by ".join(factor.words for factor in design.factors) or entry.voice.arm


def anova_table(entry: OutcomeView) -> Table:
    """Mixed analysis of variance over stages with sphericity corrections."""
    assert isinstance(entry.comparison, PhaseComparison)
    return _anova(
        named_terms(entry.comparison.anova, entry.voice),
        f"anova-{slug(entry.outcome.name)}",
        f"{_analysis(entry)} of {entry.voice.name}: {_arms(entry)} by phase",
        "Complete cases only.",
    )


def practice_table(entry: OutcomeView) -> Table:
    """Mixed analysis of variance over blocks of practice."""
    assert isinstance(entry.practice, BlockComparison)
    return _anova(
        named_terms(entry.practice.anova, entry.voice),
        f"practice-{slug(entry.outcome.name)}",
        f"{_analysis(entry)} of {entry.voice.name} in practice: {_arms(entry)} by block",
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
        Column("mauchly_w", "Mauchly W", "share"),
        Column("mauchly_p", "p (W)", "p"),
        Column("partial_eta2", "partial η²", "share"),
        Column("generalised_eta2", "generalised η²", "share"),
    )
    methods = [text.rstrip(".") for text in dict.fromkeys(rows["method"]) if text]
    note += " GG, HF: Greenhouse-Geisser and Huynh-Feldt corrections (epsilon at most 1)."
    return Table(name, title, columns, rows, (note, *(f"Method: {m}." for m in methods)))


def paired_table(entry: OutcomeView) -> Table:
    """Change within each group between stages."""
    assert isinstance(entry.comparison, PhaseComparison)
    rows, voice = entry.comparison.paired, entry.voice
    rows = rows.assign(
        change=[
            f"{voice.short(a)} to {voice.stage(b).inside}"
            for a, b in zip(rows["from_phase"], rows["to_phase"], strict=True)
        ]
    )
    ratio = bool(len(rows)) and rows["effect"].iloc[0] == "ratio"
    number = written(2 if ratio else voice.decimals)
    columns = (
        Column("group", voice.arm),
        Column("change", "from and to"),
        Column("n", kind="count"),
        number(
            "estimate", "ratio" if ratio else "change", unit="" if ratio else voice.outcome.unit
        ),
        number("conf_low", "95 % CI lower"),
        number("conf_high", "upper"),
        Column("statistic", "t", "number"),
        Column("df", "df", "df"),
        Column("p", "p", "p"),
        Column("g", "g", "number"),
    )
    return Table(
        f"change-{slug(entry.outcome.name)}",
        f"Change in {voice.name} within each {voice.arm}",
        columns,
        rows,
        ("Later test against earlier test, participants with both. g: standardised change.",),
    )


def written(places: int) -> Callable[..., Column]:
    """Maker of columns of numbers with so many decimals."""

    def column(name: str, label: str = "", unit: str = "") -> Column:
        return Column(name, label, "number", unit, places)

    return column
