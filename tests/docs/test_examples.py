"""Every public function has an example that runs: in its docstring, on a page, or in a notebook."""

import inspect
import json
import re
from pathlib import Path

import motorlearn as ml

DOCS = Path(__file__).parents[2] / "docs"
BLOCK = re.compile(r"^```(?:python|py)\n(.*?)^```", re.MULTILINE | re.DOTALL)


def public_functions():
    """Functions at the front door and at the doors of the rooms, each once: name to function."""
    rooms = [getattr(ml, name) for name in ml.__all__ if inspect.ismodule(getattr(ml, name))]
    found = {}
    for room in (ml, *rooms):
        for name in getattr(room, "__all__", ()):
            thing = getattr(room, name)
            if callable(thing) and not inspect.isclass(thing) and not inspect.ismodule(thing):
                found.setdefault((thing.__module__, thing.__qualname__), thing)
    return {f"{module}.{name}": thing for (module, name), thing in found.items()}


def shown_elsewhere():
    """Words that are called in the code of pages and notebooks, all of which the tests run."""
    pages = [page for page in DOCS.rglob("*.md") if "generated" not in page.parts]
    code = ["".join(BLOCK.findall(page.read_text(encoding="utf-8"))) for page in pages]
    for notebook in (DOCS.parent / "notebooks").glob("*.ipynb"):
        cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
        code += ["".join(cell["source"]) for cell in cells if cell["cell_type"] == "code"]
    return set(re.findall(r"\b(\w+)\(", "\n".join(code)))


def without_example():
    shown = shown_elsewhere()
    return sorted(
        name
        for name, function in public_functions().items()
        if ">>> " not in (inspect.getdoc(function) or "") and name.split(".")[-1] not in shown
    )


def test_every_function_of_the_front_door_has_an_example_that_runs():
    names = {getattr(ml, name) for name in ml.__all__ if inspect.isfunction(getattr(ml, name))}
    doors = {f"{thing.__module__}.{thing.__qualname__}" for thing in names}
    assert len(doors) > 20
    assert not doors & set(without_example())


def test_no_function_of_the_rooms_is_without():
    assert len(public_functions()) > 300
    assert without_example() == []
