"""Sections on what stands beside the comparison, each with its tables and what they may say."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import pandas as pd

from motorlearn.analysis import LandmarkScores, counted_blocks
from motorlearn.audit import Audit, Sensitivity
from motorlearn.curves import CurveFits, PopulationCurve, named_form
from motorlearn.digits import count
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.drawn import Drawing
from motorlearn.figures.drawing.naming import outcome_label
from motorlearn.measures import Agreement
from motorlearn.mixed import MixedFit
from motorlearn.report.view import StudyView
from motorlearn.report.writers.contents import Heading, Text, slug
from motorlearn.results import Refused
from motorlearn.tables import Column, Table
from motorlearn.vocabulary import CROSSED, term_in_words
from motorlearn.wording.outcome_kinds import scale_of_model, why_this_model
from motorlearn.wording.times import sentence_on_contrast
from motorlearn.wording.voice import listed

Block = Heading | Text | Drawing | Table

PANELS = 5
"""Panels beside each other in the figure of single curves; few groups get more than one row."""
FLAT = "level"
"""Name of a curve that shows neither rise nor fall; it does not say that nothing changed."""

TITLES = {
    "agreement": "Measurement",
    "landmarks": "Technique from landmarks",
    "curves": "Individual curves",
    "population curve": "Population curve",
    "mixed model": "Mixed model of trials",
    "assumptions": "Assumptions in detail",
    "sensitivity": "Sensitivity in detail",
}


def side_sections(found: StudyView) -> Iterator[Block]:
    """Give the blocks of every section that the study has results for."""
    writers: dict[str, Callable[[Any, StudyView], Iterator[Block]]] = {
        "agreement": _agreement,
        "landmarks": _landmarks,
        "curves": _curves,
        "population curve": _population,
        "mixed model": _mixed,
        "assumptions": _assumptions,
        "sensitivity": _sensitivity,
    }
    for name, write in writers.items():
        if name not in found.analysis.beside:
            continue
        yield Heading(TITLES[name])
        result = found.analysis.beside[name]
        if isinstance(result, Refused):
            yield Text(f"Not computed: {result.told}", "caution")
        else:
            yield from write(result, found)


def if_possible(draw: Callable[[], Drawing]) -> Drawing | None:
    """A figure, or none where the result does not hold what it shows."""
    try:
        return draw()
    except InputError:
        return None


def _named(table: Table, prefix: str) -> Table:
    return replace(table, name=f"{prefix}-{slug(table.name)}")


ESTIMATED = ("estimate", "std_error", "conf_low", "conf_high", "variance", "sd", "shift_in_unit")


def _to_places(table: Table, places: int) -> Table:
    """Write estimates and all that shares their unit with the same decimals."""
    columns = tuple(
        replace(column, kind="number", decimals=places) if column.name in ESTIMATED else column
        for column in table.columns
    )
    return replace(table, columns=columns)


def shown(drawing: Drawing | None, say: str) -> Iterator[Block]:
    """A figure with the sentence that leads to it."""
    if drawing is not None:
        yield Text(f"{{fig:{drawing.name}}} {say}")
        yield drawing


def _agreement(result: Agreement, found: StudyView) -> Iterator[Block]:
    tables = [_named(table, "raters") for table in result.tables()]
    advice = " ".join(result.advice)
    rated = count(result.recipe.n, "item")
    first = replace(tables[0], notes=())
    yield Text(f"{{tab:{first.name}}} shows agreement on {rated} that were rated twice. {advice}")
    yield _to_places(first, 2)
    for table in tables[1:]:
        if table.name in ("raters-measurement-error", "raters-drift"):
            yield Text(f"{{tab:{table.name}}}: {table.title.lower()}.")
            yield table
    limits = if_possible(lambda: found.kept.draw("bland_altman", result))
    yield from shown(limits, "shows the limits of agreement.")
    drift = if_possible(lambda: found.kept.draw("rater_drift", result))
    yield from shown(drift, "follows the raters over the order of clips.")


def _landmarks(result: LandmarkScores, found: StudyView) -> Iterator[Block]:
    """Landmarks against raters by item and in all; clips that were not scored."""
    tables = {table.name: _named(table, "technique") for table in result.tables()}
    scored = count(result.recipe.n, "clip")
    yield Text(
        f"{scored} were scored from landmarks by the checklist of the plan "
        f"({result.recipe.engine}). {result.caution}"
    )
    if "landmark_items" in tables:
        items = tables["landmark_items"]
        yield Text(
            f"{{tab:{items.name}}} sets them against the mean of the raters of the same clips: "
            "another method, not another rater, so that bias and limits are read first."
        )
        yield items
    if isinstance(result.comparison, Refused):
        yield Text(f"Not compared with raters: {result.comparison.told}", "caution")
    else:
        comparison = result.comparison
        draw = if_possible(
            lambda: found.kept.draw("bland_altman", comparison, methods=True, ending="landmarks")
        )
        yield from shown(draw, "shows the totals of both methods.")
    if "unscored" in tables:
        unscored = tables["unscored"]
        yield Text(f"{{tab:{unscored.name}}} names the clips that could not be scored.", "caution")
        yield unscored


def _mixed(result: MixedFit, found: StudyView) -> Iterator[Block]:
    ratio = found.analysis.first.effect == "ratio" and result.family == "gaussian"
    logs = result.family != "gaussian" or ratio
    places = 3 if logs else found.outcomes[0].voice.decimals + 1
    fixed, variances = (
        _in_words(_to_places(_named(table, "mixed"), places), result, found)
        for table in result.tables()[:2]
    )
    scale = scale_of_model(result, ratio)
    if why_this_model(result):
        yield Text(why_this_model(result))
    yield Text(
        "Beside the comparison of participants' means, a mixed model of all trials at baseline and "
        "primary test lets people differ at random at each test, because people and not trials "
        f"were allocated ({{tab:{fixed.name}}}, {{tab:{variances.name}}}). Its estimates are on "
        f"{scale}; it keeps everybody who has any trial, under the assumption that what is "
        "missing depends only on what was seen."
    )
    rules = found.outcomes[0].outcome.times
    if rules is not None and rules.contrast:
        yield Text(sentence_on_contrast(rules))
    yield fixed
    yield variances
    if why_this_model(result):
        label = outcome_label(found.outcomes[0].outcome)
        by = ("group", "test", *((rules.contrast,) if rules and rules.contrast else ()))
        draw = if_possible(lambda: found.kept.draw("modelled_means", result, by=by, label=label))
        yield from shown(draw, "shows what the model expects in each group at each test.")
    voice = found.outcomes[0].voice
    parts = result.explained
    yield from doubts_of_model(found.analysis.mixed_audit, "open-model-assumptions")
    yield Text(
        f"Intraclass correlation {voice.share(parts['icc'])}; R² marginal "
        f"{voice.share(parts['r2_marginal'])}, conditional {voice.share(parts['r2_conditional'])}; "
        f"{'converged' if result.converged else 'did not converge'}"
        f"{', singular' if result.singular else ''}."
    )


def doubts_of_model(audit: Audit | Refused | None, name: str) -> Iterator[Block]:
    """What the audit of a model of trials leaves open, in a table of that name."""
    if not isinstance(audit, Audit):
        return
    rows = audit.table
    rows = rows[rows["grade"] != "fine"].drop_duplicates(["assumption", "finding"])
    named = f" {{tab:{name}}} names what is open." if len(rows) else ""
    yield Text(f"Assumptions of this model: {audit.verdict}{named}")
    if len(rows):
        table = _open_assumptions(rows)
        yield replace(
            table,
            name=name,
            title="Assumptions of the model that need a look or action",
        )


def _in_words(table: Table, fit: MixedFit, found: StudyView) -> Table:
    """Terms of a model as a reader says them: ``group[T.random]`` becomes ``group: random``."""
    tests = {stage.name: stage.inside for stage in found.stages}
    plans = [fit.design.fixed, *(plan for part in fit.design.random for plan in part.plans)]
    words = {
        column: CROSSED.join(
            name if level is None else f"{name}: {tests.get(str(level), level)}"
            for name, level in parts
        )
        for plan in plans
        for column, parts in plan.parts().items()
    }
    words |= {name: term_in_words(name) for name in fit.n_groups}
    named = {
        name: [words.get(term, term) for term in table.rows[name]]
        for name in ("term", "other", "group")
        if name in table.rows
    }
    return replace(table, rows=table.rows.assign(**named))


def _curves(result: CurveFits, found: StudyView) -> Iterator[Block]:
    preferred, status = (_named(table, "curves") for table in result.tables()[:2])
    unknown, none = result.too_few_for_aicc()
    counted = f"{{tab:{preferred.name}}} counts the form that AICc prefers."
    if none:
        counted = "There are too few blocks for AICc to prefer either."
    elif unknown:
        few = count(unknown, "participant")
        counted += f" AICc compares no forms for {few} with too few blocks."
    yield Text(
        "An exponential and a power curve were fitted to each participant's own scores by block "
        f"of practice. {counted} {{tab:{status.name}}} says how far each fit can be "
        "trusted. Curves describe performance in practice; a curve through group means is not the "
        "curve of a person."
    )
    for table in (status,) if none else (preferred, status):
        columns = (*table.columns[:-1], replace(table.columns[-1], label="participants"))
        title = table.title.replace("learners", "participants")
        rows = table.rows.replace("no change", FLAT)
        yield replace(table, title=title, columns=columns, rows=rows)
    entry = found.outcomes[0]
    rows = counted_blocks(entry.analysis.cells, found.groups)
    people = rows.drop_duplicates("participant").groupby("group", observed=True)
    some = people.head(PANELS * max(1, 3 // len(found.groups)))["participant"]
    panels = if_possible(
        lambda: found.kept.draw(
            "individual_fits",
            result,
            rows,
            "score",
            practice="block",
            learners=list(some),
            group="group" if len(found.groups) > 1 else None,
            columns=PANELS,
            label=outcome_label(entry.outcome),
            practice_label="block of practice",
        )
    )
    best = "form that fits closer" if none else "form AICc prefers"
    yield from shown(panels, f"shows single participants with the {best}.")


def _of_curve(table: Table, curve: PopulationCurve) -> Table:
    """Terms of a curve as a reader says them: ``log_rate[random]`` becomes ``log rate: random``."""
    terms = list(curve.estimates["term"])
    words = {term: term_in_words(term) for term in terms}
    words |= {f"{term}[{g}]": f"{words[term]}: {g}" for term in terms for g in curve.groups}
    named = {
        name: [words.get(term, term) for term in table.rows[name]]
        for name in ("term", "other")
        if name in table.rows
    }
    return replace(table, rows=table.rows.assign(**named))


def _population(result: PopulationCurve, found: StudyView) -> Iterator[Block]:
    tables = [_of_curve(_named(table, "population"), result) for table in result.tables()]
    kept = [t for t in tables if "learner" not in t.title.lower()]
    named = ", ".join(f"{{tab:{table.name}}}" for table in kept)
    groups = (
        f"terms with a group are differences from {result.groups[0]}; "
        if len(result.groups) > 1
        else ""
    )
    varies = list(result.recipe.options["vary"])
    yield Text(
        f"A curve ({named_form(result.form).title}) was fitted to all participants at once, "
        f"whose {listed(varies)} {'vary' if len(varies) > 1 else 'varies'} from person to person "
        f"({named}); {groups}they describe performance in practice."
    )
    yield from kept
    forest = if_possible(
        lambda: found.kept.draw(
            "parameter_forest", result, unit=found.outcomes[0].outcome.unit, order=found.groups
        )
    )
    whose = "groups and participants" if len(result.groups) > 1 else "everybody and of participants"
    yield from shown(forest, f"shows the parameters of {whose}.")


def _assumptions(result: Audit, found: StudyView) -> Iterator[Block]:
    rows = result.table
    yield Text(f"{result.verdict} {{tab:assumptions}} names each with its guide and grade.")
    columns = (
        Column("analysis"),
        Column("assumption"),
        Column("diagnostic"),
        Column("value", kind="whole", decimals=3),
        Column("guide"),
        Column("grade"),
    )
    note = (
        "Guides are customs, several of them arbitrary. Grades: fine, look, act; no grade switches "
        "the model."
    )
    yield Table("assumptions", "Assumptions and how far they hold", columns, rows, (note,))
    open_rows = rows[rows["grade"] != "fine"].drop_duplicates(["assumption", "finding"])
    if len(open_rows):
        yield Text("{tab:open-assumptions} says what was found where a look or action is due.")
        yield _open_assumptions(open_rows)
    analyses = list(dict.fromkeys(result.residuals["analysis"]))
    if analyses:
        panel = if_possible(
            lambda: found.kept.draw(
                "diagnostic_panel",
                result,
                analysis=analyses[0],
                groups=found.groups,
                outcome=found.outcomes[0].outcome,
            )
        )
        yield from shown(panel, "shows the residuals.")


def _open_assumptions(rows: pd.DataFrame) -> Table:
    columns = (
        Column("assumption"),
        Column("grade"),
        Column("finding", "what was found"),
        Column("remedy", "what to do"),
        Column("source", "source of the guide"),
    )
    return Table("open-assumptions", "Assumptions that need a look or action", columns, rows)


def _sensitivity(result: Sensitivity, found: StudyView) -> Iterator[Block]:
    places = max(2, found.outcomes[0].voice.decimals)
    tables = [_to_places(_named(table, "variants"), places) for table in result.tables()]
    first = replace(tables[0], notes=())
    further = (
        f"; {{tab:{tables[1].name}}} says how far missing scores would have to lie"
        if (tables[1:])
        else ""
    )
    yield Text(f"{result.verdict} {{tab:{first.name}}} holds them{further}.")
    yield first
    yield from tables[1:]


def conclusions_figure(result: Sensitivity, found: StudyView) -> Drawing | None:
    """The primary estimate in every way it was computed."""
    unit = found.outcomes[0].outcome.unit
    return if_possible(lambda: found.kept.draw("conclusion_forest", result, unit=unit))
