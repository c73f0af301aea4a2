import json
from pathlib import Path

import numpy as np
import pandas as pd
import pingouin as pg
import pytest

from motorlearn.exceptions import FitError, InputError
from motorlearn.linear import repeated_anova
from motorlearn.linear.repeated import sphericity

REFERENCE = Path(__file__).parents[1] / "reference"
TEXTBOOK = json.loads((REFERENCE / "sphericity/values.json").read_text(encoding="utf-8"))
MIXED = json.loads((REFERENCE / "mixed_anova/values.json").read_text(encoding="utf-8"))


def wide(name):
    table = pg.read_dataset(name)
    scores = table.pivot(index="Subject", columns="Time", values="Scores")
    group = table.groupby("Subject")["Group"].first()
    return scores.to_numpy(), pd.factorize(group)[0]


@pytest.mark.parametrize("case", ["balanced", "unbalanced"])
@pytest.mark.parametrize("term", ["Group", "Time", "Group:Time"])
def test_mixed_analysis_against_type_iii_of_other_software(case, term):
    scores, codes = wide("mixed_anova" if case == "balanced" else "mixed_anova_unbalanced")
    effects = repeated_anova(scores, codes, within=[("Time", scores.shape[1])], between="Group")
    effect = next(effect for effect in effects if effect.term == term)
    expected = MIXED[case][term]
    assert effect.test.sum_sq == pytest.approx(expected["ss"], rel=1e-9)
    assert [effect.test.df1, effect.test.df2] == expected["df"]
    assert effect.test.statistic == pytest.approx(expected["F"], rel=1e-9)
    assert effect.test.p == pytest.approx(expected["p"], rel=1e-9)
    assert effect.generalised_eta2 == pytest.approx(expected["ges"], rel=1e-9)
    if "gg" in expected:
        shape = effect.sphericity
        assert shape.epsilon_gg == pytest.approx(expected["gg"], rel=1e-9)
        assert shape.epsilon_hf == pytest.approx(expected["hf"], rel=1e-9)
        assert effect.p_gg == pytest.approx(expected["p_gg"], rel=1e-9)
        assert effect.p_hf == pytest.approx(expected["p_hf"], rel=1e-9)
        assert shape.mauchly_w == pytest.approx(expected["w"], rel=1e-9)
        assert shape.mauchly_p == pytest.approx(expected["p_w"], abs=2e-5)


def test_unequal_groups_do_not_give_type_ii():
    scores, codes = wide("mixed_anova_unbalanced")
    time = repeated_anova(scores, codes, within=[("Time", 4)])[1]
    assert time.test.statistic == pytest.approx(1.5391377573, rel=1e-9)
    assert abs(time.test.statistic - MIXED["type_ii_time_f"]) > 0.1


def test_two_within_factors_of_table_12_1():
    table = pd.read_csv(REFERENCE / "sphericity/table_12_1.csv")
    cells = table.pivot(index="id", columns=["angle", "noise"], values="rt").sort_index(axis=1)
    effects = {
        effect.term: effect
        for effect in repeated_anova(cells.to_numpy(), within=[("angle", 3), ("noise", 2)])
    }
    expected = TEXTBOOK["table_12_1"]
    for term, name in {"angle": "angle", "noise": "noise", "angle:noise": "inter"}.items():
        effect, values = effects[term], expected[name]
        assert effect.test.statistic == pytest.approx(values["F"], rel=1e-9)
        assert [effect.test.df1, effect.test.df2] == values["df"]
        assert effect.generalised_eta2 == pytest.approx(
            expected["generalised_eta2"][term], rel=1e-9
        )
        if effect.sphericity:
            assert effect.sphericity.epsilon_gg == pytest.approx(values["eps_gg"], rel=1e-9)
            assert effect.sphericity.mauchly_w == pytest.approx(values["W"], rel=1e-9)
            assert effect.sphericity.mauchly_p == pytest.approx(values["pW"], rel=1e-9)
            assert effect.p_gg == pytest.approx(values["p_gg"], rel=1e-9)
    assert effects["noise"].test.p == pytest.approx(expected["noise"]["p"], rel=1e-9)
    angle = effects["angle"].sphericity
    assert angle.epsilon_hf_raw == pytest.approx(expected["angle"]["eps_hf_raw"], rel=1e-9)
    assert angle.epsilon_hf == 1.0


def test_four_ages_of_table_15_1():
    table = pd.read_csv(REFERENCE / "sphericity/table_15_1.csv")
    cells = table.pivot(index="id", columns="timecat", values="iq").to_numpy(dtype=float)
    effect = repeated_anova(cells, within=[("age", 4)])[0]
    expected = TEXTBOOK["table_15_1"]
    assert effect.test.statistic == pytest.approx(expected["F"], rel=5e-6)
    assert effect.test.sum_sq == pytest.approx(expected["SS"])
    assert effect.test.error_sum_sq == pytest.approx(expected["SSE"])
    assert effect.sphericity.epsilon_gg == pytest.approx(expected["eps_gg"], rel=1e-9)
    assert effect.sphericity.epsilon_hf == pytest.approx(expected["eps_hf"], rel=1e-9)
    assert effect.p_gg == pytest.approx(expected["p_gg"], rel=1e-9)
    assert effect.p_hf == pytest.approx(expected["p_hf"], rel=1e-9)
    assert effect.sphericity.mauchly_w == pytest.approx(expected["W"], rel=1e-9)
    assert effect.sphericity.mauchly_p == pytest.approx(expected["pW"], abs=2e-5)


def test_two_occasions_reduce_to_the_paired_t():
    rng = np.random.default_rng(3)
    y = rng.normal(size=(9, 2))
    effect = repeated_anova(y, within=[("phase", 2)])[0]
    change = y[:, 1] - y[:, 0]
    t = change.mean() / (change.std(ddof=1) / 3)
    assert effect.test.statistic == pytest.approx(t**2)
    assert effect.sphericity is None and effect.p_gg == effect.test.p


def test_shift_scale_and_order_change_no_test():
    scores, codes = wide("mixed_anova_unbalanced")
    order = np.random.default_rng(1).permutation(len(scores))
    one = repeated_anova(scores, codes, within=[("t", 4)])
    other = repeated_anova(1e3 * scores[order] + 50, 2 - codes[order], within=[("t", 4)])
    for a, b in zip(one, other, strict=True):
        assert a.test.statistic == pytest.approx(b.test.statistic)
        assert a.p_gg == pytest.approx(b.p_gg)


def test_mauchly_is_not_made_with_too_few_people():
    y = np.random.default_rng(0).normal(size=(4, 6))
    shape = repeated_anova(y, within=[("block", 6)])[0].sphericity
    assert np.isnan(shape.mauchly_p) and 0 < shape.epsilon_gg <= 1 and shape.epsilon_hf <= 1


def test_no_spread_left_has_no_test():
    y = np.add.outer([1.0, 2.0, 5.0], [0.0, 1.0, 3.0])
    effect = repeated_anova(y, within=[("phase", 3)])[0]
    assert effect.test.partial_eta2 == pytest.approx(1)


@pytest.mark.slow
def test_corrected_tests_hold_their_level_where_the_uncorrected_does_not():
    rng = np.random.default_rng(17)
    mix = np.linalg.cholesky(0.9 ** np.abs(np.subtract.outer(range(5), range(5))))
    rejected = np.zeros(3)
    for _ in range(3000):
        y = rng.normal(size=(12, 5)) @ mix.T
        effect = repeated_anova(y, within=[("block", 5)])[0]
        rejected += np.array([effect.test.p, effect.p_gg, effect.p_hf]) < 0.05
    plain, gg, hf = rejected / 3000
    assert plain > 0.07
    assert 0.03 < gg < 0.065 and 0.035 < hf < 0.07


@pytest.mark.parametrize(
    ("scores", "codes", "error", "match"),
    [
        (np.ones((4, 2)), None, InputError, "one column per cell"),
        (np.array([[1, 2, np.nan]] * 4), None, InputError, "complete"),
        (np.ones((4, 3)), [0, 0, 2, 2], InputError, "every group"),
        (np.ones((2, 3)), [0, 1], FitError, "too few"),
    ],
)
def test_refusals(scores, codes, error, match):
    with pytest.raises(error, match=match):
        repeated_anova(scores, codes, within=[("phase", 3)])


def test_sphericity_knows_no_unit():
    spread = np.array([[4.0, 1, 0], [1, 2, 0.5], [0, 0.5, 3]])
    metres, millimetres = sphericity(spread * 1e-6, 20), sphericity(spread, 20)
    assert vars(metres) == pytest.approx(vars(millimetres), rel=1e-12)
    assert np.isnan(sphericity(np.zeros((3, 3)), 20).epsilon_gg)


def test_three_people_have_an_uncorrected_epsilon_of_huynh_and_feldt():
    # Huynh & Feldt (1976), one group of n: (n d e - 2) / (d (n - 1 - d e)); by hand, contrast
    # scores with products 2, 1 and covariance 0: e = 9 / (2 (4 + 1)) = .9, d = 2, n = 3.
    found = sphericity(np.diag([2.0, 1.0]), 2)
    assert found.epsilon_gg == pytest.approx(0.9)
    assert found.epsilon_hf_raw == pytest.approx((3 * 2 * 0.9 - 2) / (2 * (2 - 2 * 0.9)))
    assert found.epsilon_hf == 1.0
