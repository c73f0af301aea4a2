"""The folder of pages: a first page, the class experiment, demonstrations, notebooks."""

import base64
import html
import shutil
from pathlib import Path
from typing import Final

from tqdm import tqdm

from motorlearn.analysis import analyse_study
from motorlearn.exceptions import FileError
from motorlearn.files import new_folder, write_text
from motorlearn.report.sections.exhibits import practice_figure
from motorlearn.report.view import view_of
from motorlearn.teaching.classroom.page import PAGE, write_classroom
from motorlearn.teaching.demonstrations.lessons import LESSONS
from motorlearn.teaching.demonstrations.page import write_demonstration
from motorlearn.teaching.pages import page_of
from motorlearn.teaching.site.notebook_pages import notebook_page, title_of
from motorlearn.trials import read_study, shipped_study

FIRST: Final = "index.html"
MARK: Final = ".motorlearn-site"
APP: Final = "app"
_CLASS: Final = "class-experiment"
Links = tuple[tuple[str, str], ...]
"""Address and name of each page of a part."""
_STYLE: Final = """
main { max-width: 62rem; margin: 0 auto; padding: 12px; }
img { max-width: 100%; max-height: 20rem; }
ul.pages { list-style: none; padding: 0; display: grid; gap: 4px 16px;
  grid-template-columns: repeat(auto-fill, minmax(17rem, 1fr)); }
ul.pages a { display: block; min-height: 44px; padding: 10px 0; }
"""
_APP_NOTE: Final = (
    "Notebooks that run in the browser, in the folder app. A browser loads them from a server "
    "only: run  python -m http.server  in this folder and open the address it names."
)


def write_site(
    folder: str | Path, *, seats: int, class_seed: int, app: str | Path | None = None
) -> Path:
    """Write all pages for a lecture into one folder; they open from a disk, without a network.

    The first page leads to the class experiment, to every demonstration and to the notebooks with
    their stored outputs, to read and to take away. The folder is written whole or not at all.

    Parameters
    ----------
    folder : path-like
        New folder, or one this function made earlier.
    seats, class_seed : int
        Seats and seed of the class experiment.
    app : path-like, optional
        Folder of a built application that runs the notebooks in the browser, to be put beside.

    Returns
    -------
    Path
        The first page.

    Raises
    ------
    InputError
        If a seat count or seed is outside its range, or the notebooks cannot be written as pages.
    FileError
        If the folder holds something else, or the application has no first page.

    Examples
    --------
    Half a minute of computing is not begun before everything is there:

    >>> from motorlearn.exceptions import FileError
    >>> try:
    ...     write_site("lecture", seats=30, class_seed=1, app="not-built")
    ... except FileError as told:
    ...     print(told.cause)
    the folder of the application has no first page
    """
    if app is not None and not (Path(app) / FIRST).is_file():
        raise FileError("the folder of the application has no first page", [str(app)])
    with new_folder(folder, mark=MARK) as work:
        write_classroom(work / _CLASS, seats=seats, class_seed=class_seed)
        shown = _demonstrations(work / "demonstrations")
        read = _notebooks(work / "notebooks")
        if app is not None:
            shutil.copytree(app, work / APP)
        write_text(work / FIRST, _first_page(shown, read, with_app=app is not None))
    return Path(folder) / FIRST


def _demonstrations(folder: Path) -> Links:
    folder.mkdir()
    links = []
    for name, lesson in tqdm(LESSONS.items(), desc="demonstrations", disable=None):
        file = write_demonstration(name, folder / f"{name.replace(' ', '-')}.html")
        links.append((f"{folder.name}/{file.name}", lesson.title))
    return tuple(links)


def _notebooks(folder: Path) -> Links:
    folder.mkdir()
    links = []
    for notebook in sorted((shipped_study().parents[1] / "notebooks").glob("*.ipynb")):
        shutil.copyfile(notebook, folder / notebook.name)
        page = write_text(folder / f"{notebook.stem}.html", notebook_page(notebook))
        links.append((f"{folder.name}/{page.name}", title_of(notebook)))
    return tuple(links)


def _first_page(shown: Links, read: Links, *, with_app: bool) -> str:
    experiment = (
        (f"{_CLASS}/{PAGE}", "Class experiment: one page for every seat"),
        (f"{_CLASS}/seats.html", "Slips with seat numbers, to print"),
    )
    parts = [
        "<main><h1>Practice and learning: pages for a lecture</h1>",
        "<p>Every page works without a network and sends nothing.</p>",
        _picture(),
        _part("An experiment with the class", experiment),
        _part("Demonstrations: vote, then look", shown),
        _part("Notebooks to read", read),
    ]
    if with_app:
        parts.append(_part("Notebooks to run", ((f"{APP}/{FIRST}", "Open the notebooks"),)))
        parts.append(f'<p class="note">{_APP_NOTE}</p>')
    return page_of("Pages for a lecture", "\n".join((*parts, "</main>")), styles=(_STYLE,))


def _part(heading: str, links: Links) -> str:
    rows = "".join(
        f'<li><a href="{html.escape(address)}">{html.escape(name)}</a></li>'
        for address, name in links
    )
    return f'<section><h2>{heading}</h2><ul class="pages">{rows}</ul></section>'


def _picture() -> str:
    """The practice curve of the shipped study, as its report draws it."""
    found = view_of(analyse_study(read_study(shipped_study())), decimal=".")
    drawn = practice_figure(found, found.outcomes[0])
    picture = base64.b64encode(drawn.png(dpi=110)).decode("ascii")
    return f'<p><img src="data:image/png;base64,{picture}" alt="{html.escape(drawn.alt)}"></p>'
