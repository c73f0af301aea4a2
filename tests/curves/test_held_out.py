"""Prediction of held-out blocks: against a loop of single fits, and refusals."""

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.curves import score_predictions
from motorlearn.exceptions import InputError

TRIALS = np.arange(1.0, 41.0)


def table(count=4, noise=1.0):
    rng = np.random.default_rng(1)
    y = 20 + 14 * np.exp(-0.12 * (TRIALS - 1)) + rng.normal(0, noise, (count, 40))
    return pd.DataFrame(
        {
            "participant": np.repeat(np.arange(count), 40),
            "trial": np.tile(TRIALS, count),
            "error": y.ravel(),
        }
    )


def test_scores_equal_a_loop_of_single_fits():
    rows = table()
    scores = score_predictions(rows, "error", practice="trial", by="participant", blocks=4)
    found = scores.table.set_index(["participant", "form"])["score"]
    for who, part in rows.groupby("participant"):
        n, y = part["trial"].to_numpy(), part["error"].to_numpy()
        squares = 0.0
        for low in range(10, 40, 10):
            held = np.arange(low, low + 10)
            kept = np.setdiff1d(np.arange(40), held)
            fit = ml.fit_curve(n[kept], y[kept])
            squares += np.sum((y[held] - fit.predict(n[held])) ** 2)
        assert found[(who, "exponential")] == pytest.approx(np.sqrt(squares / 30), rel=1e-5)


def test_the_true_form_predicts_better():
    scores = score_predictions(table(30, 0.5), "error", practice="trial", by="participant")
    assert (scores.best["form"] == "exponential").mean() > 0.9
    assert scores.table["n_predicted"].eq(32).all()


def test_hits_are_scored_by_likelihood():
    rng = np.random.default_rng(2)
    logit = 1 - 2.5 * np.exp(-0.15 * (TRIALS - 1))
    hits = rng.binomial(10, 1 / (1 + np.exp(-logit)), (3, 40))
    rows = table(3).assign(hits=hits.ravel(), throws=10)
    scores = score_predictions(rows, "hits", practice="trial", by="participant", attempts="throws")
    assert scores.family == "binomial"
    assert scores.table["score"].between(0.3, 0.7).all()


def test_one_block_is_refused():
    with pytest.raises(InputError, match="two blocks"):
        score_predictions(table(), "error", practice="trial", by="participant", blocks=1)
