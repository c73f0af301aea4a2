"""What a person declares with an import: rules, a smallest effect, parts, questionnaires."""

import shutil

import numpy as np
import pandas as pd
import pytest
import studies
from typer.testing import CliRunner

import motorlearn as ml
from motorlearn.commands import app
from motorlearn.exceptions import InputError, MotorlearnError
from motorlearn.trials import Asked, AskedQuestionnaires
from motorlearn.trials.importing.said_rules import said_rules
from motorlearn.trials.reading.answers_file import answers_of

LEAVE_OUT = ("P07 at tests: hurt a wrist", "block > 3 at acquisition: further practice was free")
REPLACE = (
    "y = 90 by 132: what the logger writes at the board",
    "y empty at tests by largest: left the floor",
    "x empty at tests by 33.02 signed: left the floor",
)


def answers(people=20, *, wide=False):
    """Three items at two times, one of them turned round; somebody left one out."""
    rng = np.random.default_rng(8)
    rows = pd.DataFrame(
        [
            {"id": f"P{person:02d}", "time_id": time, **dict(zip(("fun", "again", "dull"), given))}
            for person in range(1, people + 1)
            for time, given in ((1, rng.integers(1, 8, 3)), (2, rng.integers(1, 8, 3)))
        ]
    ).astype({"again": "float"})
    rows.loc[3, "again"] = np.nan
    return rows if wide else rows.melt(["id", "time_id"], var_name="item", value_name="answer")


def test_rules_and_bound_are_taken_from_one_command(slides, tmp_path):
    home = tmp_path / "new"
    words = [part for rule in LEAVE_OUT for part in ("--leave-out", rule)]
    words += [part for rule in REPLACE for part in ("--replace", rule)]
    words += ["--smallest-effect", "0.57 average sd", "--anova", "tests", "--unit", "cm"]
    done = CliRunner().invoke(app, ["import", str(slides), "--study", str(home), *words])
    assert done.exit_code == 0, done.output
    study = ml.read_study(home)
    assert [(r.participants, r.phases, r.column, r.above) for r in study.design.exclusions] == [
        (("P07",), ("tests",), "", None), ((), ("acquisition",), "block", 3),
    ]  # fmt: skip
    assert study.design.exclusions[0].reason == "hurt a wrist"
    assert [(r.column, r.equals, r.missing, r.value, r.take, r.sign)
            for r in study.design.replacements] == [
        ("y", 90, False, 132, None, ""), ("y", None, True, None, "largest", ""),
        ("x", None, True, 33.02, None, "mean"),
    ]  # fmt: skip
    assert (study.design.smallest_effect.value, study.design.smallest_effect.unit) == (
        0.57, "average sd",
    )  # fmt: skip
    assert study.design.anova.parts == "tests"
    text = (home / "study.toml").read_text()
    assert "# [[" not in text  # what was said is no longer proposed
    raw = pd.read_csv(slides)
    mine = raw[(raw["participant"] == "P03") & (raw["phase"] == "retention")]
    y = mine["y"].replace(90, 132)
    by_hand = np.hypot(mine["x"].fillna(33.02 * np.sign(mine["x"].mean())), y.fillna(y.max()))
    read = study.trials.table
    rows = (read["participant"] == "P03") & (read["phase"] == "retention")
    np.testing.assert_allclose(np.hypot(read.loc[rows, "x"], read.loc[rows, "y"]), by_hand)


def test_a_started_plan_asks_for_the_smallest_effect(slides, tmp_path):
    found = ml.trials.take_in(slides, tmp_path / "new")
    assert found.study.design.smallest_effect is None
    text = (tmp_path / "new" / "study.toml").read_text()
    assert "--smallest-effect" in text and "# [smallest_effect]" in text
    told = ml.trials.take_in(
        slides, tmp_path / "asked", ask=lambda q, e: "0.5 sd" if "Smallest effect" in q else e
    )
    assert told.study.design.smallest_effect.told.startswith("0.5 standard deviations")


def test_what_is_declared_later_is_added_and_nothing_else_changes(slides, tmp_path):
    home = tmp_path / "new"
    ml.trials.take_in(slides, home)
    before = (home / "study.toml").read_text()
    (tmp_path / "mood.csv").write_text(answers().to_csv(index=False))
    asked = Asked(
        smallest_effect="3",
        leave_out=LEAVE_OUT,
        questionnaires=AskedQuestionnaires([tmp_path / "mood.csv"], answers="1-7"),
    )
    study = ml.trials.take_in(slides, home, asked=asked).study
    text = (home / "study.toml").read_text()
    assert text.startswith(before.rstrip())
    assert len(study.design.exclusions) == 2
    assert study.design.smallest_effect.value == 3
    assert list(study.questionnaires) == ["mood"]
    for again in (Asked(leave_out=LEAVE_OUT[:1]), Asked(smallest_effect="4")):
        with pytest.raises(InputError, match="already"):
            ml.trials.take_in(slides, home, asked=again)
    assert (home / "study.toml").read_text() == text


BAD = {
    "no reason": ({"leave_out": ["P07 at tests"]}, "why"),
    "nobody": ({"leave_out": ["P99 at tests: lost"]}, "does not|do not have.*'P99'"),
    "part": ({"leave_out": ["P07 at teatime: lost"]}, "part of the study"),
    "column": ({"leave_out": ["loudness > 5: loud"]}, "column the trials do not have"),
    "words": ({"leave_out": ["block > many: loud"]}, "compares with a number"),
    "by": ({"leave_out": ["P07 by 3: loud"]}, "not replaced"),
    "no by": ({"replace": ["y = 90: the board"]}, "by what"),
    "value": ({"replace": ["y = 90 by 132 or so: the board"]}, "put in by a number"),
    "bound": ({"smallest_effect": "half an sd"}, "number above 0"),
    "nothing": ({"smallest_effect": "0"}, "number above 0"),
    "other sd": ({"smallest_effect": "0.5 best sd"}, "number above 0"),
    "anova": ({"anova": "practice"}, "'tests and practice'"),
}


@pytest.mark.parametrize("name", BAD)
def test_what_cannot_be_declared_is_named_and_writes_nothing(slides, tmp_path, name):
    said, words = BAD[name]
    with pytest.raises(InputError, match=words):
        ml.trials.take_in(slides, tmp_path / "new", asked=Asked(**said))
    assert not (tmp_path / "new").exists()


def test_a_rule_on_a_study_that_is_there_is_checked_before_anything_is_written(slides, tmp_path):
    home = tmp_path / "new"
    ml.trials.take_in(slides, home)
    before = (home / "study.toml").read_bytes()
    for said in ({"leave_out": ["P99: lost"]}, {"replace": ["z = 1 by 2: a slip"]}, {"unit": "m"}):
        with pytest.raises(InputError):
            ml.trials.take_in(slides, home, asked=Asked(**said))
    assert (home / "study.toml").read_bytes() == before


@pytest.mark.parametrize("wide", [False, True])
@pytest.mark.parametrize("score", ["mean", "sum"])
def test_a_questionnaire_comes_in_with_reversed_items(slides, tmp_path, wide, score):
    table = answers(wide=wide)
    table.to_csv(tmp_path / "mood.csv", index=False, na_rep="NA" if score == "sum" else "")
    told = AskedQuestionnaires(
        [tmp_path / "mood.csv"], "joy=fun+again-dull", "1-7", score=score, minimum_answered=2
    )
    study = ml.trials.take_in(slides, tmp_path / "new", asked=Asked(questionnaires=told)).study
    plan = study.design.questionnaires[0]
    assert plan.scales == {"joy": ("fun", "again", "dull")}
    assert (plan.reversed, plan.time, plan.times) == (("dull",), "time_id", (1, 2))
    people = study.trials.table[["participant", "group"]].drop_duplicates()
    found = ml.analysis.questionnaires.questionnaires_of(study, people, 0)[0]
    own = found.scored.scores.set_index(["participant", "time"])["score"]
    raw = answers(wide=True).assign(dull=lambda f: 8 - f["dull"]).set_index(["id", "time_id"])
    by_hand = raw.mean(axis="columns") * (3 if score == "sum" else 1)
    np.testing.assert_allclose(own.to_numpy(), by_hand.loc[own.index].to_numpy())
    assert own.loc[("P02", 2)] == pytest.approx(by_hand.loc[("P02", 2)])  # one answer lacks


def test_a_questionnaire_whose_scales_are_not_said_is_asked_about(slides, tmp_path):
    table = answers().rename(columns={"item": "scale_id", "answer": "score"})
    table.to_csv(tmp_path / "mood.csv", index=False)
    told = AskedQuestionnaires([tmp_path / "mood.csv"], answers="1-7")
    found = ml.trials.take_in(slides, tmp_path / "new", asked=Asked(questionnaires=told))
    assert list(found.study.design.questionnaires[0].scales) == ["fun", "again", "dull"]
    assert any("scale of its own (fun, again, dull)" in q for q in found.proposal.questions)


ODD = {
    "range": (answers(), {}, "lowest and the highest answer.*1 to 7 were given"),
    "narrow": (answers(), {"answers": "1-5"}, "outside 1 to 5"),
    "strange": (answers(), {"scales": "joy=fun+glad", "answers": "1-7"}, "'glad'.*fun, again"),
    "no sign": (answers(), {"scales": "joy:fun", "answers": "1-7"}, "name and items"),
    "score": (answers(), {"score": "median", "answers": "1-7"}, "summed or averaged"),
    "nobody": (answers().drop(columns="id"), {"answers": "1-7"}, "identifiers of participants"),
    "words": (answers().assign(answer="often"), {"answers": "1-7"}, "no numbers.*'often'"),
    "twice": (answers().drop(columns="time_id"), {"answers": "1-7"}, "two rows for one person"),
    "headings": (
        answers(wide=True).rename(columns={"fun": "t1_fun", "dull": "t2_fun"}),
        {"answers": "1-7"},
        "time of an answer in headings",
    ),
}


@pytest.mark.parametrize("name", ODD)
def test_a_questionnaire_that_cannot_be_read_is_refused_in_words(slides, tmp_path, name):
    table, said, words = ODD[name]
    table.to_csv(tmp_path / "mood.csv", index=False)
    asked = Asked(questionnaires=AskedQuestionnaires([tmp_path / "mood.csv"], **said))
    with pytest.raises(InputError, match=words):
        ml.trials.take_in(slides, tmp_path / "new", asked=asked)
    assert not (tmp_path / "new").exists()


TIMED = {
    "seen": ("t{time}_{item}", ""),
    "seen behind": ("{item} T{time}", ""),
    "said": ("{item}_{time}", "{item}_{time}"),
}


@pytest.mark.parametrize("name", TIMED)
def test_times_that_stand_in_headings_are_taken_apart(slides, tmp_path, name):
    pattern, said = TIMED[name]
    table = answers(wide=True).assign(group_id=1, nights=7)
    wide = table.pivot(index="id", columns="time_id", values=["fun", "again", "dull"])
    wide.columns = [pattern.format(item=item, time=time) for item, time in wide.columns]
    wide.reset_index().assign(group_id=1).to_csv(tmp_path / "mood.csv", index=False)
    told = AskedQuestionnaires(
        [tmp_path / "mood.csv"], "joy=fun+again-dull", "1-7", minimum_answered=2, headings=said
    )
    study = ml.trials.take_in(slides, tmp_path / "new", asked=Asked(questionnaires=told)).study
    plan = study.design.questionnaires[0]
    assert (plan.headings, plan.time, plan.times) == (pattern, "time", (1, 2))
    read = study.questionnaires["mood"].set_index(["participant", "time"]).sort_index()
    own = answers(wide=True).set_index(["id", "time_id"]).sort_index()
    for item in ("fun", "again", "dull"):
        np.testing.assert_array_equal(read[item].to_numpy(float), own[item].to_numpy(float))


MIXED_HEADINGS = {
    "two ways": ({"fun": "t1_fun", "dull": "fun_t2"}, {}, "one way.*--headings"),
    "one time": ({"fun": "t1_fun", "dull": "t1_dull"}, {}, "in one way"),
    "no item": ({}, {"headings": "t{time}"}, "once each"),
    "none fits": ({}, {"headings": "at{time}_{item}"}, "in one way"),
}


@pytest.mark.parametrize("name", MIXED_HEADINGS)
def test_headings_that_hold_times_in_no_clear_way_are_refused(slides, tmp_path, name):
    called, said, words = MIXED_HEADINGS[name]
    table = answers(wide=True).query("time_id == 1").drop(columns="time_id").rename(columns=called)
    table.to_csv(tmp_path / "mood.csv", index=False)
    told = AskedQuestionnaires([tmp_path / "mood.csv"], answers="1-7", **said)
    with pytest.raises(InputError, match=words):
        ml.trials.take_in(slides, tmp_path / "new", asked=Asked(questionnaires=told))
    assert not (tmp_path / "new").exists()


BAD_HEADINGS = {
    "parts": ({"headings": "t{time}"}, "once each"),
    "long": ({"headings": "t{time}_{item}", "item": "item"}, "item = ''"),
    "no times": ({"headings": "t{time}_{item}", "times": []}, "times in order"),
}


@pytest.mark.parametrize("name", BAD_HEADINGS)
def test_a_plan_of_headings_holds_together(name):
    keys, words = BAD_HEADINGS[name]
    plan = {"name": "mood", "item": "", "time": "time", "times": [1, 2], "answers": [1, 7],
            "scales": {"joy": ["fun"]}} | keys  # fmt: skip
    with pytest.raises(InputError, match=words):
        ml.design.design_from_mapping(studies.plan(studies.ERROR, questionnaires=[plan]))


def test_a_time_of_the_plan_that_no_heading_holds_is_named(tmp_path):
    table = pd.DataFrame({"participant": ["P01"], "t1_fun": [3], "t2_fun": [5]})
    table.to_csv(tmp_path / "mood.csv", index=False)
    plan = ml.design.QuestionnairePlan(
        name="mood", item="", time="time", times=(1, 3), headings="t{time}_{item}",
        answers=(1, 7), scales={"joy": ("fun",)},
    )  # fmt: skip
    with pytest.raises(MotorlearnError, match=r"no heading of mood\.csv.*'3'"):
        answers_of(plan, tmp_path / "mood.csv")


def test_scales_without_a_file_and_a_file_that_is_not_there(slides, tmp_path):
    for told in (
        AskedQuestionnaires(scales="joy=fun"),
        AskedQuestionnaires([tmp_path / "no.csv"], answers="1-7"),
    ):
        with pytest.raises(MotorlearnError, match="questionnaire"):
            ml.trials.take_in(slides, tmp_path / "new", asked=Asked(questionnaires=told))


def test_items_whose_names_hold_a_minus(slides, tmp_path):
    names = {"fun": "IMI-1", "again": "IMI-2", "dull": "IMI-3"}
    answers(wide=True).rename(columns=names).to_csv(tmp_path / "mood.csv", index=False)
    told = AskedQuestionnaires([tmp_path / "mood.csv"], "joy=IMI-1+IMI-2-IMI-3", "1-7")
    study = ml.trials.take_in(slides, tmp_path / "new", asked=Asked(questionnaires=told)).study
    plan = study.design.questionnaires[0]
    assert (plan.scales["joy"], plan.reversed) == (("IMI-1", "IMI-2", "IMI-3"), ("IMI-3",))


def test_said_rules_read_decimals_lists_and_signs():
    one, two = said_rules(["P01, P02: moved house"], ["time > 9.5 by worst: gave up"])
    assert one.keys["participants"] == ["P01", "P02"]
    assert two.keys == {"column": "time", "above": 9.5, "reason": "gave up", "take": "worst"}


SHIPPED = ml.trials.shipped_study()


@pytest.mark.parametrize(
    "name",
    [
        pytest.param(name, marks=() if name == "hits of trials" else pytest.mark.slow)
        for name in studies.COMPUTED
    ],
)
def test_a_study_that_is_there_takes_bound_rule_and_questionnaire(tmp_path, name):
    study = studies.COMPUTED[name]()
    home = tmp_path / "study"
    shipped = name == "ring push"
    shutil.copytree(SHIPPED, home) if shipped else studies.write(study, home)
    design = ml.read_design(home)
    for file in (design.files.participants, design.files.ratings, design.files.sessions):
        if file and not shipped:
            shutil.copy(SHIPPED / file, home)
    people = sorted(set(study.trials.table["participant"].astype("str")))
    # An athlete's sessions are no tests, and one athlete cannot be left out.
    what = "trial > 4" if design.single_case else f"{people[0]} at tests"
    rows = answers(len(people)).assign(id=lambda f: f["id"].map(
        {f"P{k:02d}": person for k, person in enumerate(people, 1)}))  # fmt: skip
    rows.to_csv(tmp_path / "mood.csv", index=False)
    asked = Asked(
        smallest_effect="" if design.smallest_effect else "0.5 sd",
        leave_out=[f"{what}: was ill"],
        anova="tests" if design.within is None and len(design.tests) > 1 else "",
        questionnaires=AskedQuestionnaires(
            [tmp_path / "mood.csv"], "joy=fun+again-dull", "1-7", minimum_answered=2
        ),
    )
    text = ml.trials.importing.additions.additions(home / "study.toml", asked, None, None)
    before = (home / "study.toml").read_text().rstrip()
    added = text.removeprefix(before)
    assert added.startswith("\n\n[") and "\n\n\n" not in added
    (home / "study.toml").write_text(text)
    (home / "mood.csv").write_bytes((tmp_path / "mood.csv").read_bytes())
    read = ml.read_study(home)
    assert read.design.questionnaires[0].name == "mood"
    assert "was ill" in set(read.trials.table["void"])
    if design.single_case:
        found = ml.analyse_study(read).questionnaires[0]
    else:
        known = read.trials.table[["participant", "group"]].drop_duplicates("participant")
        found = ml.analysis.questionnaires.questionnaires_of(read, known, 0)[0]
    assert len(found.scored.scores) == 2 * len(people)
