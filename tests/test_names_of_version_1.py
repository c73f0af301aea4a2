"""Names of version 1 that moved still work, say where they are now, and do what they did."""

import importlib
import subprocess
import sys

import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.doors import GONE, MOVED


@pytest.mark.parametrize("old", MOVED)
def test_a_name_that_moved_warns_and_is_the_new_one(old):
    room, _, name = old.rpartition(".")
    home, _, now = MOVED[old].rpartition(".")
    with pytest.warns(FutureWarning, match=f"{old} is {MOVED[old]} since version 2") as told:
        found = getattr(importlib.import_module(room), name)
    assert found is getattr(importlib.import_module(home), now)
    assert told[0].filename == __file__
    assert name not in getattr(importlib.import_module(room), "__all__", ())


@pytest.mark.parametrize("old", GONE)
def test_a_name_without_successor_says_what_to_do(old):
    room, _, name = old.rpartition(".")
    with pytest.raises(AttributeError, match="write your own"):
        getattr(importlib.import_module(room), name)


def test_a_script_of_version_1_reads_on_and_is_told():
    code = "from motorlearn.audit import audit_study; print(audit_study.__module__)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "motorlearn.report.study_page"
    assert "the old name works until version 3" in run.stderr


@pytest.mark.filterwarnings("ignore:motorlearn.trials.is_void")
def test_void_rows_are_those_that_do_not_count():
    table = pd.DataFrame({"void": ["", "slipped", "0"]})
    assert ml.trials.is_void(table).tolist() == [False, True, False]
