"""The pages: every Python block runs, links lead somewhere, the tables of the build are current."""

import contextlib
import importlib.util
import io
import re
import shutil
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
GENERATED = {"generated", "_build"}
PAGES = sorted(page for page in DOCS.rglob("*.md") if not GENERATED & set(page.parts))
BLOCK = re.compile(r"^```python\n(.*?)^```", re.MULTILINE | re.DOTALL)
WITH_CODE = [page for page in PAGES if BLOCK.search(page.read_text(encoding="utf-8"))]


def name(page):
    return page.relative_to(DOCS).as_posix()


@pytest.mark.parametrize("page", WITH_CODE, ids=name)
def test_the_code_of_a_page_runs_from_top_to_bottom(page, tmp_path, monkeypatch, no_pictures):
    shutil.copytree(ROOT / "data", tmp_path / "data")
    monkeypatch.chdir(tmp_path)
    space, printed = {"__name__": "page"}, io.StringIO()
    for code in BLOCK.findall(page.read_text(encoding="utf-8")):
        with contextlib.redirect_stdout(printed):
            exec(compile(code, name(page), "exec"), space)
    assert printed.getvalue().strip()


def test_there_are_pages_with_code():
    assert len(WITH_CODE) >= 10


@pytest.mark.parametrize("page", PAGES, ids=name)
def test_links_to_files_of_the_project_lead_somewhere(page):
    text = page.read_text(encoding="utf-8")
    for path in re.findall(r"`((?:notebooks|data|motorlearn|tests)/[\w./-]+)`", text):
        assert (ROOT / path).exists(), path


def test_every_outside_reference_stands_on_the_validation_page(tmp_path):
    spec = importlib.util.spec_from_file_location("validation_page", DOCS / "validation_page.py")
    validation_page = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(validation_page)
    validation_page.write(ROOT / "tests" / "reference", tmp_path / "cases.md")
    text = (tmp_path / "cases.md").read_text(encoding="utf-8")
    for folder in (ROOT / "tests" / "reference").iterdir():
        if folder.is_dir():
            assert folder.name in text
    distances = [float(value) for value in re.findall(r"\| ([\d.]+e[-+]\d+|0) \|$", text, re.M)]
    assert len(distances) > 25 and max(distances) < 2e-3
