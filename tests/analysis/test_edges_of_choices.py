"""Other choices of an analysis, by hand: people far from their group, other cut-offs of times."""

from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
import pytest

from motorlearn.analysis import judged
from motorlearn.analysis.choices import _within_spread
from motorlearn.analysis.judged import other_rules
from motorlearn.design.times import TimeRules
from motorlearn.exceptions import InputError


@dataclass(frozen=True)
class Scores:
    scores: np.ndarray
    trials: np.ndarray
    codes: np.ndarray
    groups: tuple[str, ...]


def scores(*groups):
    values = np.concatenate(groups)[:, None]
    codes = np.repeat(np.arange(len(groups)), [len(group) for group in groups])
    return Scores(values, np.full(values.shape, 4), codes, tuple("ab"[: len(groups)]))


def test_people_beyond_so_many_sample_deviations_of_their_own_group_go_with_their_trials():
    # Mean 4, sample SD sqrt(80 / 4) = 4.472 (of the population 4): 12 lies 1.789 SDs away.
    far, other = [2.0, 2.0, 2.0, 2.0, 12.0], [12.0, 13.0, 14.0]
    found = _within_spread(scores(far, other), 1.75)
    assert np.isnan(found.scores[:, 0]).tolist() == [False] * 4 + [True] + [False] * 3
    assert found.trials[:, 0].tolist() == [4, 4, 4, 4, 0, 4, 4, 4]
    with pytest.raises(InputError, match=r"nobody lies beyond 1\.85 SD"):
        _within_spread(scores(far, other), 1.85)


def test_two_scores_have_no_spread_to_lie_beyond():
    with pytest.raises(InputError, match=r"nobody lies beyond 0\.5 SD"):
        _within_spread(scores([1.0, 9.0]), 0.5)


def test_other_cut_offs_are_tried_as_they_are_named():
    rules = TimeRules(errors="left out", fastest=0.3, reason="r", other_cut_offs=[[0.2, 4], [0, 3]])
    assert other_rules(rules) == {
        "without cut-offs of times": {"fastest": None, "slowest": None},
        "with cut-offs of 0.2 and 4": {"fastest": 0.2, "slowest": 4.0},
        "with cut-offs of 0 and 3": {"fastest": None, "slowest": 3.0},
        "with times of wrong trials": {"errors": "kept"},
        "with medians of times": {"summary": "median"},
    }


@pytest.mark.parametrize(("within", "tried"), [(None, "variants, undone"), ("periods", "variants")])
def test_replacements_are_undone_where_groups_are_compared(monkeypatch, within, tried):
    monkeypatch.setattr(judged, "check_assumptions", lambda *_, **__: "audit")
    monkeypatch.setattr(judged, "sensitivity", lambda *_, **__: "variants")
    monkeypatch.setattr(judged, "with_the_study_again", lambda found, *_: f"{found}, undone")
    found = judged.judged(
        SimpleNamespace(contrasts=[1]),
        SimpleNamespace(refused=""),
        SimpleNamespace(design=SimpleNamespace(within=within)),
        SimpleNamespace(primary_stage=SimpleNamespace(name="retention")),
        0,
    )
    assert found == {"audit": "audit", "sensitivity": tried}


def test_assumptions_of_one_group_are_checked_though_there_is_no_comparison(monkeypatch):
    monkeypatch.setattr(judged, "check_assumptions", lambda *_, **__: "audit")
    found = judged.judged(
        SimpleNamespace(contrasts=[]),
        SimpleNamespace(refused="one group has nothing to be compared with"),
        SimpleNamespace(design=SimpleNamespace(within=None)),
        SimpleNamespace(primary_stage=SimpleNamespace(name="retention")),
        0,
    )
    assert found == {"audit": "audit", "sensitivity": None}
