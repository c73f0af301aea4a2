"""Sessions and noise in single and batch fits: recovery, equivalence, hand answers, refusals."""

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import least_squares

import motorlearn as ml
from motorlearn.curves import curve_quantities
from motorlearn.curves.single import solving
from motorlearn.exceptions import ColumnError, InputError

TRIALS = np.arange(1.0, 76.0)
DAY = np.repeat(["mon", "tue", "wed"], 25)


def practised(savings=0.75, warm_up=0.0, noise=0.0, seed=1):
    """Three days of 25 trials: rate .1, from 35 to 20, and what is lost between them."""
    way, now = [], 1.0
    for k in range(75):
        now *= np.exp(-0.1) if k else 1.0
        now = savings * now + 1 - savings if k in (25, 50) else now
        way.append(now)
    y = (
        20
        + 15 * np.array(way)
        + np.where(DAY != "mon", warm_up * np.exp(-0.6 * (np.arange(75) % 25)), 0)
    )
    return y + noise * np.random.default_rng(seed).normal(size=75)


def test_savings_are_the_share_of_the_way_that_a_session_still_has():
    fit = ml.fit_curve(TRIALS, practised(), session=DAY, restart="savings")
    assert [fit.value(f"savings[{day}]") for day in ("tue", "wed")] == pytest.approx([0.75, 0.75])
    assert fit.value("rate") == pytest.approx(0.1, rel=1e-6)
    # The first loss by hand: a quarter of what was gained until trial 26.
    assert fit.value("loss[tue]") == pytest.approx(0.25 * 15 * (1 - np.exp(-2.5)), rel=1e-6)
    assert fit.predict(TRIALS) == pytest.approx(fit.fitted, abs=1e-9)


@pytest.mark.parametrize("form", ["exponential", "power"])
def test_both_terms_agree_with_general_least_squares(form):
    y = practised(warm_up=4.0, noise=0.8)
    fit = ml.fit_curve(TRIALS, y, session=DAY, restart="both", form=form)
    begin, elapsed = np.array([1.0, 26.0, 51.0]), np.arange(75) % 25

    def f(n, rate):
        return np.exp(-rate * (n - 1)) if form == "exponential" else n ** (-rate)

    def left(p):
        a, g, rate, k = p[0], p[1], np.exp(p[2]), np.exp(p[3])
        height = a + g * f(TRIALS, rate)
        for s in (1, 2):
            height = height + p[3 + s] * np.exp(-k * elapsed) * (elapsed + begin[s] == TRIALS)
            height = height + p[5 + s] * np.where(
                begin[s] <= TRIALS, f(TRIALS, rate) / f(begin[s], rate), 0
            )
        return height - y

    rate = fit.curve["rate"], fit.curve["restart_rate"]
    start = [fit.curve["asymptote"], fit.curve["gain"], *np.log(rate), 3, 3, 3, 3]
    best = least_squares(left, start, xtol=1e-14, ftol=1e-14, gtol=1e-14)
    assert fit.sse == pytest.approx(2 * best.cost, rel=1e-6)


@pytest.mark.slow
def test_intervals_of_savings_hold_the_truth_about_as_often_as_they_say():
    inside = 0
    for seed in range(60):
        fit = ml.fit_curve(TRIALS, practised(noise=1.0, seed=seed), session=DAY, restart="savings")
        low, high = fit.estimates.set_index("term").loc["savings[tue]", ["conf_low", "conf_high"]]
        inside += low < 0.75 < high
    assert 52 <= inside <= 60


def test_savings_are_missing_where_nothing_was_gained_and_a_sentence_says_so():
    flat = 30 + 2 * np.random.default_rng(2).normal(size=75)
    fit = ml.fit_curve(TRIALS, flat, session=DAY, restart="savings")
    assert fit.status == "no change"
    saved = fit.estimates[fit.estimates["term"].str.startswith("savings")]
    assert len(saved) == 2 and saved.drop(columns="term").isna().to_numpy().all()
    assert "too little was gained before to take a share" in fit.meaning
    told = curve_quantities(fit).estimates.set_index("quantity")
    assert told.loc["savings", "estimate"].isna().all()
    assert set(told.loc["savings", "reason"]) == {"no change"}


def cancelling():
    """A curve whose terms of the last session cancel by a power form: 261 and -286."""
    trial, day = np.arange(1.0, 41.0), np.repeat([1, 2, 3, 4], 10)
    noise = np.random.default_rng(3).normal(0, 1, 40)
    y = 20 + 15 * np.exp(-0.1 * (trial - 1)) + 2 * noise
    return pd.DataFrame({"participant": "p", "trial": trial, "day": day, "y": y})


def test_terms_of_a_session_that_cancel_are_missing_alone_and_in_a_batch():
    rows = cancelling()
    asked = {"session": rows["day"], "restart": "both", "form": "power"}
    fit = ml.fit_curve(rows["trial"], rows["y"], **asked)
    for name in ("restart[4]", "loss[4]", "savings[4]"):
        assert np.isnan(fit.value(name)) and abs(fit.curve[name]) > 50
    assert abs(fit.value("restart[2]")) < 50
    assert "restart[4], loss[4]; they cancel" in fit.meaning
    assert curve_quantities(fit).estimates["reason"].iloc[-1] == "too little was gained before"
    many = ml.fit_curves(
        rows, "y", practice="trial", by="participant", session="day", restart="both",
        forms=["power"],
    )  # fmt: skip
    assert many.table[["restart", "loss", "savings"]].isna().to_numpy().all()


@pytest.mark.parametrize("form", ["s_shaped", pytest.param("apex", marks=pytest.mark.slow)])
def test_a_search_among_terms_that_cancel_ends_soon_and_says_what_is_missing(form, monkeypatch):
    steps, step = [], solving._step
    monkeypatch.setattr(solving, "_step", lambda *asked: steps.append(1) or step(*asked))
    trial, day = np.arange(1.0, 41.0), np.repeat([1, 2, 3, 4], 10)
    y = 30 + 0.3 * np.exp(-0.1 * (trial - 1)) + np.random.default_rng(0).normal(size=40)
    fit = ml.fit_curve(trial, y, form=form, session=day, restart="both", correlation="ar1")
    assert len(steps) < 4500  # 27,300 and more where searches creep on
    assert not fit.recipe.converged and fit.warnings
    rows = fit.estimates.set_index("term")
    cancel = [name for name in rows.index if name.startswith(("restart", "loss", "savings"))]
    assert len(cancel) == 10 and rows.loc[cancel].isna().to_numpy().all()
    curve = ["gain", *fit.estimates["term"][2:4], "half_life"]
    assert rows.loc[curve, ["std_error", "conf_low", "conf_high"]].isna().to_numpy().all()
    assert "they cancel" in fit.meaning
    assert fit.status in ("no change", "rate at a bound")
    assert (fit.status == "no change") != ("found no end along terms of sessions" in fit.meaning)


def test_terms_whose_errors_exceed_what_was_seen_are_missing():
    trial, day = np.arange(1.0, 41.0), np.repeat([1, 2, 3, 4], 10)
    y = 30 + 0.3 * np.exp(-0.1 * (trial - 1)) + np.random.default_rng(0).normal(size=40)
    fit = ml.fit_curve(trial, y, session=day, restart="both", correlation="ar1")
    seen = np.ptp(fit.fitted)
    told = fit.estimates[fit.estimates["term"].str.startswith(("restart[", "loss["))]
    assert 10 * seen > abs(fit.curve["restart[4]"]) > 5 * seen
    assert told["std_error"].isna().all() and told["estimate"].isna().all()


def test_a_restart_rate_at_its_bound_is_missing_with_its_reason_alone_and_in_a_batch():
    rows = cancelling().assign(y=lambda r: np.where(r["trial"] <= 20, 40, 30))
    rows["y"] += np.random.default_rng(0).normal(0, 1, 40)
    fit = ml.fit_curve(rows["trial"], rows["y"], session=rows["day"])
    assert fit.recipe.at_bound.count("restart_rate") == 1 and np.isnan(fit.value("restart_rate"))
    assert "the restart rate; what a restart costs is over within a trial" in fit.meaning
    many = ml.fit_curves(
        rows, "y", practice="trial", by="participant", session="day", forms=["exponential"]
    )
    assert many.table["restart_rate"].isna().all()


def people(count=4, **options):
    parts = [
        pd.DataFrame(
            {"participant": f"p{k}", "trial": TRIALS, "day": DAY, "y": practised(seed=k, **options)}
        )
        for k in range(count)
    ]
    return pd.concat(parts, ignore_index=True)


@pytest.mark.parametrize(
    "options",
    [
        {"session": "day", "restart": "savings"},
        {"session": "day", "restart": "both"},
        {"correlation": "ar1"},
        {"variance": "practice", "correlation": "ar1"},
        {"errors": "lognormal"},
        {"errors": "t"},
        {"interval": "sandwich"},
    ],
)
def test_many_learners_get_the_numbers_of_single_fits(options):
    table = people(2, warm_up=3.0, noise=1.0)
    fits = ml.fit_curves(
        table, "y", practice="trial", by="participant", forms=["exponential"], **options
    )
    for row in fits.table.itertuples():
        part = table[table["participant"] == row.participant]
        single = dict(options)
        if "session" in single:
            single["session"] = part["day"]
        one = ml.fit_curve(part["trial"], part["y"], **single)
        frame = one.estimates.set_index("term")
        assert row.status == one.status
        for term in ("asymptote", "gain", "rate"):
            assert getattr(row, term) == pytest.approx(frame.at[term, "estimate"], rel=1e-6)
            assert getattr(row, f"se_{term}") == pytest.approx(
                frame.at[term, "std_error"], rel=1e-5
            )
        assert row.aicc == pytest.approx(one.aicc, abs=1e-6)
        if options.get("restart") == "savings":
            both = [one.value(f"savings[{day}]") for day in ("tue", "wed")]
            assert row.savings == pytest.approx(np.mean(both))
            assert np.isfinite(row.se_savings)
        for name, value in one.noise.items():
            assert getattr(row, name) == pytest.approx(value, rel=1e-4)


def test_a_learner_of_one_session_has_a_curve_without_session_terms():
    table = people(2, noise=1.0)
    table = table[(table["participant"] == "p0") | (table["day"] == "mon")]
    fits = ml.fit_curves(
        table, "y", practice="trial", by="participant", session="day", restart="savings"
    )
    rows = fits.table.set_index(["participant", "form"])
    assert np.isfinite(rows.at[("p0", "exponential"), "savings"])
    assert np.isnan(rows.at[("p1", "exponential"), "savings"])


@pytest.mark.parametrize(
    ("options", "error", "said"),
    [
        ({"session": "week"}, ColumnError, "week"),
        ({"session": 3}, InputError, "name of a column"),
        ({"restart": "cold"}, InputError, "restart"),
        ({"interval": "profile"}, InputError, "interval"),
        ({"errors": "cauchy"}, InputError, "law of the errors"),
        ({"errors": "t", "correlation": "ar1"}, InputError, "without correlation"),
    ],
)
def test_refusals(options, error, said):
    with pytest.raises(error, match=said):
        ml.fit_curves(people(1), "y", practice="trial", by="participant", **options)


@pytest.mark.slow
def test_bands_hold_the_curve_and_new_scores_about_as_often_as_they_say():
    rng, n = np.random.default_rng(8), np.arange(1.0, 61.0)
    truth = 20 + 15 * np.exp(-0.1 * (n - 1))
    curve, scores = [], []
    for _ in range(150):
        fit = ml.fit_curve(n, truth + 2 * rng.normal(size=60))
        found = fit.bands([1.0, 20.0, 60.0])
        at = truth[[0, 19, 59]]
        new = at + 2 * rng.normal(size=3)
        curve.append((found["conf_low"] < at) & (at < found["conf_high"]))
        scores.append((found["score_low"] < new) & (new < found["score_high"]))
    assert np.mean(curve) == pytest.approx(0.95, abs=0.035)
    assert np.mean(scores) == pytest.approx(0.95, abs=0.035)


def test_bands_follow_the_spread_and_are_missing_where_errors_mean_nothing():
    rng, n = np.random.default_rng(8), np.arange(1.0, 61.0)
    y = 20 + 15 * np.exp(-0.1 * (n - 1)) + 6 * n**-0.5 * rng.normal(size=60)
    wide = ml.fit_curve(n, y, variance="practice").bands([1.0, 60.0])
    width = wide["score_high"] - wide["score_low"]
    assert width[0] > 3 * width[1]
    line = ml.fit_curve(n, 30 - 0.1 * n + rng.normal(size=60))
    assert line.status != "ok" and line.bands([10.0])["conf_low"].isna().all()
    hits = ml.fit_curve(n, rng.binomial(20, 0.3 + 0.4 * (1 - np.exp(-0.1 * n))), attempts=20)
    shown = hits.bands([1.0, 60.0])
    assert np.all((shown["conf_low"] > 0) & (shown["conf_high"] < 1))
    with pytest.raises(InputError):
        hits.bands([1.0], level=95)
