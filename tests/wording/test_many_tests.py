"""Captions of a study with many tests, and a title as long as titles get."""

import io

import docx
import studies

import motorlearn as ml
from motorlearn.design import design_from_mapping
from motorlearn.report.sections.results import compose
from motorlearn.report.view import view_of
from motorlearn.report.writers.word import to_word


def test_a_caption_counts_thirty_tests_instead_of_naming_each(no_pictures):
    weeks = range(1, 13)
    tests = [
        {"phase": "progress", "name": f"week {i}", "session": i, "week": i, "trials": 4}
        for i in weeks
    ]
    content = studies.plan(
        [studies.ERROR],
        tests=[*tests, {"phase": "retention", "session": 13, "trials": 4, "interval_days": 7}],
        practice=None,
        study={"title": "Ring push " * 29},
    )
    parts = [*(("progress", i, 1, 4) for i in weeks), ("retention", 13, 1, 4)]
    study = studies.study(content, studies.trials(8, parts, seed=1), "radial_error")
    document = compose(
        view_of(ml.analyse_study(study), decimal="."), short=True, versions={"motorlearn": "test"}
    )
    caption = next(d.caption for d in document.drawings if "practice-curve" in d.name)
    assert "13 tests, each described in the method" in caption and len(caption) < 600
    assert "blocked 4, random 4" in caption
    pictures = {drawing.name: drawing.png(dpi=40) for drawing in document.drawings}
    word = docx.Document(io.BytesIO(to_word(document, pictures, {})))
    assert len(word.core_properties.title) == 255
    assert word.paragraphs[0].text == study.design.study.title


def test_a_title_may_have_three_hundred_signs():
    content = studies.plan([studies.ERROR], study={"title": "x" * 300})
    assert len(design_from_mapping(content).study.title) == 300
