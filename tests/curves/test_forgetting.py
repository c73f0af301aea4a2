"""Forgetting over the retention interval: recovery, choice of form, honesty, refusals."""

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.curves import fit_forgetting
from motorlearn.exceptions import InputError

DAYS = np.repeat([0.0, 1, 2, 4, 7, 14, 28, 56], 6)


def value(found, form, term):
    rows = found.estimates.query("form == @form and term == @term")
    return float(rows["estimate"].iloc[0])


def test_noise_free_losses_are_recovered():
    exponential = fit_forgetting(DAYS, 38 - 16 * np.exp(-0.1 * DAYS), interval="wald")
    for term, truth in (("floor", 38), ("loss", 16), ("rate", 0.1), ("end_of_practice", 22)):
        assert value(exponential, "exponential", term) == pytest.approx(truth, rel=1e-6)
    assert value(exponential, "exponential", "half_life") == pytest.approx(np.log(2) / 0.1)
    power = fit_forgetting(DAYS, 38 - 16 * (1 + DAYS) ** -0.6, interval="wald")
    assert value(power, "power", "rate") == pytest.approx(0.6, rel=1e-6)
    assert value(power, "power", "half_life") == pytest.approx(2 ** (1 / 0.6) - 1, rel=1e-6)


def test_the_form_that_made_the_scores_is_preferred():
    noise = np.random.default_rng(1).normal(0, 0.5, DAYS.size)
    assert fit_forgetting(DAYS, 38 - 16 * np.exp(-0.2 * DAYS) + noise).preferred == "exponential"
    assert fit_forgetting(DAYS, 38 - 16 * (1 + DAYS) ** -0.7 + noise).preferred == "power"


def test_two_delays_need_the_floor():
    day = np.repeat([0.0, 7.0], 12)
    score = np.where(day == 0, 22.0, 27.0) + np.random.default_rng(2).normal(0, 1, 24)
    free = fit_forgetting(day, score)
    assert set(free.comparison["status"]) == {"too few trials"}
    assert free.preferred == "no loss shown"
    held = fit_forgetting(day, score, floor=38.0, forms=("exponential",))
    means = [score[day == d].mean() for d in (0, 7)]
    rate = np.log((38 - means[0]) / (38 - means[1])) / 7
    assert value(held, "exponential", "rate") == pytest.approx(rate, rel=1e-6)


def test_nothing_forgotten_is_said_to_be_so():
    noise = np.random.default_rng(3).normal(0, 1, DAYS.size)
    assert fit_forgetting(DAYS, 22 + noise).preferred == "no loss shown"


def test_hits_are_lost_on_the_logit_scale():
    rng = np.random.default_rng(4)
    logit = -1.0 + 2.0 * np.exp(-0.2 * DAYS)
    hits = rng.binomial(30, 1 / (1 + np.exp(-logit)))
    found = fit_forgetting(DAYS, hits, attempts=30, forms=("exponential",))
    assert found.family == "binomial"
    row = found.estimates.query("term == 'floor'").iloc[0]
    assert row["conf_low"] < -1.0 < row["conf_high"]


def test_intervals_of_the_loss_are_turned_with_its_sign():
    noise = np.random.default_rng(1).normal(0, 0.5, DAYS.size)
    found = fit_forgetting(DAYS, 38 - 16 * np.exp(-0.2 * DAYS) + noise)
    loss = found.estimates.query("term == 'loss'").iloc[0]
    assert loss["conf_low"] < loss["estimate"] < loss["conf_high"]
    assert type(found).from_json(found.to_json()).preferred == found.preferred


@pytest.mark.parametrize(
    ("delay", "options", "words"),
    [
        ([-1, 0, 1], {}, "0 or more"),
        ([7, 7, 7], {}, "two different delays"),
        ([0, 1, 7], {"forms": ("apex",)}, "exponential or power"),
    ],
)
def test_bad_input_is_refused(delay, options, words):
    with pytest.raises(InputError, match=words):
        fit_forgetting(delay, [22.0, 25.0, 27.0], **options)


def test_it_is_on_the_shelf():
    assert ml.fit_forgetting is fit_forgetting


def group_of_people(seed=1, count=16, noise=1.0):
    """People whose rates differ: the mean of their curves is no curve of their form."""
    rng = np.random.default_rng(seed)
    day = np.array([0.0, 1, 2, 4, 7, 14, 28, 56])
    rate = np.exp(rng.normal(np.log(0.15), 1.0, count))
    end = rng.normal(22, 2, count)
    parts = []
    for who in range(count):
        y = 38 - (38 - end[who]) * np.exp(-rate[who] * day) + rng.normal(0, noise, day.size)
        parts.append(pd.DataFrame({"participant": f"p{who}", "day": day, "error": y}))
    return pd.concat(parts, ignore_index=True), rate


def test_people_have_forgetting_of_their_own_and_one_model_of_all():
    table, rate = group_of_people()
    found = ml.fit_forgetting(table, "error", delay="day", vary=("start", "rate"))
    estimates = found.estimates.query("form == 'exponential'").set_index("term")
    row = estimates.loc["log_rate"]
    assert row["conf_low"] < np.log(rate).mean() < row["conf_high"]
    assert estimates.at["floor", "estimate"] == pytest.approx(38, abs=1.0)
    assert estimates.at["end_of_practice", "estimate"] == pytest.approx(22, abs=1.5)
    assert len(found.people) == 2 * 16
    assert found.preferred == "exponential"
    assert type(found).from_json(found.to_json()).preferred == found.preferred


def test_one_curve_through_many_people_is_doubted_and_their_own_form_is_found():
    table, _ = group_of_people(noise=0.2, count=40)
    pooled = ml.fit_forgetting(table["day"], table["error"])
    assert any("people" in said for said in pooled.warnings)
    people = ml.fit_forgetting(table, "error", delay="day", vary=("start", "rate"))
    assert people.preferred == "exponential"


def test_a_given_floor_is_for_single_people():
    table, _ = group_of_people(count=4)
    few = table[table["day"].isin([0.0, 7.0, 14.0])]
    found = ml.fit_forgetting(few, "error", delay="day", floor=38.0, forms=("exponential",))
    assert found.people["floor"].eq(38.0).all()
    assert "floor" in found.comparison["reason"].iloc[0]


@pytest.mark.parametrize(
    "call",
    [
        lambda t: ml.fit_forgetting(t, "error"),
        lambda t: ml.fit_forgetting(t, "error", delay="week"),
        lambda t: ml.fit_forgetting(t, "error", delay="day", forms=3),
        lambda t: ml.fit_forgetting(t, "error", delay="day", level=95),
        lambda t: ml.fit_forgetting(t, "error", delay="day", floor="low"),
        lambda t: ml.fit_forgetting(t["day"], t["error"], delay="day"),
        lambda t: ml.fit_forgetting(t["day"], [1.0, 2.0]),
        lambda t: ml.fit_forgetting(t.assign(day=-1.0), "error", delay="day"),
    ],
)
def test_what_cannot_be_used_of_a_table_is_refused(call):
    with pytest.raises(InputError):
        call(group_of_people(count=3)[0])
