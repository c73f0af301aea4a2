"""What a learner is told between two tests: every ending, word for word."""

import math

import pandas as pd
import pytest

from motorlearn.wording.learners import change_words

CLEAR = "more than chance alone would give."
ALL = "From 7 of 20, it takes 20 of 20 to be a clear gain."
LIMIT = "From 7 of 20, it takes 14 of 20 or more to be a clear gain."
HIGH = "You began so high that these tests cannot show a gain."
CHANCE = "Chance alone can do that."
LOSS = "Tell your coach if you were tired, in pain, or did something differently."
OPEN = "Whether that is more than chance cannot be computed from these tries."


def told(first, second, verdict, *, hits=True, unit="", n=(20, 20), **more):
    row = {
        "n_first": n[0], "n_second": n[1], "first": first, "second": second,
        "change": second - first, "verdict": verdict, **more,
    }  # fmt: skip
    return change_words(pd.Series(row), "pretest", "week 4", hits=hits, unit=unit)


@pytest.mark.parametrize(
    ("second", "verdict", "up", "says"),
    [
        (7, "within noise", 14, f": the same number. {LIMIT}"),
        (9, "within noise", 14, f": 2 more. {CHANCE} {LIMIT}"),
        (9, "within noise", 20, f": 2 more. {CHANCE} {ALL}"),
        (5, "within noise", math.inf, f": 2 fewer. {CHANCE} {HIGH}"),
        (5, "within noise", 21, f": 2 fewer. {CHANCE} {HIGH}"),
        (15, "better", 14, f": 8 more. That is a clear gain: {CLEAR}"),
        (0, "worse", 14, f": 7 fewer. That is a clear loss: {CLEAR} {LOSS}"),
        (8, "", 14, f": 1 more. {OPEN}"),
    ],
)
def test_hits_of_twenty(second, verdict, up, says):
    text = told(7 / 20, second / 20, verdict, hits_up=up)
    assert text == f"From pretest to week 4 you went from 7 of 20 to {second} of 20{says}"


def test_tests_of_different_length_are_not_subtracted():
    text = told(7 / 20, 7 / 10, "better", n=(20, 10), hits_up=9)
    assert text.startswith("From pretest to week 4 you went from 7 of 20 to 7 of 10. That is")


@pytest.mark.parametrize(("second", "says"), [(6.5, "1.50 s less"), (9.5, "1.50 s more")])
def test_scores_of_trials_have_their_unit(second, says):
    text = told(
        8.0, second, "within noise", hits=False, unit="s", n=(5, 5), conf_low=-2.5, conf_high=3.5
    )
    assert f": {says}. Chance alone can do that. " in text
    assert text.endswith("The true change may be anywhere from −2.50 to 3.50 s.")
