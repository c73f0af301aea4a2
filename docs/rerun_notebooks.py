"""Run the notebooks again and keep their outputs: python docs/rerun_notebooks.py [NOTEBOOK …].

Times, versions and links to a kernel that is gone are left out, so that only what a reader sees can
differ; what moves shows its static picture until the notebook is run.
"""

import sys
from pathlib import Path

import nbformat
from nbclient import NotebookClient
from tqdm import tqdm

FOLDER = Path(__file__).parents[1] / "notebooks"


def rerun(path: Path) -> None:
    """Run one notebook in its folder and write it back."""
    notebook = nbformat.read(path, as_version=4)
    metadata = dict(notebook.metadata)
    NotebookClient(
        notebook, timeout=600, resources={"metadata": {"path": str(path.parent)}}
    ).execute()
    notebook.metadata = nbformat.from_dict(metadata)
    for cell in notebook.cells:
        cell.metadata.pop("execution", None)
        for output in cell.get("outputs", ()):
            output.get("data", {}).pop("application/vnd.jupyter.widget-view+json", None)
    nbformat.write(notebook, path)


if __name__ == "__main__":
    for name in tqdm(sys.argv[1:] or sorted(FOLDER.glob("*.ipynb")), desc="notebooks"):
        rerun(Path(name))
