"""The folder of pages for a lecture: whole, linked, harmless; the package where packages lack."""

import json
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest

import motorlearn as ml
from motorlearn.exceptions import FileError, InputError
from motorlearn.teaching.demonstrations.lessons import LESSONS
from motorlearn.teaching.site import folder as site_folder
from motorlearn.teaching.site.harmless import harmless
from motorlearn.teaching.site.notebook_pages import notebook_page, title_of

# Runs with some packages out of reach, as in a browser whose distribution lacks them.
BLOCKED = """
import importlib.abc, sys
class Absent(importlib.abc.MetaPathFinder):
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in {names!r}:
            raise ModuleNotFoundError(f"No module named {{name!r}}", name=name)
sys.meta_path.insert(0, Absent())
import motorlearn as ml
{code}
"""
EVERYTHING = (
    "numpy", "pandas", "scipy", "pyarrow", "statsmodels", "pingouin", "matplotlib", "seaborn",
    "formulaic", "pandera", "pydantic", "typer", "tqdm", "openpyxl", "tomlkit", "python_calamine",
    "jinja2", "docx", "great_tables", "ipywidgets", "anywidget", "traitlets",
)  # fmt: skip
OUTPUT = (
    "matplotlib", "PIL", "kiwisolver", "seaborn", "pingouin", "pandera", "typer", "openpyxl",
    "python_calamine", "jinja2", "docx", "lxml", "great_tables", "ipywidgets", "anywidget",
    "traitlets",
)  # fmt: skip


def run_without(names, code):
    script = BLOCKED.format(names=set(names), code=code)
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


class Links(HTMLParser):
    def __init__(self):
        super().__init__()
        self.found = []

    def handle_starttag(self, tag, attrs):
        self.found += [value for name, value in attrs if name in ("href", "src")]


def links_of(page):
    reader = Links()
    reader.feed(page.read_text(encoding="utf-8"))
    return [link for link in reader.found if not link.startswith("data:")]


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """The folder with two demonstrations and without its picture, which takes long to draw."""
    place = tmp_path_factory.mktemp("lecture")
    app = place / "built"
    app.mkdir()
    (app / "index.html").write_text("<!DOCTYPE html>", encoding="utf-8")
    with pytest.MonkeyPatch.context() as patched:
        few = {name: LESSONS[name] for name in ("ceiling", "adaptation")}
        patched.setattr(site_folder, "LESSONS", few)
        patched.setattr(site_folder, "_picture", lambda: "<p></p>")
        first = ml.teaching.write_site(place / "site", seats=4, class_seed=2, app=app)
    return first.parent


def test_every_link_of_every_page_leads_to_a_file_of_the_folder(site):
    pages = sorted(site.rglob("*.html"))
    assert len(links_of(site / "index.html")) == 2 + 2 + 13 + 1
    for page in pages:
        for link in links_of(page):
            assert (page.parent / link).is_file(), (page.name, link)


def test_pages_name_no_address_outside(site):
    for page in site.rglob("*.html"):
        text = page.read_text(encoding="utf-8")
        assert "connect-src 'none'" in text or "app" in page.parts
        assert 'src="http' not in text and 'href="http' not in text


def test_the_folder_is_written_again_but_never_over_something_else(site, tmp_path):
    (tmp_path / "mine.txt").write_text("thesis", encoding="utf-8")
    with pytest.raises(FileError, match="not made by this command"):
        ml.teaching.write_site(tmp_path, seats=4, class_seed=2)
    with pytest.raises(FileError, match="no first page"):
        ml.teaching.write_site(tmp_path / "new", seats=4, class_seed=2, app=tmp_path)
    assert not (tmp_path / "new").exists()


def test_a_notebook_page_holds_its_words_cells_and_outputs(tmp_path):
    file = tmp_path / "push.ipynb"
    cells = [
        {"cell_type": "markdown", "source": ["# Push & slide\n", "\n", "*far* <script>x</script>"]},
        {
            "cell_type": "code",
            "source": "1 < 2",
            "outputs": [
                {"text": ["true\n"]},
                {"data": {"text/html": "<table><tr><td onclick='x'>5 cm</td></tr></table>"}},
                {"data": {"image/png": "QUJD\n", "text/plain": "a curve"}},
            ],
        },
    ]
    file.write_text(json.dumps({"cells": cells}), encoding="utf-8")
    page = notebook_page(file)
    assert title_of(file) == "Push & slide"
    assert "<em>far</em>" in page and "<td>5 cm</td>" in page and "1 &lt; 2" in page
    assert 'src="data:image/png;base64,QUJD" alt="a curve"' in page
    assert "onclick" not in page and "<script>x" not in page


def test_what_is_no_notebook_is_refused(tmp_path):
    file = tmp_path / "half.ipynb"
    file.write_text('{"cells": [', encoding="utf-8")
    with pytest.raises(FileError, match="no notebook"):
        notebook_page(file)


def test_without_the_package_for_texts_it_is_told_how_to_get_it(monkeypatch):
    monkeypatch.setattr("motorlearn.teaching.site.notebook_pages.mistune", None)
    with pytest.raises(InputError, match=r"motorlearn\[notebooks\]"):
        notebook_page(Path("any.ipynb"))


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("<style>p {}</style><p style='x'>5</p>", "<p>5</p>"),
        ('<img src="x.png"><img src="data:image/png;base64,AA" alt="c">',
         '<img><img src="data:image/png;base64,AA" alt="c">'),
        ('<a href="javascript:go()">a</a><a href="//b">b</a><a href="c.html#d">c</a>',
         '<a>a</a><a>b</a><a href="c.html#d">c</a>'),
        ("<svg><p>in</p></svg>3 &lt; 4", "3 &lt; 4"),
    ],
)  # fmt: skip
def test_markup_keeps_what_neither_runs_nor_loads(given, kept):
    assert harmless(given) == kept


def test_the_package_is_imported_where_none_of_its_dependencies_is():
    code = (
        "from motorlearn.exceptions import PackageError\n"
        "assert len(dir(ml)) > 40 and ml.digits.p_value(0.0234)\n"
        "try:\n    ml.read_study\nexcept PackageError as told:\n    print(told)"
    )
    told = run_without(EVERYTHING, code)
    assert told.startswith("motorlearn.read_study needs the package ")
    assert "not installed here" in told and "\n" not in told


def test_the_core_needs_no_package_that_draws_writes_documents_or_reads_workbooks():
    code = (
        "study = ml.read_study(ml.trials.shipped_study())\n"
        "table = study.trials.table\n"
        "ml.make_schedule('random', ['straight', 'lob'], 12, seed=1)\n"
        "ml.audit_design(study.design), ml.score_trials(table, by=['participant', 'phase'])\n"
        "ml.fit_curve(range(1, 9), [9, 7, 6, 5, 4.5, 4.2, 4.1, 4.0])\n"
        "found = ml.compare_phases(table, 'radial_error', group='group', baseline='pretest')\n"
        "print(len(found.contrasts) > 0)"
    )
    assert run_without(OUTPUT, code) == "True"
