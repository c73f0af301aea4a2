"""Questionnaires: scores by hand, alpha and omega against R and pingouin, refusals, the plan."""

import json
import sys
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pingouin
import pytest

import motorlearn as ml
from motorlearn.analysis.questionnaires import questionnaires_of
from motorlearn.design import design_from_mapping
from motorlearn.exceptions import ColumnError, DesignError, InputError
from motorlearn.measures import score_questionnaire
from motorlearn.measures.questionnaires.reliability import (
    cronbach_alpha,
    omega_total,
    one_factor,
)
from motorlearn.report.sections.questionnaires import _sentence
from motorlearn.results import Refused

sys.path.insert(0, str(Path(__file__).parents[1] / "gallery"))
import studies

REFERENCE = Path(__file__).parents[1] / "reference" / "questionnaire"
SCALES = {"interest": ["fun", "again", "dull"], "effort": ["hard", "tried"]}
WIDE = pd.DataFrame(
    {
        "participant": ["P1", "P2", "P3"],
        "fun": [6, 5, 3], "again": [7, np.nan, 4], "dull": [1, 3, np.nan],
        "hard": [2, 4, 6], "tried": [3, 5, 6],
    }
)  # fmt: skip


def scored(table=WIDE, **options):
    given = {"item": None, "scales": SCALES, "answers": (1, 7), "reversed": ["dull"]} | options
    return score_questionnaire(table, **given)


def test_scores_by_hand_with_reversed_items_and_missing_answers():
    strict = scored().scores.set_index(["scale", "participant"])["score"]
    # P1: (6 + 7 + (8 - 1)) / 3; P2 and P3 lack an item of interest.
    assert strict["interest", "P1"] == pytest.approx(20 / 3)
    assert strict["interest"].isna().tolist() == [False, True, True]
    assert strict["effort"].tolist() == [2.5, 4.5, 6.0]
    lenient = scored(minimum_answered={"interest": 2}).scores
    lenient = lenient.set_index(["scale", "participant"])["score"]
    assert lenient["interest"].tolist() == pytest.approx([20 / 3, (5 + 5) / 2, 3.5])
    assert scored().means.set_index("scale")["too_few"].to_dict() == {"interest": 2, "effort": 0}


def test_a_long_table_gives_the_same_as_a_wide_one():
    long = WIDE.melt("participant", var_name="item", value_name="response").sample(
        frac=1, random_state=1
    )
    found = scored(long, item="item").scores.sort_values(["scale", "participant"])
    wide = scored().scores.sort_values(["scale", "participant"])
    pd.testing.assert_frame_equal(
        found.reset_index(drop=True), wide.reset_index(drop=True), check_dtype=False
    )


def test_alpha_and_omega_are_those_of_r():
    x = np.loadtxt(REFERENCE / "answers.csv", delimiter=",")
    values = json.loads((REFERENCE / "values.json").read_text())
    covariance = np.cov(x.T)
    loadings, unique = one_factor(covariance)
    sd = np.sqrt(np.diag(covariance))
    np.testing.assert_allclose(loadings / sd, values["loadings"], atol=2e-7)
    assert omega_total(x, simulations=20).estimate == pytest.approx(values["omega"], abs=2e-7)
    assert cronbach_alpha(x).estimate == pytest.approx(values["alpha"], abs=1e-8)
    assert (unique > 0).all()


def test_alpha_and_its_interval_are_those_of_pingouin():
    x = np.loadtxt(REFERENCE / "answers.csv", delimiter=",")
    alpha, interval = pingouin.cronbach_alpha(pd.DataFrame(x))
    found = cronbach_alpha(x)
    assert found.estimate == pytest.approx(alpha)
    assert [found.conf_low, found.conf_high] == pytest.approx(interval, abs=5.1e-4)


def test_one_factor_of_many_matrices_is_that_of_each():
    rng = np.random.default_rng(1)
    many = np.array([np.cov(rng.normal(size=(4, 40)) + rng.normal(size=40)) for _ in range(3)])
    together = one_factor(many)[0]
    for matrix, loadings in zip(many, together):
        np.testing.assert_allclose(loadings, one_factor(matrix)[0], atol=1e-5)


def test_omega_is_alpha_where_all_items_are_alike():
    r = np.full((4, 4), 0.5) + 0.5 * np.eye(4)
    loadings, unique = one_factor(r)
    omega = loadings.sum() ** 2 / (loadings.sum() ** 2 + unique.sum())
    assert omega == pytest.approx(4 * 0.5 / (1 + 3 * 0.5), abs=1e-6)


REFUSED = {
    "outside": ({"table": WIDE.assign(fun=[6, 9, 3])}, InputError, r"outside the scale of 1 to 7"),
    "two scales": ({"scales": {"a": ["fun"], "b": ["fun", "hard"]}}, InputError, "in two scales"),
    "nobody": (
        {"table": WIDE.assign(hard=np.nan)}, InputError, "nobody answered enough .*effort",
    ),
    "unknown": ({"reversed": ["boring"]}, InputError, "in no scale"),
    "column": ({"scales": {"a": ["fun", "joy"]}, "reversed": []}, ColumnError, "lacks a column"),
    "words": ({"table": WIDE.assign(fun="often")}, InputError, "no number"),
    "too many": ({"minimum_answered": 4}, InputError, "between one answer and all"),
    "range": ({"answers": (7, 1)}, InputError, "from a lower to a higher"),
    "twice": ({"table": pd.concat([WIDE, WIDE])}, InputError, "answered twice"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_scored_is_refused_in_one_sentence(name):
    options, error, said = REFUSED[name]
    with pytest.raises(error, match=said):
        scored(**options)


def answers(people, seed=2):
    rng = np.random.default_rng(seed)
    rows = []
    for person in range(people):
        own = rng.normal(0, 0.8)
        for rise, time in enumerate(["before", "middle", "after"]):
            for item in SCALES["interest"]:
                value = round(4.3 + own + 0.3 * rise + rng.normal(0, 0.8))
                value = 8 - value if item == "dull" else value
                rows.append((f"P{person + 1:02d}", time, item, int(np.clip(value, 1, 7))))
    return pd.DataFrame(rows, columns=["participant", "time", "item", "response"])


PLAN = {
    "name": "motivation", "answers": [1, 7], "time": "time",
    "times": ["before", "middle", "after"], "reversed": ["dull"],
    "scales": {"interest": SCALES["interest"]},
}  # fmt: skip


def test_the_plan_scores_a_questionnaire_and_tests_its_change(tmp_path):
    content = studies.plan(studies.ERROR, units={"length": "cm"})
    table = studies.trials(12, studies.PARTS, seed=10)
    folder = studies.write(studies.study(content, table), tmp_path / "study")
    lines = [f"{key} = {studies.written(value)}" for key, value in PLAN.items() if key != "scales"]
    with (folder / "study.toml").open("a", encoding="utf-8") as file:
        file.write("[[questionnaires]]\n" + "\n".join(lines) + "\n[questionnaires.scales]\n")
        file.write(f"interest = {studies.written(SCALES['interest'])}\n")
    given = answers(12)
    people = table[["participant", "group"]].drop_duplicates()
    missing = questionnaires_of(ml.read_study(folder), people, 0)[0]
    assert isinstance(missing.scored, Refused) and "not there yet" in missing.scored.reason
    given.to_csv(folder / "questionnaire.csv", index=False)
    found = questionnaires_of(ml.read_study(folder), people, 0)[0]
    direct = score_questionnaire(
        given, scales=PLAN["scales"], answers=(1, 7), reversed=["dull"], time="time"
    )
    np.testing.assert_allclose(found.scored.scores["score"], direct.scores["score"])
    wide = direct.scores.merge(people)
    anova = pingouin.mixed_anova(wide, "score", within="time", subject="participant",
                                 between="group")  # fmt: skip
    own = found.changes["interest"].anova.set_index("term")["statistic"]
    theirs = anova.set_index("Source")["F"]
    assert own["phase"] == pytest.approx(theirs["time"])
    assert own["group:phase"] == pytest.approx(theirs["Interaction"])
    crossed = found.changes["interest"].anova.replace({"term": {"group": "order"}})
    for rows, said in ((crossed, True), (crossed[crossed["term"] == "phase"], False)):
        told = _sentence("interest", SimpleNamespace(anova=rows), ".")
        assert told.startswith("Over the times") and ("averaged over the groups" in told) is said


BAD_PLANS = {
    "two scales": ({"scales": {"a": ["x"], "b": ["x"]}, "reversed": []}, "item in two scales: x"),
    "reversed": ({"reversed": ["boring"]}, "reversed items in no scale"),
    "range": ({"answers": [7, 1]}, "from a lower to a higher"),
    "key": ({"scale": 1}, "did you mean 'scales'"),
}


@pytest.mark.parametrize("name", BAD_PLANS)
def test_a_plan_of_a_questionnaire_that_contradicts_itself_is_refused(name):
    keys, said = BAD_PLANS[name]
    content = studies.plan(studies.ERROR) | {"questionnaires": [PLAN | keys]}
    with pytest.raises(DesignError, match=said):
        design_from_mapping(content)


@pytest.mark.slow
@pytest.mark.parametrize("people", [40, 100])
def test_intervals_of_alpha_and_omega_cover(people):
    rng = np.random.default_rng(people)
    loadings = np.array([0.7, 0.7, 0.7, 0.7])
    true = loadings.sum() ** 2 / (loadings.sum() ** 2 + (1 - loadings**2).sum())
    held = np.zeros((400, 2))
    for row in held:
        x = rng.normal(size=(people, 1)) * loadings
        x += rng.normal(size=(people, 4)) * np.sqrt(1 - loadings**2)
        found = cronbach_alpha(x), omega_total(x, simulations=300)
        row[:] = [one.conf_low <= true <= one.conf_high for one in found]
    assert (held.mean(axis=0) > 0.91).all() and (held.mean(axis=0) < 0.98).all(), held.mean(axis=0)
