"""A curve whose rate is fixed is a straight line in its basis: least squares answers for it."""

from dataclasses import dataclass, field
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats
from statsmodels.stats.sandwich_covariance import S_hac_simple, weights_bartlett

import motorlearn as ml
from motorlearn.curves import curve_quantities
from motorlearn.curves.single import intervals
from motorlearn.curves.single.df import df_along

TRIAL = np.arange(1.0, 41.0)
RATE = 0.12
BASIS = np.exp(-RATE * (TRIAL - 1))
X = sm.add_constant(BASIS)


def noise(carry, seed=4):
    fresh = np.random.default_rng(seed).normal(0, 1.5, TRIAL.size)
    for i in range(1, len(fresh)):
        fresh[i] += carry * fresh[i - 1]
    return fresh


def fitted(y, **options):
    return ml.fit_curve(TRIAL, y, fixed={"rate": RATE}, **options)


def test_both_bands_are_those_of_least_squares():
    y = 20 + 12 * BASIS + noise(0.0)
    places = np.array([1.0, 7.0, 39.0])
    new = sm.add_constant(np.exp(-RATE * (places - 1)))
    expected = sm.OLS(y, X).fit().get_prediction(new).summary_frame(alpha=0.1)
    found = fitted(y).bands(places, level=0.9)
    for ours, theirs in (
        ("estimate", "mean"),
        ("conf_low", "mean_ci_lower"),
        ("conf_high", "mean_ci_upper"),
        ("score_low", "obs_ci_lower"),
        ("score_high", "obs_ci_upper"),
    ):
        assert found[ours].to_numpy() == pytest.approx(expected[theirs].to_numpy(), rel=1e-6)


@pytest.mark.parametrize("carry", [-0.5, 0.7])
def test_the_sandwich_is_a_bartlett_sum_of_prewhitened_scores(carry):
    # Andrews & Monahan (1992); the sum over lags is that of statsmodels. Scores are those of the
    # start and of the way gone from it.
    y = 20 + 12 * BASIS + noise(carry)
    from_start = sm.add_constant(BASIS - 1)
    parts = from_start * sm.OLS(y, from_start).fit().resid[:, None]
    units = parts / np.linalg.norm(parts, axis=0)
    before, after = units[:-1].ravel(), units[1:].ravel()
    share = before @ after / (before @ before)
    assert np.sign(share) == np.sign(carry) and abs(share) < 0.9
    n, spent = parts.shape
    inner = S_hac_simple(parts[1:] - share * parts[:-1], int(np.ceil(n**0.25)), weights_bartlett)
    inner = inner / (1 - share) ** 2 * n / (n - 1) * n / (n - spent)
    bread = np.linalg.inv(from_start.T @ from_start)
    expected = np.sqrt(np.diag(bread @ inner @ bread))
    found = fitted(y, interval="sandwich").estimates.set_index("term")["std_error"]
    assert found[["start", "gain"]].tolist() == pytest.approx(expected.tolist(), rel=1e-6)


def test_scores_whose_logarithms_scatter_have_bands_by_factors():
    # A new score is the curve times a lognormal; the curve's own error counts relative to it.
    curve = 20 + 12 * BASIS
    fit = fitted(curve * np.exp(0.1 * noise(0.0) / 1.5), errors="lognormal")
    row = fit.bands([3.0]).iloc[0]
    t = stats.t.isf(0.025, fit.df)
    own = (row["conf_high"] - row["estimate"]) / t / row["estimate"]
    far = t * np.hypot(fit.sigma, own)
    assert row["score_low"] == pytest.approx(row["estimate"] * np.exp(-far), rel=1e-6)
    assert row["score_high"] == pytest.approx(row["estimate"] * np.exp(far), rel=1e-6)


def test_scores_whose_spread_grows_with_practice_have_a_band_that_grows():
    # Spread sigma * k**power at the k-th trial from the first that was seen.
    y = 20 + 12 * BASIS + noise(0.0) * TRIAL**0.4 / 2
    fit = fitted(y, variance="practice")
    cover = pd.DataFrame(fit.vcov, list(fit.curve), list(fit.curve))
    for place in (1.0, 9.0):
        slope = pd.Series({"asymptote": 1.0, "gain": np.exp(-RATE * (place - 1))})
        own = slope @ cover.loc[slope.index, slope.index] @ slope
        spread = fit.sigma * place ** fit.noise["spread_power"]
        row = fit.bands([place]).iloc[0]
        far = stats.t.isf(0.025, fit.df) * np.sqrt(spread**2 + own)
        assert row["score_high"] - row["estimate"] == pytest.approx(far, rel=1e-6)


def test_a_band_is_shown_where_only_the_asymptote_is_not_seen():
    trial = np.arange(1.0, 31.0)
    slow = 35 - 30 * (1 - np.exp(-0.02 * (trial - 1))) + 0.02 * np.sin(9 * trial)
    fit = ml.fit_curve(trial, slow)
    assert fit.status == "asymptote not seen"
    assert fit.bands([1.0, 30.0]).notna().all().all()


def test_a_half_life_has_the_relative_error_of_its_rate():
    # half-life = ln 2 / rate, so that the logarithm of one errs as that of the other.
    fit = ml.fit_curve(TRIAL, 20 + 12 * BASIS + noise(0.0) / 3)
    rate = fit.estimates.set_index("term").loc["rate"]
    half = stats.t.isf(0.025, fit.df) * rate["std_error"] / rate["estimate"]
    told = curve_quantities(fit).estimates.set_index("quantity").loc["half_life"]
    assert told["estimate"] == pytest.approx(np.log(2) / rate["estimate"], rel=1e-6)
    assert told["conf_low"] == pytest.approx(told["estimate"] * np.exp(-half), rel=1e-4)
    assert told["conf_high"] == pytest.approx(told["estimate"] * np.exp(half), rel=1e-4)


def test_what_needs_the_shape_is_missing_where_the_shape_is_not_known():
    flat = ml.fit_curve(TRIAL, 20 + noise(0.0))
    assert flat.status == "no change"
    told = curve_quantities(flat, level_at=[5], rate_at=[5], criterion=22.0).estimates
    missing = told.set_index("quantity")["estimate"].isna()
    assert missing[["rate_at", "half_life", "trials_to"]].all() and not missing["level_at"]


def test_a_criterion_at_the_beginning_is_reached_there():
    fit = ml.fit_curve(TRIAL, 20 + 12 * BASIS, fixed={"start": 32.0})
    for criterion, reached, reason in (
        (32.0, 1.0, "no standard error"),
        (33.0, np.nan, "the curve does not reach the criterion"),
    ):
        told = curve_quantities(fit, criterion=criterion).estimates.set_index("quantity")
        row = told.loc["trials_to"]
        assert row["estimate"] == pytest.approx(reached, nan_ok=True)
        assert row[["conf_low", "conf_high"]].isna().all() and row["reason"] == reason


def test_degrees_of_freedom_of_estimated_noise_by_hand():
    # Satterthwaite: 2 v^2 over the sum of squared changes of v, at least 2, at most those of rows.
    one = np.eye(1)
    for change, df in ((0.5, 8.0), (1.2, 2.0), (0.2, 30.0), (0.0, 30.0)):
        found = df_along(one, one, np.array([[[change]]]), 30.0)
        assert found == pytest.approx([df])


def test_a_profile_is_open_where_a_straight_line_is_not_rejected():
    y = 30 - 0.2 * TRIAL + noise(0.0) / 2
    fit = ml.fit_curve(TRIAL, y, interval="profile")
    row = fit.estimates.set_index("term").loc["rate"]
    assert fit.status in ("shape not settled", "rate at a bound")
    assert not row["conf_low"] > 0 and not np.isinf(row["conf_low"])


def test_a_profile_has_limits_of_the_terms_of_sessions_too():
    session = np.repeat([1, 2], 20)
    lost = np.where(TRIAL > 20, 3 * np.exp(-0.5 * (TRIAL - 21)), 0)
    y = 20 + 12 * BASIS + lost + noise(0.0) / 5
    both = {
        kind: ml.fit_curve(TRIAL, y, session=session, interval=kind).estimates.set_index("term")
        for kind in ("profile", "wald")
    }
    terms = [name for name in both["wald"].index if "restart" in name or "session" in name]
    limits = both["profile"].loc[terms, ["conf_low", "conf_high"]]
    assert len(terms) and (limits["conf_low"] < limits["conf_high"]).all()
    pd.testing.assert_frame_equal(both["profile"][["estimate"]], both["wald"][["estimate"]])


@dataclass(frozen=True)
class Bowl:
    """A problem whose loss rises as that of a straight line with residual variance 1, or never."""

    fixed: dict = field(default_factory=dict)
    free_rates: tuple[str, ...] = ("rate",)
    binomial: bool = False


@pytest.mark.parametrize("never", [False, True])
def test_profile_limits_where_the_loss_is_a_bowl_and_where_it_never_rises(monkeypatch, never):
    # Two terms at 1 with error .5; noise is known as by 5 degrees of freedom, rows leave 30.
    change = 0.25 * np.sqrt(2 / 5)
    spread = intervals.Spread(
        ("asymptote", "rate"), np.ones(2), 0.25 * np.eye(2), 30.0, change * np.eye(2)[None]
    )
    solution = SimpleNamespace(loss=15.0, theta=[1.0])

    def solve(problem, start):
        name, value = next(iter(problem.fixed.items()))
        way = np.log(value) if name == "rate" else value - 1.0
        return SimpleNamespace(loss=15.0 + (0.0 if never else 0.5 * (way / 0.5) ** 2))

    monkeypatch.setattr(intervals, "solve", solve)
    found = {
        (name, way): intervals._limit(Bowl(), solution, spread, name, way, 0.95)
        for name in spread.terms
        for way in (-1.0, 1.0)
    }
    half = 0.5 * stats.t.isf(0.025, 5)
    expected = [1 - half, 1 + half, np.exp(-half), np.exp(half)]
    expected = [-np.inf, np.inf, 0.0, np.inf] if never else expected
    assert list(found.values()) == pytest.approx(expected, rel=1e-6)
