"""Who is there at each part: practice without sessions, practice without rows, counted hits."""

import pandas as pd

from motorlearn.analysis.people import presence
from motorlearn.analysis.scores import scores_of
from motorlearn.design import design_from_mapping

PLAN = {
    "study": {"title": "Ring push"},
    "groups": [{"name": "programme", "schedule": "constant"}],
    "practice": [{"session": 1, "day": 0, "blocks": 1, "trials_per_block": 4}],
    "tests": [
        {"phase": "pretest", "trials": 2},
        {"phase": "retention", "trials": 2, "interval_days": 7},
    ],
    "outcomes": [{"name": "hit", "better": "higher", "low": 0, "high": 1}],
}
DESIGN = design_from_mapping(PLAN)


def parts(phases):
    rows = [(person, phase, phase, 1.0) for person in ("P01", "P02") for phase in phases]
    table = pd.DataFrame(rows, columns=["participant", "phase", "stage", "hit"])
    people = pd.DataFrame({"participant": ["P01", "P02"], "group": "programme"})
    found = presence(table, people, DESIGN)
    return (
        found.groupby("stage", sort=False)["trials"].apply(lambda n: int((n > 0).sum())).to_dict()
    )


def test_practice_without_a_session_column_stands_once_with_everybody():
    assert parts(["pretest", "acquisition", "retention"]) == {
        "Pretest": 2,
        "Practice": 2,
        "Delayed retention": 2,
    }


def test_nobody_is_absent_from_practice_that_was_not_recorded():
    assert "practice" not in " ".join(parts(["pretest", "retention"])).lower()


def test_a_hit_of_counted_rows_is_the_share_of_hits():
    table = pd.DataFrame({"participant": ["P01", "P02"], "hits": [5, 9], "attempts": [20, 18]})
    data = scores_of(table, DESIGN.outcomes[0], DESIGN)
    assert data.cells(["participant"])["score"].tolist() == [0.25, 0.5]
    assert data.outcome.label == "hit rate"
