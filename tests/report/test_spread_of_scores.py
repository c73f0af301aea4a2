"""The cloud of scores stands in reports of large groups, and in no other."""

import pytest
from studies import PARTS, plan, study, trials

import motorlearn as ml
from motorlearn.figures import text_overlaps, texts_cut
from motorlearn.report.sections import spread_of_scores
from motorlearn.report.sections.results import _tests_of
from motorlearn.report.sections.spread_of_scores import MANY, cloud_figure
from motorlearn.report.view import view_of

ENDS = [(phase, session, block, 4) for phase, session, block, _ in (PARTS[0], PARTS[-1])]


def view(people):
    outcome = {"name": "radial_error", "unit": "cm", "better": "lower"}
    content = plan(outcome, units={"length": "cm"}, practice=None)
    table = trials(people, ENDS, seed=5)
    return view_of(ml.analyse_study(study(content, table, "radial_error")), decimal=".")


@pytest.fixture(scope="module")
def many():
    return view(2 * MANY)


def test_large_groups_have_a_cloud_with_words_of_their_own(many):
    names = [getattr(block, "name", "") for block in _tests_of(many, many.outcomes[0])]
    assert names.count("raincloud-radial-error") == 1
    stage = many.analysis.question.primary_stage.name
    figure = cloud_figure(many, many.outcomes[0], stage)
    scores = many.outcomes[0].comparison.scores
    own = scores[(scores["phase"] == stage) & (scores["group"] == "random")]["score"]
    assert f"random, n = {MANY}, median {own.median():.1f}" in figure.alt
    assert "radial error of every participant" in figure.caption.lower()
    drawn = figure.figure if hasattr(figure, "figure") else None
    if drawn is not None:
        assert text_overlaps(drawn) == [] and texts_cut(drawn) == []


def test_small_groups_have_none(many, monkeypatch):
    monkeypatch.setattr(spread_of_scores, "MANY", MANY + 1)
    names = [getattr(block, "name", "") for block in _tests_of(many, many.outcomes[0])]
    assert "raincloud-radial-error" not in names and len(names) > 3
