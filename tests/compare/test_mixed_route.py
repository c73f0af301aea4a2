import numpy as np
import pandas as pd
import pytest
from invented_studies import invent_study
from scipy import optimize, stats

import motorlearn as ml
from motorlearn.plan.power.hit_models import fit_hits
from motorlearn.plan.power.score_models import fit_scores
from motorlearn.plan.power.simulated_scores import Batch

TESTS = ("pretest", "retention", "transfer")


def compare(table, outcome="radial_error", **options):
    return ml.compare_phases(
        table,
        outcome,
        **({"group": "group", "baseline": "pretest", "route": "mixed"} | options),
    )


def at(frame, phase, group, effect="difference"):
    chosen = (frame["phase"] == phase) & (frame["group"] == group) & (frame["effect"] == effect)
    return frame[chosen].iloc[0]


@pytest.fixture
def scores():
    study = invent_study((12, 9), seed=5, phases=TESTS)
    keys = ["participant", "group", "phase"]
    return study.groupby(keys, as_index=False)["radial_error"].mean()


def restricted_criterion(phi, y, x, size):
    """-2 log restricted likelihood of complete rows (n, T), written out person by person."""
    lower = np.zeros((size, size))
    lower[np.tril_indices(size)] = phi
    inverse = np.linalg.inv(lower @ lower.T)
    cross = sum(one.T @ inverse @ one for one in x)
    beta = np.linalg.solve(cross, sum(one.T @ inverse @ rest for one, rest in zip(x, y)))
    rest = [rest - one @ beta for one, rest in zip(x, y)]
    value = sum(line @ inverse @ line for line in rest) + np.linalg.slogdet(cross)[1]
    value += 2 * len(y) * np.log(np.abs(np.diag(lower))).sum()
    return value, beta, np.linalg.inv(cross)


def test_linear_contrasts_agree_with_an_independent_fit(scores):
    row = at(compare(scores).mixed, "transfer", "serial")
    wide = scores.pivot(index=["participant", "group"], columns="phase", values="radial_error")
    y = wide[list(TESTS)].to_numpy()
    serial = (wide.index.get_level_values("group") == "serial").astype(float)
    x = [np.array([[1, 0, 0, 0, 0], [0, 1, g, 0, 0], [0, 0, 0, 1, g]]) for g in serial]
    start = np.linalg.cholesky(np.cov(y.T))[np.tril_indices(3)]
    options = {"maxiter": 20000, "maxfev": 20000, "xatol": 1e-9, "fatol": 1e-11}
    found = optimize.minimize(
        lambda phi: restricted_criterion(phi, y, x, 3)[0],
        start,
        method="Nelder-Mead",
        options=options,
    )
    _, beta, covariance = restricted_criterion(found.x, y, x, 3)
    assert (row["group"], row["reference"]) == ("serial", "random")
    assert row["estimate"] == pytest.approx(beta[4], rel=1e-4)
    # Kenward-Roger makes the standard error a little larger than the plain one.
    assert 1 <= row["std_error"] / np.sqrt(covariance[4, 4]) < 1.1
    assert row["df"] == pytest.approx(18, abs=1.5)


def test_without_a_baseline_complete_scores_give_the_plain_difference(scores):
    result = compare(scores, baseline=None)
    row = at(result.mixed, "retention", "serial")
    means = scores[scores["phase"] == "retention"].groupby("group")["radial_error"].mean()
    assert row["estimate"] == pytest.approx(means["serial"] - means["random"], rel=1e-6)
    assert not row["adjusted"]
    assert "pretest" in set(result.mixed["phase"])


def test_adjusted_contrasts_lie_near_those_of_the_analysis_of_covariance():
    study = invent_study((30, 30), seed=8, phases=TESTS)
    result = compare(study)
    for phase in TESTS[1:]:
        mixed = at(result.mixed, phase, "serial")
        ancova = result.contrasts.query("adjusted and phase == @phase").iloc[0]
        assert mixed["estimate"] == pytest.approx(ancova["estimate"], abs=ancova["std_error"] / 3)
        assert mixed["std_error"] == pytest.approx(ancova["std_error"], rel=0.15)


def test_noisier_trials_at_one_test_do_not_spoil_the_contrasts_of_another():
    study = invent_study((20, 20), seed=3, phases=TESTS)
    noisy = study.copy()
    pretest = noisy["phase"] == "pretest"
    noisy.loc[pretest, "radial_error"] += np.random.default_rng(1).normal(0, 40, pretest.sum())
    plain, spoilt = (
        at(compare(table, baseline=None).mixed, "retention", "serial") for table in (study, noisy)
    )
    assert spoilt["std_error"] == pytest.approx(plain["std_error"], rel=0.02)


def test_people_who_miss_a_test_still_speak(scores):
    gone = (scores["participant"] == "P001") & (scores["phase"] == "retention")
    whole, less = compare(scores), compare(scores[~gone])
    assert at(less.mixed, "retention", "serial")["n_group"] == 11
    assert at(less.mixed, "transfer", "serial")["n_group"] == 12
    # The complete cases alone would give another estimate at the test that nobody missed.
    complete = compare(scores[scores["participant"] != "P001"])
    found = [at(r.mixed, "transfer", "serial")["estimate"] for r in (whole, less, complete)]
    assert abs(found[1] - found[0]) < abs(found[2] - found[0])


def test_hits_by_trial_and_by_count_give_the_same(study):
    counts = study.groupby(["participant", "group", "phase"], as_index=False).agg(
        hits=("hit", "sum"), attempts=("hit", "size")
    )
    one, other = compare(study, "hit").mixed, compare(counts, "hits", attempts="attempts").mixed
    pd.testing.assert_frame_equal(one, other)
    assert set(one["effect"]) == {"odds ratio", "difference"}
    assert (one["df"] > 10).all()


def test_odds_ratio_is_recovered():
    rng = np.random.default_rng(31)
    people = pd.DataFrame({"participant": range(160), "group": ["blocked", "random"] * 80})
    level = rng.normal(0, 0.6, 160)
    rows = []
    for phase, effect in {"pretest": 0.0, "retention": 0.8}.items():
        logit = level + effect * (people["group"] == "random")
        hits = rng.binomial(30, 1 / (1 + np.exp(-logit)))
        rows.append(people.assign(phase=phase, hits=hits, attempts=30))
    result = compare(pd.concat(rows), "hits", attempts="attempts")
    row = at(result.mixed, "retention", "random", "odds ratio")
    assert abs(np.log(row["estimate"]) - 0.8) < 2.5 * row["std_error"]
    assert row["conf_low"] < row["estimate"] < row["conf_high"]
    share = at(result.mixed, "retention", "random")
    assert 0.1 < share["estimate"] < 0.2
    assert share["p"] == pytest.approx(row["p"], rel=0.5)


def test_ratio_is_that_of_logarithms(scores):
    row = at(compare(scores, effect="ratio").mixed, "retention", "serial", "ratio")
    logs = scores.assign(radial_error=np.log(scores["radial_error"]))
    other = at(compare(logs).mixed, "retention", "serial")
    assert np.log(row["estimate"]) == pytest.approx(other["estimate"], rel=1e-6)
    assert row["p"] == pytest.approx(other["p"], rel=1e-5)


def test_contrasts_of_the_mixed_model_are_judged_against_the_bound(scores, study):
    judged = compare(scores, equivalence=3.0).equivalence
    row = judged[judged["method"].str.contains("linear mixed model")].iloc[0]
    contrast = at(compare(scores).mixed, row["phase"], row["group"])
    expected = ml.linear.equivalence_test(
        contrast["estimate"], contrast["std_error"], contrast["df"], bound=3.0
    )
    assert (row["p"], row["conf_low"]) == pytest.approx((expected.p, expected.conf_low))
    hits = compare(study, "hit", equivalence=0.2).equivalence
    assert set(hits["effect"]) == {"difference"}
    assert hits["method"].str.contains("average probabilities").any()


def test_turning_the_reference_round_turns_the_sign(scores):
    one = at(compare(scores).mixed, "retention", "serial")
    other = at(compare(scores, reference="serial").mixed, "retention", "random")
    assert other["estimate"] == pytest.approx(-one["estimate"], rel=1e-6)
    assert (other["conf_low"], other["conf_high"]) == pytest.approx(
        (-one["conf_high"], -one["conf_low"]), rel=1e-6
    )


def test_practice_is_no_test(study):
    assert "acquisition" not in set(compare(study).mixed["phase"])


def test_an_empty_cell_is_a_visible_row(scores):
    table = scores[~((scores["group"] == "serial") & (scores["phase"] == "transfer"))]
    row = at(compare(table).mixed, "transfer", "serial")
    assert row["method"].startswith("not computed") and np.isnan(row["p"])


def test_a_test_that_a_whole_group_hits_is_left_to_a_visible_row(study):
    everybody = (study["phase"] == "retention") & (study["group"] == "serial")
    study.loc[everybody, "hit"] = 1
    mixed = compare(study, "hit").mixed
    retention = mixed[mixed["phase"] == "retention"]
    assert retention["method"].str.contains("only hits").all()
    assert mixed[mixed["phase"] == "transfer"]["p"].notna().all()


def test_it_says_when_each_route_answers(scores):
    result = compare(scores)
    assert [limit.kind for limit in result.limits][-1] == "two routes"
    assert "the mixed model answers the first question" in result.statements[-1]
    assert "Groups compared by a mixed model" in str(result)
    assert ml.compare_phases(scores, "radial_error", group="group").mixed.empty
    assert compare(scores, group=None).mixed.empty


@pytest.mark.slow
def test_the_test_of_groups_holds_its_level_with_unequal_spread_of_tests():
    """Twelve people per group, ten trials per test, more scatter at the pretest."""
    found, errors = [], []
    for seed in range(150):
        study = invent_study((12, 12), seed=1000 + seed, phases=TESTS)
        study.loc[study["phase"] == "pretest", "radial_error"] *= 1.6
        result = compare(study)
        row = at(result.mixed, "retention", "serial")
        found.append(row["p"] < 0.05)
        ancova = result.contrasts.query("adjusted and phase == 'retention'").iloc[0]
        errors.append(row["std_error"] / ancova["std_error"])
    assert 0.01 < np.mean(found) < 0.095
    # One variance for all trials would make the standard error a quarter too large here.
    assert 0.95 < np.median(errors) < 1.1


def unequal_study(seed, people, spreads, *, logits=False, missing=0.0):
    """Scores of two groups without an effect at three tests that correlate by .5."""
    rng = np.random.default_rng(seed)
    covariance = 0.5 * (np.ones((3, 3)) + np.eye(3)) * np.outer(spreads, spreads)
    levels = rng.multivariate_normal(np.zeros(3), covariance, 2 * people, method="cholesky")
    table = pd.DataFrame(
        {
            "participant": np.repeat(np.arange(2 * people), 3),
            "group": np.repeat(["random", "serial"], 3 * people),
            "phase": np.tile(TESTS, 2 * people),
            "radial_error": 40 + levels.ravel(),
            "attempts": 20,
        }
    )
    if logits:
        chance = 1 / (1 + np.exp(0.4 - 0.5 * (table["phase"] != "pretest") - levels.ravel()))
        table["hits"] = rng.binomial(20, chance)
    return table[(table["phase"] == "pretest") | (rng.random(len(table)) >= missing)]


def test_a_wide_test_is_judged_by_its_own_spread():
    table = unequal_study(5, 10, (3, 3, 9))
    result = compare(table)
    for phase in TESTS[1:]:
        mixed = at(result.mixed, phase, "serial")
        ancova = result.contrasts.query("adjusted and phase == @phase").iloc[0]
        assert mixed["std_error"] == pytest.approx(ancova["std_error"], rel=0.15)
        assert "Kenward-Roger" in mixed["method"]
    logs = compare(table, effect="ratio")
    mixed = at(logs.mixed, "transfer", "serial", "ratio")
    ancova = logs.contrasts.query("adjusted and phase == 'transfer'").iloc[0]
    assert mixed["std_error"] == pytest.approx(ancova["std_error"], rel=0.15)


def test_with_few_people_each_test_stands_beside_the_baseline_alone():
    table = unequal_study(7, 4, (3, 3, 9))
    result = compare(table)
    pair = compare(table[table["phase"] != "transfer"])
    one, other = (at(r.mixed, "retention", "serial") for r in (result, pair))
    assert one[["estimate", "std_error", "df"]].tolist() == pytest.approx(
        other[["estimate", "std_error", "df"]].tolist()
    )
    assert list(result.mixed["phase"]) == ["retention", "transfer"]


def test_hits_of_few_people_have_wider_intervals_than_the_likelihood_gives():
    table = unequal_study(3, 6, (1, 1, 1), logits=True)
    row = at(compare(table, "hits", attempts="attempts").mixed, "transfer", "serial", "odds ratio")
    cell = np.where(table["phase"] == "pretest", "start", table["phase"] + table["group"])
    fit = ml.fit_mixed(
        "hits ~ cell",
        table.assign(cell=cell),
        random={"participant": "0 + phase"},
        family="binomial",
        attempts="attempts",
    )
    plain = ml.contrasts(fit, "cell", adjust="none").set_index("contrast")
    plain = plain.loc["transferserial - transferrandom"]
    assert np.log(row["estimate"]) == pytest.approx(plain["estimate"], rel=1e-4)
    assert 1 < row["std_error"] / plain["std_error"] < 1.3
    assert 9 < row["df"] < 60 and row["p"] > plain["p"]


def drawn(people, spreads, *, logits=False, missing=0.0, studies=2000):
    """The same studies side by side; tests/plan holds their analysis against the front door."""
    rng = np.random.default_rng((5, people))
    covariance = 0.5 * (np.ones((3, 3)) + np.eye(3)) * np.outer(spreads, spreads)
    levels = rng.multivariate_normal(
        np.zeros(3), covariance, (studies, 2 * people), method="cholesky"
    )
    scores = 40 + levels
    if logits:
        scores = rng.binomial(20, 1 / (1 + np.exp(0.4 - np.array([0, 0.5, 0.5]) - levels))).astype(
            float
        )
    lost = rng.random(scores.shape) < missing
    lost[:, :, 0] = False
    groups, alone = np.repeat([0, 1], people), np.arange(2 * people)
    return Batch(np.where(lost, np.nan, scores), groups, alone, 0, 2, np.full(3, 20))


def rejected(found):
    estimate, error, df = found
    known = np.isfinite(error)
    p = 2 * stats.t.sf(np.abs(estimate / error), df)[known]
    return np.mean(p < 0.05)


@pytest.mark.slow
@pytest.mark.parametrize(("people", "missing"), [(6, 0.0), (10, 0.0), (10, 0.15), (20, 0.15)])
def test_the_linear_route_holds_its_rate_when_tests_scatter_unequally(people, missing):
    found = fit_scores(drawn(people, (3, 3, 9), missing=missing), np.array([-1.0, 1.0]))
    assert 0.035 < rejected(found) < 0.075


@pytest.mark.slow
@pytest.mark.parametrize("spread", [0.4, 1.0])
@pytest.mark.parametrize("people", [6, 10])
def test_hits_hold_their_rate_with_few_people(people, spread):
    batch = drawn(people, (spread,) * 3, logits=True, studies=500)
    assert 0.015 < rejected(fit_hits(batch, np.array([-1.0, 1.0]))) < 0.085


def test_the_method_says_whether_groups_begin_alike(scores):
    adjusted = compare(scores).mixed["method"]
    plain = compare(scores, baseline=None).mixed["method"]
    assert adjusted.str.contains("groups alike at pretest", regex=False).all()
    assert not plain.str.contains("groups alike", regex=False).any()
