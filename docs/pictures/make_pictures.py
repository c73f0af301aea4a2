"""Draw the pictures of the README again: python docs/pictures/make_pictures.py [FOLDER].

The notebook is shown as it is stored, by the Chromium that the browser tests use.
"""

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import nbformat
from nbconvert import HTMLExporter

import motorlearn as ml
from motorlearn.files import write_bytes
from motorlearn.report.sections.exhibits import practice_figure
from motorlearn.report.view import view_of

HERE = Path(__file__).parent
STUDY = HERE.parents[1] / "data" / "ring-push"
NOTEBOOK = HERE.parents[1] / "notebooks" / "05_compare.ipynb"
CELLS = slice(4, 6), slice(8, 10)
"""What of the notebook is shown: the primary comparison, and the practice curve."""


def practice_curve() -> ml.figures.Drawing:
    """The practice curve of the shipped study, as its report draws it."""
    found = view_of(ml.analyse_study(ml.read_study(STUDY)), decimal=".")
    return practice_figure(found, found.outcomes[0])


def notebook_page() -> str:
    """The chosen cells of the notebook as a page."""
    notebook = nbformat.read(NOTEBOOK, as_version=4)
    notebook.cells = [cell for part in CELLS for cell in notebook.cells[part]]
    page, _ = HTMLExporter(template_name="lab").from_notebook_node(notebook)
    return page


def photograph(page: str, place: Path, *, width: int = 860, height: int = 1160) -> None:
    """Open a page in Chromium and keep what is seen."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser") or "google-chrome"
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "page.html").write_text(page, encoding="utf-8")
        options = ["--headless", "--no-sandbox", "--hide-scrollbars", f"--user-data-dir={folder}/u"]
        size = [f"--window-size={width},{height}", f"--screenshot={folder}/page.png"]
        command = [browser, *options, *size, f"file://{folder}/page.html"]
        subprocess.run(command, check=True, capture_output=True)
        write_bytes(place, (Path(folder) / "page.png").read_bytes())


def main(folder: Path) -> None:
    """Write the pictures."""
    write_bytes(folder / "practice-curve.png", practice_curve().png(dpi=150))
    photograph(notebook_page(), folder / "notebook.png")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
