"""Pairs of blocks within groups: by pingouin, with everybody accounted for."""

import subprocess
import sys
import warnings

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import motorlearn as ml
from motorlearn.compare import compare_blocks, pairs_within
from motorlearn.linear import holm


def table(seed=1, people=9, blocks=4):
    rng = np.random.default_rng(seed)
    rows = [
        (f"p{i}", "ab"[i % 2], block, rng.normal(20 - block, 3) + 0.2 * i)
        for i in range(people)
        for block in range(1, blocks + 1)
    ]
    return pd.DataFrame(rows, columns=["participant", "group", "block", "time"])


def compared(rows):
    return compare_blocks(rows, "time", group="group", phase=None)


def test_each_pair_is_the_paired_t_test_of_scipy_and_holm_is_within_groups():
    for seed in range(20):
        rows = table(seed)
        found = pairs_within(compared(rows)).pairs
        for pair in found.itertuples():
            wide = rows[rows["group"] == pair.group].pivot_table(
                index="participant", columns="block", values="time"
            )
            theirs = stats.ttest_rel(wide[pair.later], wide[pair.earlier])
            low, high = theirs.confidence_interval()
            assert (pair.statistic, pair.df) == pytest.approx((theirs.statistic, theirs.df))
            assert pair.p == pytest.approx(theirs.pvalue)
            assert (pair.conf_low, pair.conf_high) == pytest.approx((low, high))
        for _, own in found.groupby("group"):
            np.testing.assert_allclose(own["p_adjusted"], holm(own["p"]))


def test_who_lacks_a_block_is_counted_and_named():
    rows = table().query("not (participant == 'p0' and block == 2)")
    found = pairs_within(compared(rows))
    own = found.pairs.query("group == 'a' and (earlier == 2 or later == 2)")
    assert (own["without"] == 1).all() and (own["n"] == 4).all()
    assert found.pairs.query("group == 'b'")["without"].sum() == 0
    assert found.recipe.left_out[["participant", "reason"]].values.tolist() == [["p0", "without 2"]]


def test_too_few_people_or_no_spread_have_no_test_and_no_warning():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        few = pairs_within(compared(table(people=4))).pairs
        flat = pairs_within(compared(table().assign(time=lambda t: 1.0 * t["block"]))).pairs
        pairs_within(compared(table()))
    assert few["p"].isna().all() and few["estimate"].notna().all()
    assert flat["p"].isna().all() and (flat["estimate"] > 0).all()


def test_the_result_is_read_back():
    found = pairs_within(compared(table()))
    pd.testing.assert_frame_equal(ml.compare.Pairs.from_json(found.to_json()).pairs, found.pairs)


def test_pingouin_is_loaded_only_where_pairs_are_asked_for():
    code = "import sys, motorlearn.analysis; print('pingouin' in sys.modules)"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "False"


def test_groups_stand_as_they_were_compared_and_blocks_as_they_were_practised():
    rows = table().query("not (participant == 'p0' and block == 2)")
    asked = compare_blocks(rows, "time", group="group", phase=None, groups=["b", "a"])
    assert rows["group"].iloc[0] == "a"
    for comparison, groups in ((asked, ["b", "a"]), (compared(rows), ["a", "b"])):
        found = pairs_within(comparison).pairs
        assert list(dict.fromkeys(found["group"])) == groups
        assert (found["earlier"] < found["later"]).all(), "p0 came to block 2 last, that is never"
