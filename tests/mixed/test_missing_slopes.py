"""A term that varies within people and has no slope is named, with the numbers."""

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml


def trials(seed, slope_sd, people=20, each=10):
    """Trials of two tests; people differ by ``slope_sd`` in the step between them."""
    rng = np.random.default_rng(seed)
    level, step = rng.normal(30, 3, people), rng.normal(0, slope_sd, people)
    person = np.repeat(np.arange(people), 2 * each)
    late = np.tile(np.repeat([0, 1], each), people)
    error = level[person] + step[person] * late + rng.normal(0, 4, len(person))
    return pd.DataFrame(
        {
            "participant": person,
            "group": np.where(person % 2, "random", "blocked"),
            "phase": np.where(late, "retention", "pretest"),
            "radial_error": error,
            "hit": rng.random(len(person))
            < 1 / (1 + np.exp(-(level[person] - 30 + step[person] * late) / 4)),
        }
    )


def test_a_missing_slope_is_named_with_the_numbers():
    table = trials(1, slope_sd=4)
    bare = ml.fit_mixed("radial_error ~ group * phase", table, random={"participant": "1"})
    (warning,) = bare.warnings
    assert "random={'participant': '1 + phase'}" in warning
    full = ml.fit_mixed("radial_error ~ group * phase", table, random={"participant": "1 + phase"})
    assert full.warnings == ()
    # The standard error that the warning foretells is near that of the model with the slope.
    foretold = float(warning.split("about ")[1].split(",")[0])
    rows = full.estimates.set_index("term")["std_error"]
    assert foretold == pytest.approx(
        max(rows["phase[T.retention]"], rows["group[T.random]:phase[T.retention]"]), rel=0.35
    )


def test_hits_are_looked_at_too():
    bare = ml.fit_mixed(
        "hit ~ phase", trials(2, slope_sd=6), random={"participant": "1"}, family="binomial"
    )
    assert any("1 + phase" in warning for warning in bare.warnings)


def test_one_score_at_each_test_is_sent_to_a_free_covariance():
    rng = np.random.default_rng(3)
    person, late = np.repeat(np.arange(90), 3), np.tile([False, False, True], 90)
    noise = rng.normal(size=270) * np.where(late, 9, 2)
    table = pd.DataFrame(
        {
            "participant": person,
            "phase": np.tile(["pretest", "retention", "transfer"], 90),
            "radial_error": 30 + 4 * rng.normal(size=90)[person] + noise,
        }
    )
    fit = ml.fit_mixed("radial_error ~ phase", table, random={"participant": "1"})
    assert "correlation='unstructured'" in " ".join(fit.warnings)
    assert "phase: transfer" in " ".join(fit.warnings)


def test_alarms_are_rare_without_and_the_rule_with_a_slope():
    def alarms(slope_sd):
        fits = [
            ml.fit_mixed(
                "radial_error ~ phase", trials(100 + i, slope_sd), random={"participant": "1"}
            )
            for i in range(40)
        ]
        return np.mean([any("standard error" in w for w in fit.warnings) for fit in fits])

    assert alarms(0) <= 0.15
    assert alarms(4) >= 0.9
