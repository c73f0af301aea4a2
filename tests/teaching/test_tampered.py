"""A data set to find faults in: every fault is there, and what checking finds is told truly."""

import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.exceptions import InputError
from motorlearn.teaching import tampered_study
from motorlearn.teaching.tampered import FAULTS


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    place = tmp_path_factory.mktemp("tampered")
    plan = ml.trials.shipped_study()
    key = tampered_study(plan, place / "study", place / "key", seed=3).key
    return place, key.set_index("fault")


def test_every_fault_is_in_another_persons_data_and_counted(made):
    place, key = made
    assert list(key.index) == list(FAULTS) and key["participant"].is_unique
    assert key["rows"].gt(0).all()
    assert len(pd.read_csv(place / "key" / "faults.csv")) == len(FAULTS)
    assert not list((place / "study").glob("*fault*"))


def test_checking_the_study_names_what_the_key_says_it_names(made):
    place, key = made
    found = set(ml.read_study(place / "study").problems["rule"])
    told = {rule for rules in key["found_by"] for rule in rules.split(", ") if rule}
    assert told and told <= found
    assert (key["found_by"] != "").sum() >= 6


def test_the_copied_values_are_another_persons(made):
    place, key = made
    table = ml.read_study(place / "study").trials.table.query("phase == 'retention'")
    copied = key.loc["retention copied from another person", "participant"]
    rows = table[["participant", "x", "y"]]
    own, others = rows[rows["participant"] == copied], rows[rows["participant"] != copied]
    assert len(own.merge(others, on=["x", "y"])) >= len(own)


def test_the_key_may_not_lie_among_the_data(tmp_path):
    with pytest.raises(InputError, match="among the data"):
        tampered_study(ml.trials.shipped_study(), tmp_path / "a", tmp_path / "a" / "b", seed=1)
