"""Groups that practise differently: dose, days, feedback and order, followed everywhere."""

import copy

import pandas as pd
import pytest
from plans_of_tests import SOUND, plan

import motorlearn as ml
from motorlearn.exceptions import DesignError
from motorlearn.plan import compare_with_plan, planned_trials, programme_tables, throw_load
from motorlearn.plan.power.planned import scenario
from motorlearn.plan.sheets.field_forms import session_forms
from motorlearn.plan.sheets.rows import session_log
from motorlearn.wording.method import programme_paragraph

LONG = {"session": 1, "day": 0, "blocks": 2, "trials_per_block": 18, "feedback_every": 1}
SHORT = [
    {"session": 1, "day": 0, "trials_per_block": 12, "feedback_every": 0, "schedule": "serial"},
    {"session": 2, "day": 1, "trials_per_block": 12, "feedback_every": 4},
]
DIFFERENT = [
    {**LONG, "groups": ["blocked"]},
    *({**entry, "groups": ["random"]} for entry in SHORT),
]
PEOPLE = pd.DataFrame({"participant": ["P1", "P2", "P3"], "group": ["random", "blocked", "random"]})


@pytest.fixture(scope="module")
def design():
    return plan(practice=DIFFERENT)


@pytest.fixture(scope="module")
def study(design):
    return ml.simulate_study(design, seed=3, missing=False)


def practice(rows: pd.DataFrame) -> pd.DataFrame:
    return rows[rows["phase"] == "acquisition"]


def test_sheets_hold_what_the_group_of_each_person_does(design):
    rows = planned_trials(design, PEOPLE, seed=1)
    assert rows["participant"].unique().tolist() == ["P1", "P2", "P3"]
    told = practice(rows).groupby(["participant", "session"])["feedback"].agg(["size", "sum"])
    assert told.loc["P2"].values.tolist() == [[36, 36]]
    for person in ("P1", "P3"):
        assert told.loc[person].values.tolist() == [[12, 0], [12, 3]]
        order = practice(rows).query("participant == @person and session == 1")["task"].tolist()
        assert order == order[:3] * 4
    again = practice(rows).query("participant == 'P1'")
    assert again["trial"].tolist() == list(range(1, 25))


def test_a_plan_that_says_the_same_for_each_group_gives_the_same_sheets():
    both = [{**LONG, "groups": [name]} for name in ("blocked", "random")]
    apart, shared = plan(practice=both), plan(practice=[LONG])
    one, other = (planned_trials(design, PEOPLE, seed=4) for design in (apart, shared))
    pd.testing.assert_frame_equal(one, other)


def test_logs_and_session_pages_name_the_people_of_the_group(design):
    log = session_log(design, PEOPLE)
    assert log.groupby("participant")["session"].apply(list).to_dict() == {
        "P1": [1, 2, 3],
        "P2": [1, 3],
        "P3": [1, 2, 3],
    }
    pages = {form.name: [row[0] for row in form.rows] for form in session_forms(design, PEOPLE)}
    assert pages == {
        "session 1 blocked": ["P2"],
        "session 1 random": ["P1", "P3"],
        "session 2 random": ["P1", "P3"],
    }


def test_invented_studies_follow_the_groups_and_the_check_agrees(design, study):
    done = (
        practice(study.trials.table).groupby(["group", "session"])["feedback"].agg(["size", "sum"])
    )
    assert done.loc[("blocked", 1)].tolist() == [24 * 36, 24 * 36]
    assert done.loc[("random", 1)].tolist() == [24 * 12, 0]
    assert done.loc[("random", 2)].tolist() == [24 * 12, 24 * 3]
    assert study.problems.empty
    assert compare_with_plan(study).table.empty
    truth = ml.plan.true_values(design, seed=3, missing=False)
    assert truth.people["participant"].tolist() == study.participants["participant"].tolist()


def test_whoever_did_the_dose_of_the_other_group_is_found(study):
    changed = copy.deepcopy(study.trials.table)
    person = changed.loc[changed["group"] == "random", "participant"].iloc[0]
    changed.loc[changed["participant"] == person, "group"] = "blocked"
    people = study.participants.assign(
        group=study.participants["group"].where(
            study.participants["participant"] != person, "blocked"
        )
    )
    moved = type(study)(study.design, type(study.trials)(changed), people)
    found = compare_with_plan(moved).table
    fewer = found[found["topic"] == "fewer trials"].iloc[0]
    assert (fewer["planned"], fewer["participants"]) == ("36 trials", person)


def test_load_power_programme_and_words_follow_the_groups(design):
    assert throw_load(design).weeks["practice"].tolist() == [36, 0]
    rows = programme_tables(design)[0].rows
    assert rows["name"].tolist() == ["", "blocked", "random", "random", ""]
    text = programme_paragraph(design)
    assert "Practice of blocked took 1 session and 36 trials per participant" in text
    assert "Practice of random took 2 sessions and 24 trials" in text
    assert "in serial order" in text
    # The reference group, blocked, does all that anybody does; turned round it does two thirds.
    primary = {**SOUND["primary"], "groups": ["blocked", "random"]}
    assert scenario(design).done[-1] == pytest.approx(0.65)
    assert scenario(plan(practice=DIFFERENT, primary=primary)).done[-1] == pytest.approx(
        0.65 * 2 / 3
    )


def test_a_group_that_is_tested_only_has_no_practice():
    design = plan(practice=[{**LONG, "groups": ["random"]}])
    study = ml.simulate_study(design, seed=1, missing=False)
    assert set(practice(study.trials.table)["group"]) == {"random"}
    assert study.problems.empty
    assert compare_with_plan(study).table.empty
    assert "a group without practice" in ml.audit_design(design).table["topic"].tolist()
    assert "this group was tested only" in programme_paragraph(design)
    # No practice, no gain: the pretest stays what it was.
    assert scenario(design).done.tolist() == [0.0, 0.0]


def one_thing(**change: object):
    groups = [{**entry, "schedule": "random"} for entry in SOUND["groups"]]
    sessions = [{**LONG, "groups": ["blocked"]}, {**LONG, "groups": ["random"], **change}]
    return plan(groups=groups, practice=sessions)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"blocks": 1}, "dose (36 trials against 18 trials)"),
        ({"feedback_every": 5}, "feedback (after every trial against after every 5 trials)"),
        ({"day": 1}, "days of practice (0 against 1)"),
        ({"effort": "maximal"}, "effort (0 trials at maximal effort against 36"),
    ],
)
def test_one_difference_is_said_and_is_no_hole(change, words):
    audit = ml.audit_design(one_thing(**change))
    assert any(words in statement for statement in audit.statements)
    assert "groups differ in several things" not in audit.table["topic"].tolist()


@pytest.mark.parametrize("change", [{"blocks": 1}, {"feedback_every": 5}, {"day": 1}])
def test_a_second_difference_beside_the_order_is_a_hole(change):
    sessions = [{**LONG, "groups": ["blocked"]}, {**LONG, "groups": ["random"], **change}]
    table = ml.audit_design(plan(practice=sessions)).table.set_index("topic")
    hole = table.loc["groups differ in several things"]
    assert hole["grade"] == "act"
    assert "order of tasks (blocked against random)" in hole["reason"]


def test_drills_may_belong_to_a_group():
    drills = [
        {"name": "slide", "trials_per_session": 20},
        {"name": "ramp", "trials_per_session": 10, "groups": ["random"]},
    ]
    design = plan(practice=None, programme={"weeks": 1, "sessions_per_week": 1}, drills=drills)
    assert [entry.trials for entry in design.practice_of("blocked")] == [20]
    assert [entry.trials for entry in design.practice_of("random")] == [30]
    rows = practice(planned_trials(design, PEOPLE, seed=1))
    assert rows.groupby("participant").size().to_dict() == {"P1": 30, "P2": 20, "P3": 30}


@pytest.mark.parametrize(
    ("sessions", "words"),
    [
        (
            [{**LONG, "groups": ["nobody"]}],
            "practice session 1 names groups the plan lacks: nobody",
        ),
        ([LONG, {**LONG, "groups": ["random"]}], "practice.session 1 is given twice"),
    ],
)
def test_groups_that_cannot_be_are_named(sessions, words):
    with pytest.raises(DesignError, match=words):
        plan(practice=sessions)
