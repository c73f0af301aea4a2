"""A plan holds a programme of drills; what contradicts itself is refused with its place."""

import copy
import tomllib
from pathlib import Path

import pytest

from motorlearn.design import Programme, design_from_mapping, read_design
from motorlearn.exceptions import DesignError
from motorlearn.plan import programme_tables

FILE = Path(__file__).parents[1] / "plan" / "plans" / "programme.toml"
CONTENT = tomllib.loads(FILE.read_text(encoding="utf-8"))


def changed(**sections):
    return {**copy.deepcopy(CONTENT), **sections}


def test_sessions_follow_from_weeks_and_drills():
    design = read_design(FILE)
    assert [session.trials for session in design.practice] == [60] * 3 + [30] * 3 + [40] * 6
    assert [session.day for session in design.practice][:4] == [0, 2, 4, 7]
    assert design.last_practice_day == 25
    assert design.practice[-1].trials_at_maximum == 40
    assert design.practice[0].warm_up_trials == 10
    assert design.phases == ("acquisition", "progress", "retention")


def test_a_plan_survives_being_written_and_read_again():
    design = read_design(FILE)
    again = design_from_mapping(design.model_dump(exclude_none=True))
    assert again == design


def test_days_of_a_week_are_spread_or_as_given():
    assert Programme(weeks=1, sessions_per_week=2).session_days() == ((1, 0), (1, 3))
    given = Programme(weeks=2, sessions_per_week=2, days=(0, 5)).session_days()
    assert given == ((1, 0), (1, 5), (2, 7), (2, 12))


def test_weeks_of_a_test_stand_for_their_last_day():
    tests = read_design(FILE).tests
    assert [test.planned_day for test in tests] == [13, 27, None]


def test_everything_the_programme_says_is_kept():
    drill = read_design(FILE).drills[-1]
    assert (drill.start, drill.run_up, drill.distance) == ("moving", 15, 10)
    assert (drill.feedback_from, drill.feedback_about, drill.feedback_every) == (
        "partner",
        "results",
        5,
    )


def test_programme_tables_let_another_coach_run_it():
    sessions, drills = programme_tables(read_design(FILE))
    assert len(sessions.rows) == 12 + 3
    assert sessions.rows["trials"].sum() == 510 + 60
    assert drills.rows["start"].tolist() == ["standing", "standing", "moving, 15 m"]
    assert drills.rows["feedback"].iloc[1].endswith("(partner), every 2")
    assert "at maximal effort" in sessions.headings


@pytest.mark.parametrize(
    ("sections", "words"),
    [
        ({"programme": None}, "drills but no programme"),
        (
            {"practice": [{"session": 1, "day": 0, "trials_per_block": 5}]},
            "dose is given twice",
        ),
        ({"drills": [CONTENT["drills"][0]] * 2}, "drill named twice: slide"),
        ({"drills": [{"name": "a", "purpos": "b"}]}, "did you mean 'purpose'"),
        ({"load": {"limits": [{"trials": 10, "per": "week"}]}}, "source' is missing"),
        ({"load": {"limits": [{"trials": 10, "per": "month", "source": "s"}]}}, "per"),
        ({"assumptions": {"baseline": 1, "between_sd": 0}}, "between_sd"),
        ({"skill": {"timing": "sometimes"}}, "timing"),
        ({"primary": {"outcome": "hits", "model": "anova"}}, "model"),
    ],
)
def test_contradictions_are_refused_with_their_place(sections, words):
    content = {name: value for name, value in changed(**sections).items() if value is not None}
    with pytest.raises(DesignError, match=words):
        design_from_mapping(content)


SKILL = {
    "name": "pushing a ring",
    "phases": [{"name": "swing", "key_points": ["knees bent"]}, {"name": "release"}],
    "faults": [
        {
            "name": "tilt",
            "phase": "release",
            "sign": "the ring wobbles",
            "consequence": "it stops short",
            "cue": "flat paddle",
        }
    ],
}
CHECKLIST = {
    "low": 1,
    "high": 4,
    "labels": ["never", "sometimes", "mostly", "always"],
    "items": [{"name": "knees", "phase": "swing"}],
}


def test_a_skill_is_broken_down_and_rated_on_a_scale_of_its_own():
    drills = [{**CONTENT["drills"][0], "faults": ["tilt"], "cues": ["flat paddle"]}]
    design = design_from_mapping(changed(skill=SKILL, checklist=CHECKLIST, drills=drills))
    assert design.skill.faults[0].consequence == "it stops short"
    assert design.checklist.scores == (1, 2, 3, 4)
    assert design.checklist.meaning == "1 never, 2 sometimes, 3 mostly, 4 always"


@pytest.mark.parametrize(
    ("sections", "words"),
    [
        ({"skill": {"faults": [{"name": "tilt", "phase": "flight"}]}}, "names phase 'flight'"),
        ({"skill": {"phases": [{"name": "a"}, {"name": "a"}]}}, "named twice: a"),
        ({"checklist": {"low": 2, "high": 2, "items": [{"name": "k"}]}}, "high must be above"),
        ({"checklist": {"labels": ["a"], "items": [{"name": "k"}]}}, "one label for each"),
        ({"drills": [{**CONTENT["drills"][0], "faults": ["tilt"]}]}, "does not have: tilt"),
        ({"units": {"length": "cm"}}, 'say unit = "m"'),
    ],
)
def test_what_does_not_fit_the_skill_is_named(sections, words):
    with pytest.raises(DesignError, match=words):
        design_from_mapping(changed(**sections))


def test_drills_of_one_session_keep_their_own_frequency_of_feedback():
    from motorlearn.plan.timetable import timetable

    design = read_design(FILE)
    plan = timetable(design)
    first = plan.feedback[plan.session == 1]
    assert first[:30].all(), "after every trial of the first drill"
    assert first[30:60].sum() == 15, "after every second trial of the second"
    assert "slide: partner calls tilt, after every trial" in design.practice[0].feedback
    assert plan.feedback[plan.session == 12][:40].sum() == 8


def test_a_drill_without_an_object_asks_for_no_hit():
    import pandas as pd

    from motorlearn.plan import planned_trials

    drills = [{**drill, "object": "none"} for drill in CONTENT["drills"][:1]]
    design = design_from_mapping(changed(drills=[*drills, *CONTENT["drills"][1:]]))
    one = pd.DataFrame({"participant": ["a"], "group": ["programme"]})
    rows = planned_trials(design, one, seed=1)
    assert "slide" not in set(rows["drill"])
    assert (rows["drill"] == "standing push").sum() == 6 * 30
    assert design.practice[0].trials == 60, "it still counts towards the load"
