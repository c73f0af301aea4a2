"""What the plan expects of a single case decides on how many sides its lot is counted."""

import pytest

import motorlearn as ml
from tests.gallery.studies import cases, phases_of, sessions_of, study


@pytest.mark.parametrize(
    ("expected", "effect", "p"),
    [("either", 6, 1 / 8), ("either", -6, 1 / 8), ("better", 6, 1 / 8), ("better", -6, 1)],
)
def test_a_worse_condition_is_no_evidence_where_better_was_expected(expected, effect, p):
    """Eight starts could have been drawn, and the one that was shows the largest change."""
    plan = cases(18, design="AB", starts=[6, 13], expected=expected)
    table = sessions_of(["P01"], [phases_of(8, 10)], effect=effect)
    assert ml.analyse_study(study(plan, table)).primary["p"].item() == pytest.approx(p)
