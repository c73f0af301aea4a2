"""What the plan expects of a single case decides on how many sides its lot is counted."""

from types import SimpleNamespace

import pytest

import motorlearn as ml
from motorlearn.analysis.outcome import compared
from motorlearn.results import Refused
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


def test_people_of_a_single_case_are_not_compared_as_groups():
    question = SimpleNamespace(design=SimpleNamespace(single_case=object()))
    found = compared(None, None, question)
    assert isinstance(found, Refused)
    assert "a single case is compared session by session, not person by person" in found.reason
    assert found.reason.rstrip(".").endswith("see its own part of the analysis, single_cases")
