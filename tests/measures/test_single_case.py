"""Single cases on arrays: what could be drawn, by hand and by brute force; overlap; neighbours."""

import itertools
import time

import numpy as np
import pytest
from scipy import linalg, stats

from motorlearn.design import Randomisation
from motorlearn.exceptions import InputError
from motorlearn.measures.single_case import (
    count_assignments,
    dependence,
    dependent_difference,
    draw_conditions,
    lag_one,
    nonoverlap,
    randomisation_test,
    tau_u,
    variance_inflation,
)


def difference(y, codes):
    return y[codes == 1].mean() - y[codes == 0].mean()


def every_record(draw, n, cases=1):
    """All records of 0 and 1 that the rules of a draw allow, by looking at each of them."""
    fits = [np.array(c) for c in itertools.product([0.0, 1.0], repeat=n)]
    fits = [c for c in fits if 0 < c.sum() < n and not draw.misfit(c)]
    return [
        both
        for both in itertools.product(fits, repeat=cases)
        if not draw.misfit_of_cases(list(both))
    ]


def test_a_randomisation_distribution_of_eight_sessions_worked_by_hand():
    # B may start at session 4, 5 or 6; mean B - mean A of 1 2 3 | 7 6 8 7 9 are, by hand,
    # start 4: 37/5 - 6/3 = 5.4; start 5: 30/4 - 13/4 = 4.25; start 6: 24/3 - 19/5 = 4.2.
    y = np.array([1.0, 2, 3, 7, 6, 8, 7, 9])
    draw = Randomisation("AB", starts=((4, 6),))
    at_4 = randomisation_test(draw, [y], [np.repeat([0.0, 1.0], [3, 5])])
    at_5 = randomisation_test(draw, [y], [np.repeat([0.0, 1.0], [4, 4])])
    assert at_4.statistic == pytest.approx(5.4) and at_4.p == pytest.approx(1 / 3)
    assert at_5.statistic == pytest.approx(4.25) and at_5.p == pytest.approx(2 / 3)
    assert at_4.smallest_p == pytest.approx(1 / 3) and at_4.exact and at_4.assignments == 3


DRAWS = [
    (Randomisation("AB", starts=((4, 9),)), 12, 1),
    (Randomisation("AB"), 8, 2),
    (Randomisation("ABAB"), 12, 1),
    (Randomisation("ABAB"), 13, 1),
    (Randomisation("alternating"), 10, 1),
    (Randomisation("alternating", alternation="restricted", longest_run=2), 10, 1),
    (Randomisation("alternating", alternation="restricted", longest_run=3), 12, 1),
    (Randomisation("multiple baseline", starts=((4, 5), (6, 7))), 10, 2),
    (Randomisation("multiple baseline", starts=((4, 4), (5, 5), (6, 6))), 8, 3),
]


@pytest.mark.parametrize(("draw", "n", "cases"), DRAWS)
@pytest.mark.parametrize("gap", [False, True])
def test_the_test_counts_every_record_that_the_rules_allow(draw, n, cases, gap):
    rng = np.random.default_rng(n)
    y = [rng.normal(size=n) for _ in range(cases)]
    if gap:
        y[0][4] = np.nan
    drawn = [c.astype(float) for c in draw_conditions(draw, [n] * cases, rng)]
    records = every_record(draw, n, cases)
    held = [~np.isnan(one) for one in y]
    values = np.array([
        np.mean([difference(a[h], c[h]) for a, c, h in zip(y, both, held)]) for both in records
    ])  # fmt: skip
    seen = np.mean([difference(a[h], c[h]) for a, c, h in zip(y, drawn, held)])
    found = randomisation_test(draw, y, drawn)
    assert found.assignments == len(records) == count_assignments(draw, [n] * cases)
    assert found.statistic == pytest.approx(seen)
    assert found.p == pytest.approx((np.abs(values) >= abs(seen) - 1e-9).mean())
    one = randomisation_test(draw, y, drawn, one_sided=True)
    assert one.p == pytest.approx((values >= seen - 1e-9).mean())


@pytest.mark.parametrize(("draw", "n", "cases"), [DRAWS[3], DRAWS[5], DRAWS[7]])
def test_every_assignment_is_drawn_equally_often(draw, n, cases):
    rng = np.random.default_rng(3)
    records = {np.concatenate(both).tobytes(): 0 for both in every_record(draw, n, cases)}
    for _ in range(25 * len(records)):
        drawn = draw_conditions(draw, [n] * cases, rng)
        records[np.concatenate(drawn).astype(float).tobytes()] += 1
    assert stats.chisquare(list(records.values())).pvalue > 1e-3


def test_a_million_assignments_take_less_than_two_seconds():
    rng = np.random.default_rng(4)
    draw = Randomisation("AB", starts=((5, 14),))
    codes = [c.astype(float) for c in draw_conditions(draw, [18] * 6, rng)]
    y = [rng.normal(size=18) for _ in codes]
    begun = time.process_time()
    found = randomisation_test(draw, y, codes)
    assert found.assignments == found.used == 1_000_000 and found.exact
    assert time.process_time() - begun < 2


def test_beyond_a_million_assignments_are_drawn_and_counted():
    rng = np.random.default_rng(5)
    draw = Randomisation("alternating", alternation="restricted", longest_run=2)
    codes = draw_conditions(draw, [40], rng)[0].astype(float)
    y = rng.normal(size=40)
    found = randomisation_test(draw, [y], [codes], simulations=20_000, seed=1)
    again = randomisation_test(draw, [y], [codes], simulations=20_000, seed=1)
    assert not found.exact and found.used == 20_000 and found.assignments > 1_000_000
    assert found == again and found.smallest_p == 1 / 20_001
    # With so many sessions the distribution is close to normal: its spread from the same draws.
    many = np.array([difference(y, c) for c in _drawn(draw, 40, 500)])
    assert found.p == pytest.approx(2 * stats.norm.sf(abs(found.statistic) / many.std()), abs=0.05)


def _drawn(draw, n, times):
    rng = np.random.default_rng(6)
    return [draw_conditions(draw, [n], rng)[0] for _ in range(times)]


def test_nap_is_the_mann_whitney_area():
    rng = np.random.default_rng(7)
    for _ in range(50):
        a, b = rng.integers(0, 9, rng.integers(3, 9)), rng.integers(0, 9, rng.integers(3, 9))
        area = stats.mannwhitneyu(b, a).statistic / (len(a) * len(b))
        found = nonoverlap([(a.astype(float), b.astype(float))])
        assert found.estimate == pytest.approx(area)
        assert 0 <= found.conf_low <= found.estimate <= found.conf_high <= 1


def test_tau_u_worked_by_hand_from_its_definition():
    # A 3 1 4, B 5 2: pairs (A, B) 3-5 + 3-2 - 1-5 + 1-2 + 4-5 + 4-2 - give S_AB = 4 - 2 = 2;
    # inside A 3-1 -, 3-4 +, 1-4 + give S_A = 1; Tau-U = (2 - 1) / 6.
    found = tau_u([(np.array([3.0, 1, 4]), np.array([5.0, 2]))])
    assert found.estimate == pytest.approx(1 / 6)
    # Two pairs of phases: numerators and denominators are summed. A 1 2, B 3: S_AB 2, S_A 1.
    both = tau_u(
        [(np.array([3.0, 1, 4]), np.array([5.0, 2])), (np.array([1.0, 2]), np.array([3.0]))]
    )
    assert both.estimate == pytest.approx((1 + 1) / (6 + 2))


def test_tau_u_is_2_nap_minus_1_where_a_has_no_trend_and_tau_of_scipy_for_all_pairs():
    a, b = np.array([2.0, 3, 2, 3, 2.5, 2.5]), np.array([3.0, 4, 5])
    flat = a[[0, 3, 1, 2, 4, 5]]
    pairs = [(flat, b)]
    s_a = sum(np.sign(flat[j] - flat[i]) for i in range(6) for j in range(i + 1, 6))
    expected = 2 * nonoverlap(pairs).estimate - 1 - s_a / 18
    assert tau_u(pairs).estimate == pytest.approx(expected)


def test_the_interval_of_nap_inverts_its_variance_and_widens_with_dependence():
    a, b = np.arange(6.0), np.array([3.5, 4.5, 6, 7, 8])
    found = nonoverlap([(a, b)])
    for limit in (found.conf_low, found.conf_high):
        shape = (1 - limit) / (2 - limit) + limit / (1 + limit)
        variance = limit * (1 - limit) * (1 + (11 / 2 - 1) * shape) / 30
        assert abs(found.estimate - limit) == pytest.approx(1.959964 * np.sqrt(variance), rel=1e-5)
    wider = nonoverlap([(a, b)], inflation=2)
    assert wider.conf_low < found.conf_low and wider.conf_high > found.conf_high


def test_serial_dependence_is_that_of_neighbours_inside_phases():
    y = np.array([1.0, 3, 2, 10, 12, 14])
    phases = np.array([1, 1, 1, 2, 2, 2])
    rest = np.array([-1.0, 1, 0, -2, 0, 2])
    by_hand = (-1 * 1 + 1 * 0 + -2 * 0 + 0 * 2) / (rest**2).sum()
    found = lag_one(y, phases)
    assert found.lag_one == pytest.approx(by_hand) and found.pairs == 4
    assert found.corrected > found.lag_one
    assert np.isnan(lag_one(np.ones(6), phases).lag_one)


def test_the_variance_of_a_difference_under_dependence_is_that_of_the_full_matrix():
    codes = np.array([0.0, 0, 1, 1, 0, 1])
    w = np.where(codes == 1, 1 / 3, -1 / 3)
    for rho in (0.5, -0.4):
        r = rho ** np.abs(np.subtract.outer(range(6), range(6)).astype(float))
        assert variance_inflation(codes, rho) == pytest.approx(w @ r @ w / (w @ w))
    assert variance_inflation(codes, 0.0) == pytest.approx(1)


REFUSED = {
    "a phase of two sessions": (lambda: Randomisation("AB", minimum=2), "3 sessions at least"),
    "backwards": (lambda: Randomisation("AB", starts=((9, 5),)), "runs from a lower"),
    "outside": (
        lambda: Randomisation("AB", starts=((2, 9),)).check(1, 12),
        "start points leave a phase fewer than 3",
    ),
    "odd": (lambda: Randomisation("alternating").check(1, 9), "even number of sessions"),
    "too short": (lambda: Randomisation("ABAB").check(1, 10), "too few for the 4 phases"),
    "a range short": (
        lambda: Randomisation("multiple baseline", starts=((4, 5),)).check(2, 12),
        "needs 2 ranges",
    ),
    "no design": (lambda: Randomisation("BAB"), "no such single-case design"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_a_draw_that_cannot_be_is_refused(name):
    make, said = REFUSED[name]
    with pytest.raises(InputError, match=said):
        make()


@pytest.mark.slow
def test_the_corrected_lag_one_has_little_bias():
    rng = np.random.default_rng(8)
    phases = np.repeat([1, 2], 10)
    for rho, most in ((0.0, 0.02), (0.3, 0.05)):
        e = rng.normal(size=(4000, 20))
        y = e.copy()
        for t in range(1, 20):
            y[:, t] = rho * y[:, t - 1] + np.sqrt(1 - rho**2) * e[:, t]
        found = [lag_one(row, phases) for row in y]
        assert abs(np.mean([one.corrected for one in found]) - rho) < most
        assert np.mean([one.lag_one for one in found]) < rho - 0.08


def _dependent(rng, n, rho):
    e = rng.normal(size=n)
    for t in range(1, n):
        e[t] = rho * e[t - 1] + np.sqrt(1 - rho**2) * e[t]
    return e


@pytest.mark.parametrize("n", [10, 18])
def test_the_difference_covers_where_neighbours_are_alike(n):
    rng = np.random.default_rng(n)
    codes = np.repeat([0.0, 1.0], n // 2)
    own, plain = [], []
    for _ in range(300):
        scores = _dependent(rng, n, 0.6)
        found = dependent_difference(scores, codes)
        own.append(found.conf_low <= 0 <= found.conf_high)
        plain.append(stats.ttest_ind(scores[codes == 1], scores[codes == 0]).pvalue > 0.05)
    assert np.mean(own) > 0.90
    assert np.mean(plain) < 0.80


def test_one_correlation_held_possible_gives_least_squares_with_satterthwaite(monkeypatch):
    monkeypatch.setattr(dependence, "CORRELATIONS", np.array([0.0]))
    a, b = np.array([4.0, 6, 5, 7]), np.array([5.0, 9, 8, 10, 9])
    found = dependent_difference(np.r_[a, b], np.repeat([0.0, 1.0], [4, 5]))
    expected = stats.ttest_ind(b, a).confidence_interval()
    assert (found.conf_low, found.conf_high) == pytest.approx(tuple(expected))
    assert found.inflation == pytest.approx(1)


def test_correlations_held_possible_inflate_by_their_share_of_the_error_contrasts(monkeypatch):
    monkeypatch.setattr(dependence, "CORRELATIONS", np.array([0.0, 0.4]))
    scores, codes = np.array([4.0, 6, 5, 7, 9, 8, 10, 9, 9]), np.repeat([0.0, 1.0], [4, 5])
    contrasts = linalg.null_space(np.stack([1 - codes, codes]))
    held = contrasts.T @ scores
    spread = contrasts.T @ linalg.toeplitz(0.4 ** np.arange(9)) @ contrasts
    odds = np.linalg.det(spread) ** -0.5
    odds *= (held @ np.linalg.solve(spread, held) / (held @ held)) ** -3.5
    inflation = 1 + odds / (1 + odds) * (variance_inflation(codes, 0.4) - 1)
    assert dependent_difference(scores, codes).inflation == pytest.approx(inflation)


def test_a_difference_moves_with_its_scores_and_stays_where_a_session_is_missing():
    scores = np.array([4.0, 6, 5, 7, 5, 4, 9, 8, 10, 9, 11, 9])
    codes = np.repeat([0.0, 1.0], 6)
    plain = dependent_difference(scores, codes)
    turned = dependent_difference(50 - 3 * scores, codes)
    assert turned.conf_low == pytest.approx(-3 * plain.conf_high)
    assert turned.variance == pytest.approx(9 * plain.variance)
    gap = dependent_difference(np.insert(scores, 6, np.nan), np.insert(codes, 6, 1.0))
    assert gap.estimate == plain.estimate and gap.inflation != plain.inflation
