"""A study in, a folder out: the page, figures in three formats, tables, and every number."""

import hashlib
from importlib.metadata import version
from pathlib import Path

from tqdm.auto import tqdm

import motorlearn
from motorlearn.exceptions import InputError
from motorlearn.figures.style import Drawing
from motorlearn.files import new_folder
from motorlearn.report.contents import Document
from motorlearn.report.findings import find
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
        with new_folder(folder, mark=MARK) as work:
            pictures = _draw(document.drawings, work / "figures", quiet)
            progress.update()
            made = _made(study, versions)
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


def _draw(drawings: list[Drawing], folder: Path, quiet: bool | None) -> dict[str, bytes]:
    folder.mkdir()
    pictures = {}
    for drawing in tqdm(drawings, desc="figures", disable=quiet, leave=False):
        pictures[drawing.name] = drawing.png()
        (folder / f"{drawing.name}.png").write_bytes(pictures[drawing.name])
        (folder / f"{drawing.name}.svg").write_bytes(drawing.svg())
        (folder / f"{drawing.name}.pdf").write_bytes(drawing.pdf())
    return pictures


def _tabulate(document: Document, folder: Path) -> None:
    folder.mkdir()
    for table in document.tables:
        text = to_csv(table, decimal=document.decimal)
        (folder / f"{table.name}.csv").write_text(text, encoding="utf-8", newline="")
        latex = to_latex(table, decimal=document.decimal)
        (folder / f"{table.name}.tex").write_text(latex, encoding="utf-8")
        styled = to_styled_html(table, decimal=document.decimal)
        (folder / f"{table.name}.html").write_text(styled, encoding="utf-8")
    (folder / "tables.xlsx").write_bytes(to_excel(document.tables))


def _made(study: Study, versions: dict[str, str]) -> dict[str, str]:
    made = dict(versions)
    if study.folder is not None:
        for path in sorted(study.folder.iterdir()):
            if path.suffix in (".csv", ".toml", ".tsv", ".xlsx", ".parquet"):
                made[path.name] = f"SHA-256 {hashlib.sha256(path.read_bytes()).hexdigest()}"
    return made
