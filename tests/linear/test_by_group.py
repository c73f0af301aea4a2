"""Contrasts with a variance for each group: what they reduce to, and the rate they keep."""

import numpy as np
import pytest
from scipy import stats

from motorlearn.exceptions import InputError
from motorlearn.linear import (
    ancova,
    ancova_batch,
    estimate_by_group,
    fit_least_squares,
    group_variances,
    joint_test_by_group,
    true_size,
    welch,
)
from motorlearn.linear.batch import ancova_joint_batch
from motorlearn.linear.jackknife import jackknife_by_group


def groups(seed, sizes, sds, slope=0.6):
    """Scores, group codes and baselines without any effect of the group."""
    rng = np.random.default_rng(seed)
    codes = np.repeat(np.arange(len(sizes)), sizes)
    x = rng.normal(38, 5, len(codes))
    y = 40 + slope * (x - 38) + np.repeat(sds, sizes) * rng.normal(size=len(codes))
    return y, codes, x


def test_without_a_covariate_it_is_welch():
    y, codes, _ = groups(1, (7, 12), (3, 1))
    fit = fit_least_squares(np.eye(2)[codes], y)
    found, scipys = estimate_by_group(fit, [1, -1], codes), welch(y[:7], y[7:])
    outside = stats.ttest_ind(y[:7], y[7:], equal_var=False)
    for name in ("estimate", "std_error", "df", "p", "conf_low"):
        assert getattr(found, name) == pytest.approx(getattr(scipys, name))
    assert (found.statistic, found.p) == pytest.approx((outside.statistic, outside.pvalue))
    assert found.df == pytest.approx(outside.df)


def test_one_common_variance_and_one_group_is_the_ordinary_test():
    y, codes, x = groups(2, (9, 11), (2, 2))
    plain = ancova(y, codes, x)
    one = estimate_by_group(plain.fit, plain.weights(1, 0), np.zeros(20, dtype=int))
    other = plain.difference(1, 0)
    assert (one.std_error, one.df, one.p) == pytest.approx((other.std_error, other.df, other.p))


def test_degrees_of_freedom_add_up():
    y, codes, x = groups(3, (6, 8, 10), (1, 2, 3))
    fit = ancova(y, codes, x).fit
    variances, df = group_variances(fit, codes)
    assert df.sum() == pytest.approx(fit.df)
    assert (variances * df).sum() == pytest.approx(fit.sse)


def test_the_joint_test_of_one_contrast_is_its_square():
    y, codes, x = groups(4, (6, 9), (1, 3))
    own = ancova(y, codes, x, variance="by group")
    t = own.difference(1, 0)
    assert own.group_test.statistic == pytest.approx(t.statistic**2)
    assert (own.group_test.df2, own.group_test.p) == pytest.approx((t.df, t.p))


def test_the_joint_test_does_not_ask_which_group_is_the_reference():
    y, codes, x = groups(5, (6, 9, 12), (1, 3, 2))
    first = ancova(y, codes, x, variance="by group").group_test
    other = ancova(y, (codes + 1) % 3, x, variance="by group").group_test
    assert (first.statistic, first.df2) == pytest.approx((other.statistic, other.df2))


def test_the_estimate_is_the_ordinary_one_and_the_scale_does_not_matter():
    y, codes, x = groups(6, (6, 9, 12), (1, 3, 2))
    plain, own = ancova(y, codes, x), ancova(y, codes, x, variance="by group")
    assert own.difference(2, 0).estimate == pytest.approx(plain.difference(2, 0).estimate)
    assert own.adjusted_mean(1).estimate == pytest.approx(plain.adjusted_mean(1).estimate)
    tenfold = ancova(10 * y + 7, codes, x, variance="by group").difference(2, 0)
    assert tenfold.p == pytest.approx(own.difference(2, 0).p)
    assert tenfold.df == pytest.approx(own.difference(2, 0).df)


def test_a_group_of_one_has_no_variance_of_its_own():
    y, codes, x = groups(7, (1, 9), (1, 1))
    own = ancova(y, codes, x, variance="by group")
    assert np.isnan(own.difference(1, 0).p)
    assert np.isnan(own.group_test.p)


def test_unknown_variances_and_codes_are_refused():
    y, codes, x = groups(8, (5, 5), (1, 1))
    with pytest.raises(InputError, match="by group"):
        ancova(y, codes, x, variance="own")
    with pytest.raises(InputError, match="group"):
        estimate_by_group(ancova(y, codes, x).fit, [0, 1, 0], codes[:4])
    with pytest.raises(InputError, match="weight"):
        true_size(ancova(y, codes, x).fit, [0, 1], codes, [1, 1])


def rates(sizes, sds, slope, replicates, seed=0):
    """Share of p below .05 of the ordinary and the other contrast, of both joint tests; theory."""
    found, expected = [], []
    for k in range(replicates):
        y, codes, x = groups((seed, k), sizes, sds, slope)
        plain = ancova(y, codes, x)
        last = plain.weights(len(sizes) - 1, 0)
        found.append(
            (
                plain.difference(len(sizes) - 1, 0).p,
                plain.difference(len(sizes) - 1, 0, covariance="by group").p,
                plain.group_test.p,
                joint_test_by_group(plain.fit, np.eye(len(sizes) + 1)[1 : len(sizes)], codes).p,
            )
        )
        expected.append(true_size(plain.fit, last, codes, np.square(sds)))
    return *np.mean(np.array(found) < 0.05, axis=0), np.mean(expected)


def test_ten_wide_and_thirty_narrow_people():
    """The ordinary test rejects four times too often, as the formula says; the other holds."""
    ordinary, by_group, _, _, expected = rates((10, 30), (6, 2), 0.6, 600)
    assert ordinary > 0.15
    assert expected == pytest.approx(ordinary, abs=0.04)
    assert 0.03 < by_group < 0.07


CELLS = [
    (sizes, sds, slope)
    for sizes, sds in [
        ((6, 6), (1, 1)), ((6, 6), (3, 1)), ((10, 10), (3, 1)), ((10, 30), (3, 1)),
        ((30, 10), (3, 1)), ((6, 18), (3, 1)), ((6, 18), (1, 1)), ((20, 20), (3, 1)),
        ((6, 6, 6), (1, 1, 3)), ((8, 12, 24), (3, 1, 1)), ((10, 10, 10), (1, 1, 3)),
    ]
    for slope in (0.1, 0.6)
]  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize(("sizes", "sds", "slope"), CELLS)
def test_the_rate_is_kept_in_groups_of_unequal_size_and_spread(sizes, sds, slope):
    """2,000 studies a cell: between 3.5 and 6.8 %; the formula within two points of the truth."""
    ordinary, by_group, _, joint, expected = rates(sizes, sds, slope, 2000, seed=9)
    assert 0.035 < by_group < 0.068
    assert 0.035 < joint < 0.068
    assert expected == pytest.approx(ordinary, abs=0.02)


@pytest.mark.parametrize("variance", ["equal", "by group"])
def test_many_studies_at_once_are_the_single_analyses(variance):
    rng = np.random.default_rng(2)
    y, x = rng.normal(size=(2, 4, 20))
    codes = np.repeat([0, 1, 2], [5, 7, 8])
    y[0, 3], x[1, 9] = np.nan, np.nan
    both = ancova_batch(y, codes, x, weights=[-1, 1, 0], variance=variance)
    alone = ancova_batch(y, codes, weights=[-1, 1, 0], variance=variance)
    joint = ancova_joint_batch(y, codes, x)
    for study in range(len(y)):
        kept = ~np.isnan(y[study]) & ~np.isnan(x[study])
        one = ancova(y[study][kept], codes[kept], x[study][kept], variance=variance)
        expected = one.difference(1, 0)
        for name in ("estimate", "std_error", "df", "p"):
            assert getattr(both, name)[study] == pytest.approx(getattr(expected, name), rel=1e-10)
        if variance == "equal":
            assert joint[2][study] == pytest.approx(one.group_test.p, rel=1e-9)
        else:
            seen = ~np.isnan(y[study])
            pair = [y[study][seen & (codes == group)] for group in (1, 0)]
            assert alone.df[study] == pytest.approx(welch(*pair).df)
            assert alone.p[study] == pytest.approx(welch(*pair).p)


def test_the_jackknife_of_several_studies_is_welch_of_each():
    rng = np.random.default_rng(5)
    for sizes in ((4, 5), (3, 3)):
        codes = np.repeat([0, 1], sizes)
        x, weights = np.eye(2)[codes][:, None, :], np.array([1.0, -1.0])
        y = rng.normal(size=(sizes[0], len(codes)))
        unit = np.ones((*y.shape, 1, 1))
        found = jackknife_by_group(y[..., None], x, unit, codes, weights)
        for study, scores in enumerate(y):
            wanted = stats.ttest_ind(scores[codes == 0], scores[codes == 1], equal_var=False)
            statistic = found.estimate[study] / found.std_error[study]
            assert (statistic, found.df[study]) == pytest.approx((wanted.statistic, wanted.df))
