"""A study in, a folder out: pages, figures in three formats, tables, and every number."""

import functools
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
from tqdm.auto import tqdm

from motorlearn import tables
from motorlearn.analysis import StudyAnalysis, analyse_study
from motorlearn.digits import count, decimal_sign
from motorlearn.exceptions import InputError
from motorlearn.figures import drawing as house
from motorlearn.figures.drawing.drawn import Drawing
from motorlearn.files import new_folder
from motorlearn.report.figure_cache import FORMS, Kept, entry, fingerprint, keep, kept_from
from motorlearn.report.prints import Print
from motorlearn.report.sections.before_data import NOTHING_YET, compose_plan, nothing_recorded
from motorlearn.report.sections.results import compose
from motorlearn.report.view import StudyView, view_of
from motorlearn.report.writers.contents import Document
from motorlearn.report.writers.numbers import to_no_results, to_results
from motorlearn.report.writers.page import to_page
from motorlearn.report.writers.word import to_word
from motorlearn.results import software_versions
from motorlearn.tables import to_csv
from motorlearn.tables.latex import to_latex
from motorlearn.trials import Study, study_sums
from motorlearn.trials.study import study_or_refuse

MARK = "report.html"


def write_report(
    study: Study | StudyAnalysis,
    folder: str | Path,
    *,
    short: bool = False,
    outcome: str | None = None,
    decimal: str = ".",
    draft: bool = True,
    pdf: bool = False,
    quiet: bool | None = None,
) -> Path:
    """Write the report of a study into a folder, whole or not at all.

    Its first part, a few pages, is what every reader reads: question, design, participants, primary
    result, practice, secondary results, open assumptions, sensitivity, limitations and method.
    Everything behind it follows in an appendix, folded on the page.

    The folder holds ``report.html`` and ``report.docx``, every figure as PNG and SVG, every table
    as CSV, LaTeX and HTML and together as a workbook, and ``results.json``. Where it holds an
    earlier report of the same data, only what changed is drawn again. Of a study without data the
    report holds the plan and what is open in it.

    Parameters
    ----------
    study : Study or StudyAnalysis
        What :func:`motorlearn.read_study` or :func:`motorlearn.analyse_study` gave.
    folder : path-like
        Folder to make, or to replace where an earlier report is in it.
    short : bool
        Whether the first part is written alone; ``results.json`` holds every number all the same.
    outcome : str, optional
        Report this outcome only.
    decimal : {".", ","}
        Decimal sign of every text and table.
    draft : bool
        Whether remarks to the author are shown.
    pdf : bool
        Whether every figure is written as PDF too.
    quiet : bool, optional
        True shows no progress; by default it is shown on a terminal.

    Returns
    -------
    Path
        The page, ``report.html``.

    Raises
    ------
    InputError
        If the data have errors, with their number; ``study.problems`` lists them. If the plan does
        not fit the data, as :func:`motorlearn.analyse_study` says.
    FileError
        If the folder holds somebody's other work or cannot be written.
    """
    kept = kept_from(Path(folder), FORMS + (("pdf",) if pdf else ()))
    with decimal_sign(known_sign(decimal)):
        if isinstance(study, Study) and nothing_recorded(study):
            return _write_plan(study, Path(folder), kept, decimal, draft, quiet)
        analysis = analysed(study, only=outcome, decimal=decimal, quiet=quiet)
        found = view_of(analysis, decimal=decimal)
        with new_folder(folder, mark=MARK) as work, ExitStack() as drawers:
            press = functools.cache(lambda: drawers.enter_context(house.press()))
            found = replace(found, kept=replace(kept, press=press))
            write_found(found, work, decimal=decimal, draft=draft, short=short, quiet=quiet)
    return Path(folder) / MARK


def analysed(
    study: Study | StudyAnalysis,
    *,
    only: str | None = None,
    decimal: str = ".",
    quiet: bool | None = None,
) -> StudyAnalysis:
    """The analysis of a study, unless its data have errors; one that was made is taken over.

    One that was made with decimal points is made again where its texts are to have commas.

    Raises
    ------
    InputError
        If the data have errors, or the outcome is not known.
    """
    if isinstance(study, StudyAnalysis):
        if only is not None and list(study.details) != [only]:
            raise InputError("this analysis holds other outcomes", [only], "give the study itself")
        if decimal == ".":
            return study
        only, study = study.recipe.options["outcome"], study.study
    _refuse_errors(study_or_refuse(study))
    with tqdm(total=1, desc="computing", disable=quiet, leave=False) as progress:
        analysis = analyse_study(study, outcome=only)
        progress.update()
    return analysis


def known_sign(decimal: str) -> str:
    """The decimal sign, if it is one."""
    if decimal not in (".", ","):
        raise InputError("the decimal sign is a point or a comma", [decimal])
    return decimal


def write_found(
    found: StudyView, work: Path, *, decimal: str, draft: bool, short: bool, quiet: bool | None
) -> None:
    """Write everything that was found into an empty folder."""
    versions = software_versions()
    made = _made(found.study, versions)
    with tqdm(total=2, desc="report", disable=quiet, leave=False) as progress:
        document = compose(found, decimal=decimal, draft=draft, short=short, versions=versions)
        progress.update()
        _write_document(document, work, found.kept, made, quiet)
        (work / "results.json").write_text(to_results(found, document, made), "utf-8")
        progress.update()


def _write_plan(
    study: Study, folder: Path, kept: Kept, decimal: str, draft: bool, quiet: bool | None
) -> Path:
    """Write the report of a study without data: its plan, and what is open in it."""
    _refuse_errors(study)
    versions = software_versions()
    made = _made(study, versions)
    with new_folder(folder, mark=MARK) as work:
        document = compose_plan(study, kept=kept, decimal=decimal, draft=draft, versions=versions)
        _write_document(document, work, kept, made, quiet)
        (work / "results.json").write_text(to_no_results(document, made, NOTHING_YET), "utf-8")
    return folder / MARK


def _write_document(
    document: Document, work: Path, kept: Kept, made: dict[str, str], quiet: bool | None
) -> None:
    """Write figures, tables and both texts of a document."""
    pictures, entries = _draw(document.drawings, work, kept.forms, quiet)
    keep(work, entries | _tabulate(document, work, kept))
    (work / "report.docx").write_bytes(to_word(document, pictures, made))
    (work / MARK).write_text(to_page(document, pictures, made), "utf-8")


def _refuse_errors(study: Study) -> None:
    errors = study.problems[study.problems["severity"] == "error"]
    if len(errors):
        raise InputError(
            f"the data have {count(len(errors), 'error')}, so no report is written",
            [_said(row) for row in errors.itertuples()],
            "mend them or set the rows aside with a reason; 'motorlearn check' lists them all",
        )


def _said(row: Any) -> str:
    place = "" if pd.isna(row.row) else f", row {row.row}"
    return f"{row.file}{place}, {row.column}: {row.rule}"


def _draw(
    drawings: list[Drawing], work: Path, forms: Sequence[str], quiet: bool | None
) -> tuple[dict[str, bytes], dict[str, Any]]:
    """Write every figure in each format; gives each PNG by name and what is kept of all."""
    (work / "figures").mkdir()
    pictures, entries = {}, {}
    for drawing in tqdm(drawings, desc="figures", disable=quiet, leave=False):
        files = {}
        for form in forms:
            draw = {"png": drawing.png, "svg": drawing.svg, "pdf": drawing.pdf}[form]
            files[form] = f"figures/{drawing.name}.{form}", draw()
            _write(work, *files[form])
        pictures[drawing.name] = files["png"][1]
        if isinstance(drawing, Print):
            entries[drawing.made_from] = entry(drawing.name, drawing.words, files)
    return pictures, entries


def _write(work: Path, name: str, content: bytes) -> None:
    (work / name).write_bytes(content)


def _tabulate(document: Document, work: Path, kept: Kept) -> dict[str, Any]:
    """Write every table in four formats; gives what the next report keeps."""
    (work / "tables").mkdir()
    decimal = document.decimal
    entries = {}
    for table in document.tables:
        shown = (table.name, table.title, table.columns, table.notes, table.cells(decimal))
        key = fingerprint("styled", shown)
        styled = kept.files(key).get("html")
        if not styled:
            styled = tables.to_styled_html(table, decimal=decimal).encode()
        path = f"tables/{table.name}.html"
        entries[key] = entry(table.name, ("", ""), {"html": (path, styled)})
        _write(work, path, styled)
        _write(work, f"tables/{table.name}.csv", to_csv(table, decimal=decimal).encode())
        _write(work, f"tables/{table.name}.tex", to_latex(table, decimal=decimal).encode())
    whole = [(t.name, t.title, t.columns, t.notes, t.rows) for t in document.tables]
    key = fingerprint("workbook", whole)
    book = kept.files(key).get("xlsx") or tables.to_excel(document.tables)
    entries[key] = entry("tables", ("", ""), {"xlsx": ("tables/tables.xlsx", book)})
    _write(work, "tables/tables.xlsx", book)
    return entries


def _made(study: Study, versions: dict[str, str]) -> dict[str, str]:
    """How the report was made: software, and checksums of the files it was made from."""
    sums = {name: f"SHA-256 {found}" for name, found in study_sums(study).items()}
    return versions | sums
