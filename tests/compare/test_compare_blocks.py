import numpy as np
import pandas as pd
import pytest

from motorlearn.compare import BlockComparison, compare_blocks
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.linear import repeated_anova


@pytest.fixture
def practice():
    rng = np.random.default_rng(4)
    rows = [
        (f"P{i:02d}", ("blocked", "random")[i % 2], session, block, rng.normal(30 - 2 * block, 3))
        for i in range(13)
        for session in (1, 2)
        for block in (1, 2, 3)
        for _ in range(6)
    ]
    columns = ["participant", "group", "session", "block", "radial_error"]
    return pd.DataFrame(rows, columns=columns).assign(phase="acquisition")


def test_blocks_are_numbered_on_over_sessions(practice):
    result = compare_blocks(practice, "radial_error", group="group", block=["session", "block"])
    assert result.means["block"].unique().tolist() == [1, 2, 3, 4, 5, 6]
    cells = (
        practice.groupby(["participant", "session", "block"])["radial_error"].mean().unstack([1, 2])
    )
    codes = np.arange(13) % 2
    expected = repeated_anova(cells.sort_index(axis=1).to_numpy(), codes, within=[("block", 6)])
    np.testing.assert_allclose(
        result.anova["statistic"], [effect.test.statistic for effect in expected]
    )
    assert result.anova["term"].tolist() == ["group", "block", "group:block"]


def test_a_missing_block_is_named(practice):
    gone = (practice["participant"] == "P04") & (practice["block"] == 3)
    result = compare_blocks(practice[~gone], "radial_error", group="group")
    assert "P04 (blocked)" in result.statements[-1]
    assert result.anova["df2"].iloc[0] == 12 - 2
    assert BlockComparison.from_json(result.to_json()).statements == result.statements


def test_practice_never_speaks_of_what_lasts(practice):
    result = compare_blocks(practice, "radial_error", group="group")
    assert "cannot show what lasts" in result.statements[0]
    assert "learn" not in str(result)


@pytest.mark.parametrize(
    ("options", "error", "match"),
    [
        ({"practice": "training"}, InputError, "no practice"),
        ({"block": "set"}, ColumnError, "set"),
        ({"block": "phase"}, InputError, "one block only"),
    ],
)
def test_refusals(practice, options, error, match):
    with pytest.raises(error, match=match):
        compare_blocks(practice, "radial_error", group="group", **options)


def test_blocks_that_count_nowhere_are_no_blocks(practice):
    free = practice[practice["block"] == 3].assign(block=4, void="free practice")
    whole = compare_blocks(practice, "radial_error", group="group")
    beside = compare_blocks(
        pd.concat([practice.assign(void=""), free[free["participant"] > "P06"]]),
        "radial_error",
        group="group",
    )
    pd.testing.assert_frame_equal(beside.anova, whole.anova)
