"""A study in, a folder out: pages, figures in three formats, tables, and every number."""

import hashlib
from importlib.metadata import version
from pathlib import Path

from tqdm.auto import tqdm

import motorlearn
from motorlearn.exceptions import InputError
from motorlearn.figures.style import Drawing, described_svg
from motorlearn.files import new_folder
from motorlearn.report.contents import Document
from motorlearn.report.findings import find
from motorlearn.report.keeping import Kept, fingerprint, keep, kept_from
from motorlearn.report.numbers import to_results
from motorlearn.report.page import to_page
from motorlearn.report.sections import compose
from motorlearn.report.word import to_word
from motorlearn.tables import to_csv
from motorlearn.tables.display import to_styled_html
from motorlearn.tables.excel import to_excel
from motorlearn.tables.latex import to_latex
from motorlearn.trials import Study

MARK = "report.html"
SOFTWARE = ("numpy", "scipy", "pandas")
DATA = (".csv", ".toml", ".tsv", ".xlsx", ".parquet")


def write_report(
    study: Study,
    folder: str | Path,
    *,
    outcome: str | None = None,
    decimal: str = ".",
    draft: bool = True,
    quiet: bool | None = None,
) -> Path:
    """Write the report of a study into a folder, whole or not at all.

    The folder holds ``report.html`` and ``report.docx``, every figure as PNG, SVG and PDF, every
    table as CSV, LaTeX and HTML and together as a workbook, and ``results.json``. Where it holds an
    earlier report of the same data, only what changed is drawn again.

    Parameters
    ----------
    study : Study
        What :func:`motorlearn.read_study` gave.
    folder : path-like
        Folder to make, or to replace where an earlier report is in it.
    outcome : str, optional
        Report this outcome only.
    decimal : {".", ","}
        Decimal sign of every text and table.
    draft : bool
        Whether remarks to the author are shown.
    quiet : bool, optional
        True shows no progress; by default it is shown on a terminal.

    Returns
    -------
    Path
        The page, ``report.html``.

    Raises
    ------
    InputError
        If the data have errors, with their number; ``study.problems`` lists them.
    FileError
        If the folder holds somebody's other work or cannot be written.
    """
    _refuse_errors(study)
    if decimal not in (".", ","):
        raise InputError("the decimal sign is a point or a comma", [decimal])
    with tqdm(total=4, desc="report", disable=quiet, leave=False) as progress:
        found = find(study, decimal=decimal, only=outcome)
        progress.update()
        versions = {"motorlearn": motorlearn.__version__}
        versions |= {name: version(name) for name in SOFTWARE}
        document = compose(found, decimal=decimal, draft=draft, versions=versions)
        progress.update()
        made = _made(study, versions)
        mine = fingerprint(study, {"outcome": outcome, "decimal": decimal})
        kept = kept_from(Path(folder), mine)
        with new_folder(folder, mark=MARK) as work:
            drawn = _draw(document.drawings, work, kept, quiet)
            progress.update()
            keep(work, mine, drawn)
            pictures = {d.name: drawn[f"figures/{d.name}.png"] for d in document.drawings}
            _tabulate(document, work / "tables")
            (work / "report.docx").write_bytes(to_word(document, pictures, made))
            (work / "results.json").write_text(to_results(found, document, made), "utf-8")
            (work / MARK).write_text(to_page(document, pictures, made), "utf-8")
            progress.update()
    return Path(folder) / MARK


def _refuse_errors(study: Study) -> None:
    errors = study.problems[study.problems["severity"] == "error"]
    if len(errors):
        said = [
            f"{row.file}, row {row.row}, {row.column}: {row.rule}" for row in errors.itertuples()
        ]
        raise InputError(
            f"the data have {len(errors)} errors, so no report is written",
            said,
            "mend them or set the rows aside with a reason; 'motorlearn check' lists them all",
        )


def _draw(drawings: list[Drawing], work: Path, kept: Kept, quiet: bool | None) -> dict[str, bytes]:
    """Write every figure in three formats, taking over what an earlier report still holds."""
    (work / "figures").mkdir()
    files = {}
    for drawing in tqdm(drawings, desc="figures", disable=quiet, leave=False):
        for form, draw in (("png", drawing.png), ("svg", drawing.svg), ("pdf", drawing.pdf)):
            name = f"figures/{drawing.name}.{form}"
            content = kept.read(name) or draw()
            if form == "svg":
                content = described_svg(content, drawing.name, drawing.alt)
            files[name] = content
            (work / name).write_bytes(content)
    return files


def _tabulate(document: Document, folder: Path) -> None:
    folder.mkdir()
    decimal = document.decimal
    for table in document.tables:
        written = {
            "csv": to_csv(table, decimal=decimal),
            "tex": to_latex(table, decimal=decimal),
            "html": to_styled_html(table, decimal=decimal),
        }
        for form, text in written.items():
            (folder / f"{table.name}.{form}").write_text(text, encoding="utf-8", newline="")
    (folder / "tables.xlsx").write_bytes(to_excel(document.tables))


def _made(study: Study, versions: dict[str, str]) -> dict[str, str]:
    """How the report was made: software, and checksums of the files it was made from."""
    made = dict(versions)
    if study.folder is not None:
        for path in sorted(study.folder.iterdir()):
            if path.suffix in DATA:
                made[path.name] = f"SHA-256 {hashlib.sha256(path.read_bytes()).hexdigest()}"
    return made
