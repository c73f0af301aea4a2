import numpy as np
import pandas as pd
import pytest

from motorlearn import measures as m
from motorlearn.exceptions import InputError


def test_every_score_has_a_card():
    rng = np.random.default_rng(0)
    table = pd.DataFrame({name: rng.random(9) for name in ("x", "y", "error", "time")})
    scores = m.score_trials(table.assign(hit=1, participant="p1"), "participant")
    counts = {"participant", "n", "n_missing", "n_error", "n_landing", "n_time", "attempts"}
    assert set(scores.columns) - counts <= set(m.CARDS)


def test_cards_are_complete():
    for card in m.CARDS.values():
        assert card.label and card.equation and card.unit and card.divisor and card.source
        assert card.better in ("lower", "higher", "nearer zero", "neither")


def test_unknown_measure_names_the_nearest():
    with pytest.raises(InputError, match="variable_error"):
        m.definition("varable_error")


def test_directions():
    assert m.better_direction("hit") == "higher"
    assert m.better_direction("radial_error") == "lower"
    assert m.better_direction("error") is None
    assert m.better_direction("speed") is None
