"""Edges of what an analysis takes: the primary test, single attempts, clips without people."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from motorlearn.analysis.beside import _model_of_hits
from motorlearn.analysis.generalisability import Generalisability
from motorlearn.analysis.landmarks import _clusters
from motorlearn.analysis.questions import Question
from motorlearn.analysis.scores import OutcomeScores


def stage(name, delayed):
    return SimpleNamespace(name=name, phase=name, is_delayed=delayed, test=None)


@pytest.mark.parametrize(
    ("stages", "primary"),
    [
        ([("pretest", False), ("retention", True), ("transfer", False)], "retention"),
        ([("pretest", False), ("retention", True), ("transfer", True)], "transfer"),
        ([("pretest", False), ("acquisition", False), ("posttest", False)], "posttest"),
    ],
)
def test_without_a_primary_comparison_the_last_delayed_test_stands_first(stages, primary):
    tests = tuple(stage(*each) for each in stages)
    question = Question(SimpleNamespace(primary=None), tests, ("blocked", "random"), ())
    assert question.primary_stage.name == primary


def test_of_equally_many_scores_those_that_tell_learners_apart_best_are_named():
    rows = [(1, 2, 3, 0.82), (1, 3, 2, 0.85), (1, 6, 1, 0.81), (1, 4, 2, 0.9), (2, 2, 2, 0.84)]
    decisions = pd.DataFrame(rows, columns=["rater", "trial", "day", "absolute"])
    facets = SimpleNamespace(facets=("rater", "trial", "day"), decisions=decisions)
    best = Generalisability.fewest(facets, 0.8)
    assert best[["rater", "trial", "day", "scores"]].to_numpy().tolist() == [
        [1, 3, 2, 6],
        [2, 2, 2, 8],
    ]


def test_a_single_attempt_counts_and_none_does_not():
    rng = np.random.default_rng(4)
    people = np.repeat(np.arange(12), 2)
    rows = pd.DataFrame({"participant": people, "group": "all", "test": ["early", "late"] * 12})
    rows["attempts"] = np.array([1, 0] + [12] * 22)
    rows["hits"] = rng.binomial(rows["attempts"], 0.5)
    fit = _model_of_hits(rows, "test")
    assert fit.n == 23 and fit.family == "binomial"


def test_people_of_clips_are_taken_only_where_all_are_known():
    rows = pd.DataFrame({"clip": ["c1", "c1", "c2"], "score": [1.0, 2.0, 3.0]})
    assert _clusters(rows) is None
    assert _clusters(rows.assign(participant=["P1", "P1", None])) is None
    known = _clusters(rows.assign(participant=["P1", "P1", "P2"]))
    assert known.to_dict() == {"c1": "P1", "c2": "P2"}


@pytest.mark.parametrize(
    ("columns", "numbered"),
    [
        ({"session": [1, 1], "block": [1, 2]}, ["session", "block"]),
        ({"session": [1, 2], "block": [None, None]}, ["session"]),
        ({"session": [1, 2]}, ["session"]),
        ({"trial": [1, 2]}, []),
    ],
)
def test_blocks_are_numbered_by_the_columns_that_are_there_and_filled(columns, numbered):
    rows = SimpleNamespace(table=pd.DataFrame(columns))
    assert OutcomeScores.blocks.func(rows) == numbered


@pytest.mark.parametrize(("tasks", "parts"), [(["near", "far"], 2), (["near", "near"], 1)])
def test_scores_by_task_stand_beside_the_others_where_there_are_several(tasks, parts):
    asked = []
    scores = SimpleNamespace(
        table=pd.DataFrame({"task": tasks}), kept=(), timed=None, cells=asked.append
    )
    OutcomeScores.task_cells.func(scores)
    assert [by[-1] for by in asked] == ["stage", "task"][:parts]
