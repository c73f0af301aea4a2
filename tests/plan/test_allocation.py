import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.exceptions import ColumnError, InputError

PEOPLE = pd.DataFrame(
    {
        "participant": [f"P{i:02d}" for i in range(72)],
        "experience": ["yes", "no"] * 36,
        "sex": ["f", "f", "m", "m"] * 18,
        "class": [f"class {i // 6}" for i in range(72)],
    }
)
AGED = PEOPLE.assign(age=[20 + i / 10 for i in range(72)])
GROUPS = ["blocked", "serial", "random"]


def test_permuted_blocks_balance_every_stratum_at_every_block():
    allocation = ml.allocate(PEOPLE, GROUPS, strata=["experience"], seed=3, block_size=6)
    for _, stratum in allocation.table.groupby("experience"):
        codes = stratum["group"].to_numpy().reshape(-1, 6)
        assert all(sorted(block) == sorted(GROUPS * 2) for block in codes)
    assert allocation.balance.loc[0, GROUPS].tolist() == [24, 24, 24]


def test_the_last_block_shrinks_to_what_is_left():
    for seed in range(20):
        allocation = ml.allocate(PEOPLE.head(8), ["a", "b"], seed=seed, block_size=6)
        assert allocation.balance.loc[0, ["a", "b"]].tolist() == [4, 4]


def test_ratio_is_held_in_every_block():
    allocation = ml.allocate(PEOPLE, {"a": 2, "b": 1}, seed=1, block_size=6)
    assert allocation.balance.loc[0, ["a", "b"]].tolist() == [48, 24]


def test_groups_follow_chance_and_not_the_order_of_enrolment():
    first = [ml.allocate(PEOPLE, GROUPS, seed=s).table["group"].iloc[0] for s in range(300)]
    assert pd.Series(first).value_counts().min() > 70


def test_minimisation_is_more_even_over_many_strata_than_free_draws():
    def spread(method, seed):
        balance = ml.allocate(
            PEOPLE, GROUPS, strata=["experience", "sex"], seed=seed, method=method
        ).balance
        return np.ptp(balance[GROUPS].to_numpy(), axis=1).max()

    minimised = np.mean([spread("minimisation", s) for s in range(30)])
    free = np.mean([spread("simple", s) for s in range(30)])
    assert minimised < free / 2
    assert minimised <= 4


def test_minimisation_with_certainty_one_never_lets_a_factor_drift():
    allocation = ml.allocate(
        PEOPLE, ["a", "b"], strata="sex", seed=2, method="minimisation", certainty=1.0
    )
    for _, part in allocation.table.groupby("sex"):
        running = (part["group"] == "a").cumsum() - (part["group"] == "b").cumsum()
        assert running.abs().max() <= 1


def people_of(count):
    return [f"P{i:04d}" for i in range(count)]


def test_free_draws_follow_the_ratio():
    allocation = ml.allocate(people_of(4000), {"a": 3, "b": 1}, seed=4, method="simple")
    assert (allocation.table["group"] == "a").mean() == pytest.approx(0.75, abs=0.03)


def test_minimisation_holds_the_ratio():
    allocation = ml.allocate(
        people_of(300), {"a": 2, "b": 1}, seed=5, method="minimisation", certainty=1.0
    )
    assert allocation.table["group"].value_counts().to_dict() == {"a": 200, "b": 100}


def test_minimisation_takes_the_best_group_as_often_as_it_says():
    allocation = ml.allocate(
        people_of(3000), ["a", "b"], seed=6, method="minimisation", certainty=0.7
    )
    step = np.where(allocation.table["group"] == "a", 1, -1)
    lead = np.cumsum(step) - step
    uneven = lead != 0
    assert np.mean(np.sign(lead[uneven]) != step[uneven]) == pytest.approx(0.7, abs=0.03)


def test_clusters_go_whole_and_the_warning_names_the_unit():
    allocation = ml.allocate(PEOPLE, GROUPS, seed=1, cluster="class")
    assert (allocation.table.groupby("class")["group"].nunique() == 1).all()
    assert "12 clusters (class) were allocated, 72 participants" in allocation.warnings[0]
    few = ml.allocate(PEOPLE.head(36), ["a", "b"], seed=1, cluster="class")
    assert "With 6 clusters only" in few.warnings[0]


def test_same_seed_same_list_same_hash_and_the_log_says_how():
    one, again = (ml.allocate(PEOPLE, GROUPS, strata="sex", seed=7) for _ in range(2))
    assert one.table.equals(again.table)
    assert one.log == again.log
    assert one.log["seed"] == 7
    other = ml.allocate(PEOPLE, GROUPS, strata="sex", seed=8)
    assert other.log["result_sha256"] != one.log["result_sha256"]
    assert other.log["input_sha256"] == one.log["input_sha256"]


def test_the_list_for_data_entry_hides_the_group():
    allocation = ml.allocate(PEOPLE, GROUPS, seed=1)
    assert "group" not in allocation.for_data_entry
    assert "group" in allocation.concealed
    assert allocation.from_json(allocation.to_json()).table.equals(allocation.table)


@pytest.mark.parametrize(
    ("change", "error", "words"),
    [
        ({"strata": "age"}, ColumnError, "lacks a column"),
        ({"method": "alternation"}, InputError, "no such method"),
        ({"block_size": 7}, InputError, "multiple of 3"),
        ({"groups": ["one"]}, InputError, "two groups or more"),
        ({"participants": ["P1", "P1"]}, InputError, "listed twice"),
        ({"participants": ["P01", "p1 ", "P-1", "P2"]}, InputError, "spelled in several ways"),
        ({"participants": "P01"}, InputError, "list of identifiers"),
        ({"participants": ["P1", " "]}, InputError, "identifier is missing"),
        ({"strata": "group"}, InputError, "column of the allocation list itself"),
        ({"strata": ["sex", "sex"]}, InputError, "named twice"),
        ({"participants": AGED, "strata": "age"}, InputError, "72 people into 72 levels"),
        ({"block_size": "six"}, InputError, "block_size must be a whole number"),
        ({"block_size": -6}, InputError, "block_size must be 1 or more"),
        ({"block_size": [6, 7]}, InputError, "multiple of 3"),
        ({"groups": {"a": 1.5, "b": 1}}, InputError, "whole number"),
        ({"groups": {"a": "two", "b": 1}}, InputError, "whole number"),
        ({"groups": "ab"}, InputError, "list of names"),
        ({"method": "minimisation", "certainty": 5}, InputError, "from 0.333333 to 1"),
        ({"method": "minimisation", "certainty": -1}, InputError, "from 0.333333 to 1"),
        ({"seed": None}, InputError, "no seed"),
        ({"seed": -1}, InputError, "seed must be 0 or more"),
        ({"seed": "one"}, InputError, "seed must be a whole number"),
        ({"participants": []}, InputError, "nobody"),
        ({"groups": {"a": 0, "b": 1}}, InputError, "whole numbers"),
        ({"cluster": "class", "strata": "sex"}, InputError, "differs inside a cluster"),
    ],
)
def test_unusable_lists_are_refused(change, error, words):
    given = {"participants": PEOPLE, "groups": GROUPS, "strata": None, "seed": 1} | change
    with pytest.raises(error, match=words):
        ml.allocate(given.pop("participants"), given.pop("groups"), **given)


def test_a_missing_stratum_is_refused_by_name():
    people = PEOPLE.assign(sex=[None, *PEOPLE["sex"][1:]])
    with pytest.raises(InputError, match="P00"):
        ml.allocate(people, GROUPS, strata="sex", seed=1)
