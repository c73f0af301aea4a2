"""A programme with one group goes all the way: plan, invented data, reading, report."""

import shutil

import pytest
from plans_of_tests import PROGRAMME

import motorlearn as ml
from motorlearn.trials import table_bytes


@pytest.mark.slow
def test_the_programme_gets_its_report_and_no_claim_it_cannot_carry(tmp_path):
    shutil.copyfile(PROGRAMME, tmp_path / "study.toml")
    invented = ml.simulate_study(ml.read_design(tmp_path), seed=3)
    (tmp_path / "trials.csv").write_bytes(table_bytes(invented.trials.table))
    study = ml.read_study(tmp_path)
    assert not (study.problems["severity"] == "error").any()
    page = ml.write_report(study, tmp_path / "report")
    text = page.read_text(encoding="utf-8")
    assert "one week after" in text
    assert "regression to the mean" in text
