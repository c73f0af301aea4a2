"""The notebooks on the analysis run from top to bottom on studies that are not the shipped one."""

from pathlib import Path

import nbformat
import pytest
import studies
from nbclient import NotebookClient

import motorlearn as ml

NOTEBOOKS = Path(__file__).parents[2] / "notebooks"
SERIES = ("05_compare", "06_mixed_models", "07_assumptions", "08_report")
OTHERS = {
    "hits, one group": studies.hits_one_group,
    "hits of trials": studies.hits_of_trials,
    "time": studies.timed_task,
    "after the pretest": studies.after_the_pretest,
}


def run(name: str, folder: Path) -> list[str]:
    """Errors of the cells of a notebook whose first cell names this folder."""
    notebook = nbformat.read(NOTEBOOKS / f"{name}.ipynb", as_version=4)
    cells = [cell for cell in notebook.cells if cell.cell_type == "code"]
    cells[0].source = f"study_folder = {str(folder)!r}"
    client = NotebookClient(notebook, timeout=300, allow_errors=True)
    client.execute(cwd=str(folder))
    return [
        f"{output.ename}: {output.evalue}"
        for cell in cells
        for output in cell.outputs
        if output.output_type == "error"
    ]


@pytest.mark.slow
@pytest.mark.parametrize("study", OTHERS)
@pytest.mark.parametrize("name", SERIES)
def test_a_notebook_runs_on_another_study(name, study, tmp_path):
    found = OTHERS[study]()
    folder = studies.write(found, tmp_path / "study")
    assert run(name, folder) == []


def test_a_plan_that_is_written_out_reads_back(tmp_path):

    found = studies.hits_one_group()
    folder = studies.write(found, tmp_path / "study")
    assert ml.read_study(folder).design.primary == found.design.primary
