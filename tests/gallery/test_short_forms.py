"""What a notebook shows when a cell ends in one of our things: a few lines, not a page."""

import pytest
import studies

import motorlearn as ml
from motorlearn.results import Result


@pytest.fixture(scope="module")
def analysis():
    return ml.analyse_study(studies.plain_times())


def test_every_result_is_short_and_says_how_to_see_more(analysis):
    first = analysis.first
    results = [*analysis.beside.values(), first.comparison, first.practice, first.changes, analysis]
    assert len([r for r in results if isinstance(r, Result)]) >= 8
    for result in results:
        shown = repr(result)
        assert len(shown) < 900 and "\n" not in shown, type(result)
        assert type(result).__name__ in shown and ("print()" in shown or "See" in shown)


def test_what_an_analysis_holds_is_named(analysis):
    assert [table.title for table in analysis.tables()] == [
        "Primary comparison",
        "Outcomes of the study",
    ]
    assert list(analysis.beside)[-2:] == ["mixed model", "assumptions of the mixed model"]


def test_a_comparison_names_its_size_and_its_main_row(analysis):
    shown = repr(analysis.first.comparison)
    assert "n = 2400" in shown and "pretest" in shown and "Further tables: paired" in shown


def test_a_study_its_trials_and_its_plan_are_told_in_a_few_lines(analysis):
    study = analysis.study
    assert repr(study) == (
        "Study 'Ring push': 24 people, 2400 rows; no problems. "
        "See .design, .trials, .participants, .problems."
    )
    assert "24 people" in repr(study.trials)
    for thing in (study, study.trials, study.design):
        page = thing._repr_html_()
        assert "<table" in page and len(page) < 6000
    assert "random against blocked, ratio" in study.design._repr_html_()
