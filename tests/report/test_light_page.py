"""The sheet to sign is the same whether all of a study is computed or only what it shows."""

import ast
import pickle
import subprocess
import sys
from pathlib import Path

import pytest

import motorlearn as ml
from motorlearn.analysis import page_analysis
from motorlearn.results import Refused
from tests.gallery import studies


@pytest.mark.parametrize("name", ["plain hits", "one athlete"])
def test_the_sheet_needs_no_more_than_it_shows(name):
    study = studies.COMPUTED[name]()
    whole, light = ml.analyse_study(study), page_analysis(study, mixed=False)
    assert str(ml.report.supervisor_page(whole)) == str(ml.report.supervisor_page(light))
    assert ml.report.supervisor_page(study).to_html() == ml.report.supervisor_page(whole).to_html()
    assert isinstance(light.mixed, Refused)
    assert "page does not show it" in light.first.practice.reason
    assert "page does not show it" not in getattr(whole.first.practice, "reason", "")


HEAVY = {"matplotlib", "seaborn", "ipywidgets", "IPython", "great_tables", "openpyxl"}


def loaded(code):
    """Which packages that draw or style a piece of code loads, in a process of its own."""
    code = f"import sys, motorlearn as ml; {code}; print(*sorted({HEAVY} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.stderr == "" and done.returncode == 0
    return done.stdout.split()


def test_neither_a_page_of_text_nor_what_writes_a_report_loads_what_draws():
    assert loaded("ml.report.supervisor_page, ml.report.audit_study, ml.write_report") == []


@pytest.mark.slow
def test_a_report_whose_figures_and_tables_were_kept_loads_nothing_that_draws(tmp_path):
    study = studies.COMPUTED["plain hits"]()
    again = "ml.write_report(pickle.load(open({!r}, 'rb')), {!r}, quiet=True)"
    (tmp_path / "study").write_bytes(pickle.dumps(study))
    again = "import pickle; " + again.format(str(tmp_path / "study"), str(tmp_path / "out"))
    assert loaded(again) == sorted(HEAVY)
    first = (tmp_path / "out" / "report.html").read_bytes()
    assert loaded(again) == []
    assert (tmp_path / "out" / "report.html").read_bytes() == first


def test_every_figure_that_a_report_names_is_there_to_draw():
    package = Path(ml.report.__file__).parent
    named = {
        call.args[0].value
        for path in package.rglob("*.py")
        for call in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(call, ast.Call) and ast.unparse(call.func).endswith("kept.draw")
    }
    assert len(named) > 20 and named <= set(ml.figures.__all__)
