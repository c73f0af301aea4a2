import json
from pathlib import Path

import numpy as np
import pytest
import scipy
from pingouin import read_dataset

from motorlearn.exceptions import InputError
from motorlearn.linear import one_sample, one_way, welch, welch_one_way, welch_summary

REFERENCE = Path(__file__).parents[1] / "reference"
STUDENT = json.loads((REFERENCE / "student_sleep/values.json").read_text(encoding="utf-8"))
STRD = json.loads((REFERENCE / "one_way_strd/values.json").read_text(encoding="utf-8"))
ANCOVA = json.loads((REFERENCE / "ancova/values.json").read_text(encoding="utf-8"))["income"]
STRD_DATA = Path(scipy.__file__).parent / "stats/tests/data/nist_anova"


def test_student_1908_paired():
    row = one_sample(np.subtract(STUDENT["g1"], STUDENT["g2"]))
    assert row.statistic == pytest.approx(STUDENT["paired_t"], rel=1e-10)
    assert row.p == pytest.approx(STUDENT["paired_p"], rel=1e-10)


def test_student_1908_welch():
    row = welch(STUDENT["g1"], STUDENT["g2"])
    assert row.statistic == pytest.approx(STUDENT["welch_t"], rel=1e-10)
    assert row.df == pytest.approx(STUDENT["welch_df"], rel=1e-10)
    assert row.p == pytest.approx(STUDENT["welch_p"], rel=1e-10)


@pytest.mark.parametrize("name", STRD)
def test_certified_one_way_analyses(name):
    certified, tolerance = STRD[name]
    if not STRD_DATA.is_dir():
        pytest.skip("this scipy wheel carries no certified data")
    group, value = np.loadtxt(STRD_DATA / f"{name}.dat", skiprows=60).T
    found = one_way([value[group == level] for level in np.unique(group)])
    assert found.statistic == pytest.approx(certified, rel=tolerance)


def test_one_way_loses_no_digits_that_the_numbers_carry():
    rng = np.random.default_rng(1)
    groups = [1e12 + rng.integers(0, 9, 21) for _ in range(9)]
    plain = [group - 1e12 for group in groups]
    assert one_way(groups).statistic == pytest.approx(one_way(plain).statistic, rel=1e-12)


def test_welch_of_several_means():
    table = read_dataset("ancova")
    found = welch_one_way([rows.to_numpy() for _, rows in table.groupby("Method")["Scores"]])
    assert [found.statistic, found.df2, found.p] == pytest.approx(ANCOVA["welch"], rel=1e-9)


def test_welch_of_two_means_is_the_square_of_t():
    t = welch(STUDENT["g1"], STUDENT["g2"])
    f = welch_one_way([STUDENT["g1"], STUDENT["g2"]])
    assert f.statistic == pytest.approx(t.statistic**2)
    assert (f.df2, f.p) == pytest.approx((t.df, t.p))


def test_summary_and_samples_agree():
    rng = np.random.default_rng(2)
    a, b = rng.normal(3, 1, 7), rng.normal(2, 4, 31)
    from_summary = welch_summary(
        (a.mean(), b.mean()), (a.std(ddof=1), b.std(ddof=1)), (a.size, b.size)
    )
    assert from_summary.p == pytest.approx(welch(a, b).p)


def test_too_little_data_has_no_test():
    assert np.isnan(one_sample([1.0]).p)
    assert np.isnan(one_sample([]).estimate)
    assert np.isnan(welch([1.0], [2.0, 3.0]).p)
    assert np.isnan(welch_one_way([[1.0], [2.0, 3.0]]).p)
    assert np.isnan(welch_one_way([[1.0, 1.0], [2.0, 3.0]]).p)


def test_a_group_of_one_counts_in_a_one_way_analysis_and_an_empty_one_is_refused():
    found, known = one_way([[1.0, 2, 4], [9.0]]), scipy.stats.f_oneway([1.0, 2, 4], [9.0])
    assert (found.statistic, found.p) == pytest.approx(tuple(known), rel=1e-12)
    with pytest.raises(InputError, match="two groups with values"):
        one_way([[1.0, 2, 4], []])


def test_missing_values_are_refused():
    with pytest.raises(InputError, match="missing"):
        welch([1.0, np.nan], [1.0, 2.0])
    with pytest.raises(InputError, match="two groups"):
        one_way([[1.0, 2.0]])
