"""What a report says of technique and speed: a sentence for each group, one figure, no p within."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from motorlearn.analysis import speed_beside, technique_change
from motorlearn.analysis.speed import COST
from motorlearn.analysis.technique import primary_scores
from motorlearn.design import design_from_mapping, stages_of
from motorlearn.exceptions import InputError
from motorlearn.figures import Drawing, speed_and_outcome
from motorlearn.report.figure_cache import Kept
from motorlearn.report.sections.technique import technique_sections
from motorlearn.report.writers.contents import Document, Text
from motorlearn.results import Refused
from motorlearn.tables import Table
from motorlearn.trials import Study, Trials
from motorlearn.wording import Voice

PLAN = design_from_mapping(
    {
        "study": {"title": "Ring push"},
        "groups": [{"name": "b"}, {"name": "a"}],
        "practice": [{"session": 1, "day": 0, "trials_per_block": 10}],
        "tests": [
            {"phase": "pretest", "trials": 20},
            {"phase": "retention", "trials": 20, "interval_days": 7},
        ],
        "outcomes": [{"name": "hits", "better": "higher"}],
        "units": {"speed": "m/s"},
    }
)


@pytest.fixture(scope="module")
def study():
    rng = np.random.default_rng(3)
    trials, ratings = [], []
    for person in range(16):
        who = {"participant": f"P{person:02d}"}
        for late, phase in enumerate(("pretest", "retention")):
            score = {"hits": int(6 + 5 * late + rng.integers(-1, 2)), "attempts": 20}
            speed = {"speed": 8 - 1.5 * late + rng.normal(0, 0.2)}
            group = {"group": "ab"[person % 2]}
            trials.append(who | {"phase": phase} | group | score | speed)
            rated = {"phase": phase, "rater": "A", "item": "knees", "score": late + rng.random()}
            ratings.append(who | rated)
    return Study(PLAN, Trials(pd.DataFrame(trials)), None, pd.DataFrame(ratings))


@pytest.fixture(scope="module")
def found(study):
    scores = primary_scores(study)
    beside = {"technique": technique_change(study), "speed": speed_beside(scores, PLAN)}
    voice = Voice(PLAN, scores.outcome, 1, ",")
    return SimpleNamespace(
        analysis=SimpleNamespace(beside=beside),
        decimal=",",
        groups=["b", "a"],
        stages=stages_of(PLAN),
        kept=Kept(),
        outcomes=[SimpleNamespace(voice=voice, outcome=scores.outcome)],
    )


def test_each_group_has_its_sentence_in_the_order_of_the_plan(found):
    blocks = list(technique_sections(found))
    said = [block.text for block in blocks if isinstance(block, Text)]
    bought = [text for text in said if "slower trials may be part of the gain" in text]
    assert [text.split(", ")[1].split(" hits")[0] for text in bought] == ["in b", "in a"]
    assert all("hits of 20 rose by" in text and "while speed fell by 1," in text for text in bought)
    assert set(found.analysis.beside["speed"].verdicts.values()) == {COST}
    assert sum("mean rating of technique (in " in text for text in said) == 2


def test_no_p_value_stands_beside_the_correlation_within_people(found):
    said = [block.text for block in technique_sections(found) if isinstance(block, Text)]
    together = [text for text in said if text.startswith("Exploratory")]
    assert len(together) == 2  # technique and hits, speed and hits
    for text in together:
        before, after = text.split("apart from the course")
        assert "p =" not in before and "p " in after


def test_the_section_stands_in_a_document_with_its_figure_and_tables(found):
    blocks = tuple(technique_sections(found))
    document = Document("x", "y", blocks, ",")
    names = [b.name for b in blocks if isinstance(b, Drawing | Table)]
    assert names == ["technique-items", "technique-together", "speed-beside"]
    for block in blocks:
        if isinstance(block, Text):
            assert "{" not in document.resolved(block.text, lambda kind, name, label: label)
    (drawing,) = document.drawings
    assert "gain with slower trials" in drawing.caption and drawing.png()


def test_what_was_refused_says_why(found):
    beside = {"technique": Refused("technique was not rated at two tests")}
    other = SimpleNamespace(**{**vars(found), "analysis": SimpleNamespace(beside=beside)})
    _, said = technique_sections(other)
    assert said.text == "Not computed: technique was not rated at two tests."


def test_a_figure_of_speed_needs_two_tests(found):
    people = found.analysis.beside["speed"].people
    outcome = found.outcomes[0].outcome
    with pytest.raises(InputError, match="two of the tests"):
        speed_and_outcome(people, outcome=outcome, groups=["b", "a"], tests={"pretest": "Pretest"})
    with pytest.raises(InputError):
        speed_and_outcome(people.drop(columns="speed"), outcome=outcome, groups=["a"], tests={})
