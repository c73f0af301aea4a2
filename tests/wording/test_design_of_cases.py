"""How the draw of a single case is told, design by design."""

import pytest

from motorlearn.design.single_case import SingleCasePlan
from motorlearn.wording.single_case import design_paragraph

DRAWN = {
    "pairs": (
        {"design": "alternating", "sessions": 12},
        "Of every two sessions lot decided which was A and which B.",
    ),
    "restricted": (
        {"design": "alternating", "sessions": 12, "alternation": "restricted", "longest_run": 3},
        "The order was drawn by lot from all orders with as many A as B and no more than 3 "
        "sessions of one condition in a row.",
    ),
    "ABAB": (
        {"design": "ABAB", "sessions": 24, "minimum": 4},
        "The three changes were drawn by lot, every phase having 4 sessions or more.",
    ),
    "AB": (
        {"design": "AB", "sessions": 20, "starts": (6, 13)},
        "The session at which B starts was drawn by lot from sessions 6 to 13.",
    ),
    "athletes": (
        {"design": "multiple baseline", "sessions": 20, "starts": (5, (8, 10), (12, 14))},
        "The sessions at which B starts (5, 8 to 10 and 12 to 14) were allotted to the athletes by "
        "lot.",
    ),
    "skills": (
        {"design": "multiple baseline", "sessions": 20, "starts": (5, 9, 13), "across": "task"},
        "The sessions at which B starts (5, 9 and 13) were allotted to the skills by lot.",
    ),
    "nothing": (
        {"design": "AB", "sessions": 20, "starts": (6, 13), "randomised": False},
        "Nothing was drawn by lot, so there is no randomisation test.",
    ),
}


@pytest.mark.parametrize("name", DRAWN)
def test_what_was_drawn_is_told(name):
    plan, says = DRAWN[name]
    text = design_paragraph(SingleCasePlan(**plan, conditions=("own pace", "metronome"), trials=5))
    assert text.startswith("The study was a single-case experiment with ")
    assert f"over {plan['sessions']} sessions of 5 trials. " in text
    assert text.endswith(says)
