"""Adaptation by one or two rates: hand answer, published parameters, recovery, refusals."""

import numpy as np
import pytest

from motorlearn.curves import fit_adaptation, simulate_adaptation
from motorlearn.exceptions import InputError

PUSH = np.r_[np.zeros(20), np.ones(200), -np.ones(20), np.zeros(120)]
CLAMP = np.r_[np.full(240, np.nan), np.zeros(120)]
# Smith, Ghazizadeh & Shadmehr (2006): fast .59 and .21, slow .992 and .02. The full text could not
# be read; two public texts that quote these four values from it were (2026-11-26). WALKING are the
# values of the fast and the slow process in an openly kept simulation of split-belt walking after
# Roemmich, Long and Bastian (2016, Current Biology, 26), read at its head (2026-11-27); the paper
# itself could not be read.
WALKING = (0.9335, 0.9978), (0.0918, 0.0143)
RETENTION, LEARNING = (0.59, 0.992), (0.21, 0.02)


def simulated(noise=0.0, seed=1, clamp=CLAMP, push=PUSH):
    truth = simulate_adaptation(push, retention=RETENTION, learning=LEARNING, clamp=clamp)
    return truth.sum(axis=1) + noise * np.random.default_rng(seed).normal(size=len(push))


def test_states_by_hand():
    states = simulate_adaptation(
        [1.0, 1.0, 0.0, 0.0],
        retention=[0.5, 0.9],
        learning=[0.2, 0.1],
        clamp=[np.nan, np.nan, np.nan, 0.0],
    )
    # e = 1, then 1 - .3 = .7, then 0 - (.24 + .16) = -.40.
    assert states[1].tolist() == pytest.approx([0.2, 0.1])
    assert states[2].tolist() == pytest.approx([0.5 * 0.2 + 0.2 * 0.7, 0.9 * 0.1 + 0.1 * 0.7])
    assert states[3].tolist() == pytest.approx([0.12 - 0.08, 0.144 - 0.04])


def test_adaptation_comes_back_by_itself_in_error_clamp_after_a_reversal():
    total = simulated()
    after = total[240:]
    top = int(np.argmax(after))
    assert after[0] < 0 < after[top] and 3 < top < 40 and after[-1] < after[top]


def test_published_parameters_are_recovered_exactly_without_noise():
    found = fit_adaptation(PUSH, simulated(), clamp=CLAMP)
    wanted = [RETENTION[0], LEARNING[0], RETENTION[1], LEARNING[1]]
    assert found.estimates["estimate"].tolist() == pytest.approx(wanted, rel=1e-5)
    assert found.states["error"].iloc[-1] == 0.0


def test_parameters_of_walking_are_recovered_exactly_without_noise():
    push = np.r_[np.zeros(200), np.ones(400), np.zeros(400)]
    total = simulate_adaptation(push, retention=WALKING[0], learning=WALKING[1]).sum(axis=1)
    found = fit_adaptation(push, total)
    wanted = [WALKING[0][0], WALKING[1][0], WALKING[0][1], WALKING[1][1]]
    assert found.estimates["estimate"].tolist() == pytest.approx(wanted, rel=1e-4)


@pytest.mark.slow
def test_published_parameters_lie_in_their_intervals_with_noise():
    inside = np.zeros(4)
    wanted = np.array([RETENTION[0], LEARNING[0], RETENTION[1], LEARNING[1]])
    for seed in range(60):
        found = fit_adaptation(PUSH, simulated(0.06, seed), clamp=CLAMP)
        assert found.status == "ok"
        table = found.estimates
        inside += (table["conf_low"] < wanted) & (wanted < table["conf_high"])
    assert np.all(inside >= 52)


def test_washout_without_clamp_and_missing_trials_are_enough():
    push = np.r_[np.ones(150), -np.ones(15), np.zeros(60)]
    y = simulated(0.02, clamp=None, push=push)
    y[::7] = np.nan
    found = fit_adaptation(push, y)
    assert found.n == np.isfinite(y).sum()
    assert found.estimates["estimate"].to_numpy() == pytest.approx(
        [0.59, 0.21, 0.992, 0.02], rel=0.3
    )


def test_one_rate_is_preferred_where_there_is_one_and_two_are_not_told_apart():
    truth = simulate_adaptation(PUSH, retention=[0.95], learning=[0.15], clamp=CLAMP)[:, 0]
    y = truth + 0.05 * np.random.default_rng(3).normal(size=len(PUSH))
    one, two = (fit_adaptation(PUSH, y, clamp=CLAMP, rates=k) for k in (1, 2))
    assert one.status == "ok" and one.bic < two.bic
    assert one.estimates["estimate"].tolist() == pytest.approx([0.95, 0.15], abs=0.02)
    assert two.status != "ok"
    other = [fit_adaptation(PUSH, simulated(0.05), clamp=CLAMP, rates=k).bic for k in (1, 2)]
    assert other[1] < other[0]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"rates": 3}, "one or two"),
        ({"adaptation": np.ones(5)}, "differ in length"),
        ({"adaptation": np.full(360, np.nan)}, "measured trials"),
        ({"perturbation": np.zeros(360), "clamp": None}, "a perturbation"),
        ({"perturbation": np.full(360, np.nan)}, "missing or infinite"),
        ({"clamp": np.ones(3)}, "differ in length"),
        ({"level": 95}, "confidence level"),
    ],
)
def test_refusals(change, said):
    given = {"perturbation": PUSH, "adaptation": simulated(), "clamp": CLAMP} | change
    with pytest.raises(InputError, match=said):
        fit_adaptation(**given)
