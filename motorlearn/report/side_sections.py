"""Sections on what stands beside the comparison, each with its tables and what they may say."""

import re
from collections.abc import Iterator
from dataclasses import replace

from motorlearn.audit import Audit
from motorlearn.curves import CurveFits
from motorlearn.figures.style import Drawing
from motorlearn.measures import Agreement
from motorlearn.mixed import MixedFit
from motorlearn.report.contents import Heading, Text
from motorlearn.report.findings import Findings
from motorlearn.report.tabled import slug
from motorlearn.results import Refused
from motorlearn.tables import Column, Table
from motorlearn.wording.voice import count

Block = Heading | Text | Drawing | Table

TITLES = {
    "agreement": "Measurement",
    "mixed model": "Mixed model of trials",
    "curves": "Individual curves",
    "assumptions": "Assumptions",
}


def side_sections(found: Findings) -> Iterator[Block]:
    """Give the blocks of every section that the study has results for."""
    writers = {
        "agreement": _agreement,
        "mixed model": _mixed,
        "curves": _curves,
        "assumptions": _assumptions,
    }
    for name, write in writers.items():
        if name not in found.results:
            continue
        yield Heading(TITLES[name])
        result = found.results[name]
        if isinstance(result, Refused):
            yield Text(f"Not computed: {result.reason}", "caution")
        else:
            yield from write(result, found.outcomes[0].voice.decimal)


def _named(table: Table, prefix: str) -> Table:
    return replace(table, name=f"{prefix}-{slug(table.name)}")


def _agreement(result: Agreement, decimal: str) -> Iterator[Block]:
    tables = [_named(table, "raters") for table in result.tables()]
    first = replace(tables[0], notes=())
    advice = " ".join(_in_signs(text, decimal) for text in result.advice)
    rated = count(result.recipe.n, "item")
    yield Text(f"{{tab:{first.name}}} shows agreement on {rated} that were rated twice. {advice}")
    yield first
    for table in tables[1:]:
        if table.name in ("raters-measurement-error", "raters-drift"):
            yield Text(f"{{tab:{table.name}}}: {table.title.lower()}.")
            yield table


def _mixed(result: MixedFit, decimal: str) -> Iterator[Block]:
    fixed, variances = (_named(table, "mixed") for table in result.tables()[:2])
    scale = "log odds of a hit" if result.family == "binomial" else "the outcome's own scale"
    if result.formula.startswith("log("):
        scale = "the log scale, on which differences are ratios"
    yield Text(
        "Beside the comparison of participants' means, a mixed model of all trials at baseline and "
        f"primary test lets people differ at random ({{tab:{fixed.name}}}, "
        f"{{tab:{variances.name}}}). Its estimates are on {scale}; it keeps everybody who has any "
        "trial, under the assumption that what is missing depends only on what was seen."
    )
    yield replace(fixed, notes=tuple(_in_signs(note, decimal) for note in fixed.notes))
    yield variances


def _curves(result: CurveFits, decimal: str) -> Iterator[Block]:
    preferred, status = (_named(table, "curves") for table in result.tables()[:2])
    yield Text(
        "An exponential and a power curve were fitted to each participant's own scores by block "
        f"of practice. {{tab:{preferred.name}}} counts the form that AICc prefers, and "
        f"{{tab:{status.name}}} what the fits can carry. Curves describe performance in practice; "
        "a curve through group means is not the curve of a person."
    )
    for table in (preferred, status):
        columns = (*table.columns[:-1], replace(table.columns[-1], label="participants"))
        yield replace(table, title=table.title.replace("learners", "participants"), columns=columns)


def _assumptions(result: Audit, decimal: str) -> Iterator[Block]:
    rows = result.table.copy()
    texts = ["finding", "guide", "remedy", "original", "remedied"]
    for name in texts:
        rows[name] = [_in_signs(text, decimal) for text in rows[name]]
    yield Text(
        f"{result.verdict} {{tab:assumptions}} names each assumption with its guide and grade"
        + ("; {tab:sensitivity} puts remedies beside the original." if _run(rows) else ".")
    )
    columns = (
        Column("analysis"),
        Column("assumption"),
        Column("diagnostic"),
        Column("value", kind="significant", decimals=3),
        Column("guide"),
        Column("grade"),
    )
    notes = result.tables()[0].notes[1:]
    yield Table("assumptions", "Assumptions and how far they hold", columns, rows, notes)
    if _run(rows):
        run = rows[rows["original"] != ""].reset_index(drop=True)
        shown = (
            Column("assumption"),
            Column("original", "as analysed"),
            Column("remedied", "with the remedy"),
            Column("conclusion_changes", "changes", "flag"),
        )
        note = "A conclusion changes where p crosses .05, uncorrected, or the direction turns."
        yield Table(
            "sensitivity",
            "Remedies run beside the original",
            shown,
            run,
            (_in_signs(note, decimal),),
        )


def _run(rows) -> bool:
    return bool((rows["original"] != "").any())


def _in_signs(text: str, decimal: str) -> str:
    """Put the decimal sign of the report into a text that was written with points."""
    if decimal == ".":
        return text
    return re.sub(r"(?<=[\d\s<>=(−])\.(?=\d)", decimal, text)
