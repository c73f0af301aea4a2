"""The sheet to sign is the same whether all of a study is computed or only what it shows."""

import subprocess
import sys

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


def test_a_page_of_text_loads_nothing_that_draws():
    code = (
        "import sys, motorlearn as ml; ml.report.supervisor_page, ml.report.audit_study; "
        "sys.exit(sorted({'matplotlib', 'seaborn', 'IPython'} & set(sys.modules)) or None)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.stderr == "" and done.returncode == 0
