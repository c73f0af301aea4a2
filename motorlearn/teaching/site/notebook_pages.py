"""A notebook with its stored outputs as one page to read; nothing in it runs or loads."""

import html
import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from motorlearn.exceptions import FileError, InputError
from motorlearn.teaching.pages import page_of
from motorlearn.teaching.site.harmless import harmless

try:
    import mistune
except ImportError:  # The extra "notebooks" brings it.
    mistune = None  # type: ignore[assignment]

STYLE: Final = """
main { max-width: 62rem; margin: 0 auto; padding: 12px; }
pre { overflow-x: auto; padding: 8px; font-size: 15px; }
pre.code { background: var(--soft); border-left: 4px solid var(--blue); }
.shown { overflow-x: auto; margin: .6em 0; }
.shown img { max-width: 100%; height: auto; }
table { border-collapse: collapse; font-size: 15px; }
th, td { border: 1px solid var(--line); padding: 2px 8px; text-align: right; }
nav a { display: inline-block; min-height: 44px; padding: 10px 12px 0 0; }
"""
_NOTE: Final = (
    "To read: what the cells gave is stored here, and nothing runs in this page. To run it, open "
    "the notebook in JupyterLab."
)


def notebook_page(file: Path) -> str:
    """Write a notebook with its stored outputs as one page.

    Parameters
    ----------
    file : Path
        The notebook.

    Raises
    ------
    InputError
        If the package that turns the text of notebooks into pages is not installed.
    FileError
        If the file is no notebook.
    """
    if mistune is None:
        raise InputError(
            "pages of notebooks need the package mistune",
            None,
            'install it: pip install "motorlearn[notebooks]"',
        )
    cells = _cells(file)
    told = mistune.create_markdown(escape=True, plugins=["table"])
    written = "\n".join(_cell(cell, told) for cell in cells)
    body = (
        '<main><nav><a href="../index.html">All pages</a> '
        f'<a href="{html.escape(file.name)}" download>The notebook</a></nav>'
        f'<p class="note">{_NOTE}</p>{written}</main>'
    )
    return page_of(title_of(file), body, styles=(STYLE,))


def title_of(file: Path) -> str:
    """Give the first heading of a notebook, or the name of its file."""
    for cell in _cells(file):
        if cell["cell_type"] == "markdown" and _text(cell["source"]).startswith("# "):
            return _text(cell["source"]).splitlines()[0].removeprefix("# ").strip()
    return file.stem


def _cells(file: Path) -> list[Mapping[str, Any]]:
    try:
        cells: list[Mapping[str, Any]] = json.loads(file.read_text(encoding="utf-8"))["cells"]
    except (OSError, ValueError, KeyError, TypeError) as fault:
        raise FileError("the file is no notebook", [file.name]) from fault
    return cells


def _cell(cell: Mapping[str, Any], told: Callable[[str], Any]) -> str:
    source = _text(cell["source"])
    if cell["cell_type"] == "markdown":
        return harmless(str(told(source)))
    if cell["cell_type"] != "code" or not source:
        return ""
    outputs = "".join(map(_output, cell.get("outputs", ())))
    return f'<pre class="code">{html.escape(source)}</pre>{outputs}'


def _output(output: Mapping[str, Any]) -> str:
    data = output.get("data", {})
    if "text/html" in data:
        return f'<div class="shown">{harmless(_text(data["text/html"]))}</div>'
    if "image/png" in data:
        picture = "".join(_text(data["image/png"]).split())
        words = html.escape(_text(data.get("text/plain", "")))
        return f'<p class="shown"><img src="data:image/png;base64,{picture}" alt="{words}"></p>'
    text = _text(output.get("text", data.get("text/plain", "")))
    return f"<pre>{html.escape(text)}</pre>" if text else ""


def _text(source: str | Sequence[str]) -> str:
    return source if isinstance(source, str) else "".join(source)
