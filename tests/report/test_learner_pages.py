"""Pages for learners and the coach, at every moment of a programme; nobody is compared by name."""

import re
import shutil
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import studies
from field_days import fill_ratings, fill_sessions, fill_tests, programme_folder
from typer.testing import CliRunner

import motorlearn as ml
from motorlearn import commands
from motorlearn.design import design_from_mapping
from motorlearn.report.learners import follow_learners
from motorlearn.report.learners.pages import overview_page
from motorlearn.report.learners.progress import MOVED, STALLED, TOO_EARLY, UNCLEAR, UNJUDGED
from motorlearn.trials import table_bytes

PLAN = """
groups = [{name = "programme"}]
tests = [
  {phase = "pretest", day = 0, trials = 20},
  {phase = "progress", name = "week 2", week = 2, trials = 20},
  {phase = "retention", interval_days = 7, trials = 20},
]
outcomes = [{name = "hits", better = "higher"}]
[study]
title = "Ring push"
"""
TIMED = PLAN.replace(
    'outcomes = [{name = "hits", better = "higher"}]',
    'outcomes = [{name = "time", better = "lower", unit = "s"}]',
)


def study_of(folder, rows, plan=PLAN):
    folder.mkdir(exist_ok=True)
    (folder / "study.toml").write_text(plan)
    (folder / "trials.csv").write_bytes(table_bytes(pd.DataFrame(rows)))
    return ml.read_study(folder)


def hits(person, phase, session, count, attempts=20):
    return {
        "participant": person,
        "phase": phase,
        "session": session,
        "hits": count,
        "attempts": attempts,
    }


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = programme_folder(tmp_path_factory.mktemp("learners") / "ring", size=6)
    fill_tests(made)
    fill_sessions(made)
    fill_ratings(made)
    return made


def test_the_limit_a_learner_reads_is_the_one_rule_of_the_house(tmp_path):
    rows = [hits("a", "pretest", 1, 7), hits("a", "retention", 9, 13)]
    rows += [hits("b", "pretest", 1, 7), hits("b", "retention", 9, 14)]
    progress = follow_learners(study_of(tmp_path, rows))
    judged = ml.measures.individual_changes(
        pd.DataFrame(rows), "hits", tests=("pretest", "retention"), better="higher"
    ).people.set_index("participant")
    for learner in progress.learners:
        mine = judged.loc[learner.participant]
        assert learner.since_first["verdict"] == mine["verdict"]
        assert learner.since_first["hits_up"] == mine["hits_up"]
    assert [one.standing for one in progress.learners] == [UNCLEAR, MOVED]
    page = ml.write_learner_pages(study_of(tmp_path, rows), tmp_path / "pages")
    text = (page.parent / "learners" / "a.html").read_text(encoding="utf-8")
    limit = int(judged.loc["a", "hits_up"])
    assert f"From 7 of 20, it takes {limit} of 20 or more to be a clear gain." in text
    assert "Chance alone can do that." in text


def test_the_interval_of_hits_is_wilsons(tmp_path):
    # 11 of 20: 0.3421 to 0.7418 (Wilson's formula worked by hand with z = 1.95996).
    progress = follow_learners(study_of(tmp_path, [hits("a", "pretest", 1, 11)]))
    row = progress.learners[0].tests.iloc[0]
    assert np.allclose([row["low"], row["high"]], [20 * 0.3421, 20 * 0.7418], atol=0.01)


def test_hits_counted_at_one_test_and_noted_by_trial_at_another_are_one_outcome(tmp_path):
    rows = [hits("a", "pretest", 1, 7), hits("b", "pretest", 1, 9)]
    rows += [
        {"participant": who, "phase": "retention", "session": 9, "trial": i, "hit": int(i <= count)}
        for who, count in (("a", 14), ("b", 12)) for i in range(1, 21)
    ]  # fmt: skip
    progress = follow_learners(study_of(tmp_path, rows))
    whole = [hits("a", "retention", 9, 14), hits("b", "retention", 9, 12)]
    counted = follow_learners(study_of(tmp_path / "counted", [*rows[:2], *whole]))
    for one, other in zip(progress.learners, counted.learners, strict=True):
        assert one.tests["score"].tolist() == other.tests["score"].tolist()
        assert one.tests["n"].tolist() == [20, 20]
        assert one.standing == other.standing
    assert progress.learners[0].standing == MOVED


def test_a_page_names_nobody_else(folder, tmp_path):
    page = ml.write_learner_pages(ml.read_study(folder), tmp_path / "pages")
    pages = sorted((page.parent / "learners").glob("*.html"))
    names = [path.stem for path in pages]
    assert len(names) == 6
    for path in pages:
        text = re.sub(r"<style>.*?</style>", "", path.read_text(encoding="utf-8"), flags=re.S)
        others = [name for name in names if name != path.stem and name in text]
        assert not others, (path.name, others)
    overview = page.read_text(encoding="utf-8")
    assert all(name in overview for name in names)
    assert "do not hand it out" in overview


@pytest.mark.parametrize(("tests", "sessions"), [(0, 0), (1, 0), (2, 4), (3, 8)])
def test_pages_can_be_written_at_any_time(tmp_path, tests, sessions):
    made = programme_folder(tmp_path / "ring", size=3)
    fill_tests(made, tests=tests)
    fill_sessions(made, sessions=sessions)
    page = ml.write_learner_pages(ml.read_study(made), tmp_path / "pages")
    first = (page.parent / "learners" / "P01.html").read_text(encoding="utf-8")
    assert ("No test has been taken yet" in first) == (tests == 0)
    assert ("This is where you start" in first) == (tests == 1)
    assert ("You were at" in first) == (sessions > 0)


def test_the_coach_sees_who_stalled_is_absent_has_pain_and_is_above_the_limit(folder, tmp_path):
    plan = folder / "study.toml"
    limited = plan.read_text() + '\n[[load.limits]]\ntrials = 60\nper = "week"\nsource = "club"\n'
    copy = tmp_path / "ring"
    shutil.copytree(folder, copy)
    (copy / "study.toml").write_text(limited)
    study = ml.read_study(copy)
    progress = follow_learners(study)
    dose = 35 * 2  # shadow swing 15 and standing push 20, twice a week
    assert set(progress.load["limit"]) == {60}
    assert progress.load.query("period == 1")["trials"].max() == dose + 20  # the pretest counts
    overview = ml.write_learner_pages(study, tmp_path / "pages").read_text(encoding="utf-8")
    log = study.sessions
    hurt = log[log["pain_after"] > 0].iloc[0]
    assert f"{hurt['participant']}: 3 of 10 at session {hurt['session']:.0f}" in overview
    absent = log[log["present"] == 0]["participant"].iloc[0]
    assert f"{absent}: at " in overview
    assert "limit 60" in overview


def test_load_is_held_against_limits_of_a_session_a_day_and_a_week(folder):
    # Session 1 has 35 trials on day 0, the day of the pretest with 20; weeks 3 and 4 have 40 twice.
    limits = [{"trials": n, "per": per, "source": "club"} for per, n in
              (("session", 35), ("day", 54), ("week", 95))]  # fmt: skip
    study = ml.read_study(folder)
    plan = study.design.model_dump(exclude_unset=True, by_alias=True) | {"load": {"limits": limits}}
    load = follow_learners(replace(study, design=design_from_mapping(plan))).load
    seen = {per: set(map(str, part["period"])) for per, part in load.groupby("per")}
    assert seen["session"] == {f"practice session {n}" for n in (5, 6, 7, 8)}
    assert seen["day"] == {"0.0"}
    assert seen["week"] == {"4"}  # 80 trials of practice and the test of week 4
    assert load.query("per == 'day'")["trials"].unique().tolist() == [55]


def test_fatigue_is_told_to_the_coach_most_tired_first(folder):
    study = ml.read_study(folder)
    log = study.sessions.assign(
        fatigue_after=np.where(study.sessions["participant"] == "P02", 8, 3)
    )
    page = overview_page(follow_learners(replace(study, sessions=log)))
    assert page.index("P02: 8.0 of 10 on average, 8 at most") < page.index("P01: 3.0 of 10")


def test_three_tests_without_a_clear_change_are_a_standstill(tmp_path):
    rows = [
        hits("a", "pretest", 1, 8),
        hits("a", "progress", 4, 9),
        hits("a", "retention", 9, 8),
        hits("b", "pretest", 1, 8),
    ]
    learners = follow_learners(study_of(tmp_path, rows)).learners
    assert [one.standing for one in learners] == [STALLED, TOO_EARLY]
    assert learners[1].missed == ("Week 2", "Delayed retention")


def test_the_next_cue_is_that_of_the_weakest_item(folder):
    study = ml.read_study(folder)
    items = {item.name: item.phase for item in study.design.checklist.items}
    cues = {fault.phase: fault.cue for fault in study.design.skill.faults}
    for learner in follow_learners(study).learners:
        weakest = learner.technique.sort_values("last", kind="stable").iloc[0]
        ties = learner.technique[learner.technique["last"] == weakest["last"]]["item"]
        assert learner.cue in {cues[items[item]] for item in ties}


def test_a_timed_task_is_followed_in_seconds(tmp_path):
    rng = np.random.default_rng(1)
    rows = [
        {
            "participant": person,
            "phase": phase,
            "session": session,
            "trial": trial,
            "time": round(float(level + rng.normal(0, 0.4)), 2),
        }
        for person in ("a", "b")
        for phase, session, level in (("pretest", 1, 9.0), ("retention", 9, 7.0))
        for trial in range(1, 11)
    ]
    study = study_of(tmp_path / "timed", rows, TIMED)
    progress = follow_learners(study)
    assert progress.better == "lower"
    assert [one.standing for one in progress.learners] == [MOVED, MOVED]
    page = ml.write_learner_pages(study, tmp_path / "pages")
    assert " s less." in (page.parent / "learners" / "a.html").read_text(encoding="utf-8")


def test_an_identifier_cannot_escape_the_folder_or_run_as_markup(tmp_path):
    rows = [hits("../x<b>", "pretest", 1, 5), hits("a", "pretest", 1, 5)]
    page = ml.write_learner_pages(study_of(tmp_path, rows), tmp_path / "pages")
    assert sorted(p.name for p in (page.parent / "learners").iterdir()) == ["_x_b_.html", "a.html"]
    assert "<b>" not in page.read_text(encoding="utf-8")


def test_the_command_says_where_the_pages_are(folder, tmp_path):
    arguments = ["learners", str(folder), "--out", str(tmp_path / "pages")]
    done = CliRunner().invoke(commands.app, arguments)
    assert done.exit_code == 0, done.output
    assert "overview.html" in done.output


def test_an_outcome_in_a_column_of_its_own_is_followed_as_the_analysis_finds_it(tmp_path):
    aim = '{name = "aim", better = "lower", unit = "deg", column = "angle", target = 40}'
    plan = PLAN.replace('{name = "hits", better = "higher"}', aim)
    rows = [
        {"participant": "P1", "phase": phase, "angle": 40 + away, "radial_error": 99}
        for phase, far in (("pretest", 6), ("retention", 2))
        for away in (far, -far - 2, far + 1)
    ]
    [learner] = follow_learners(study_of(tmp_path / "aim", rows, plan)).learners
    # |6|, |-8|, |7| before and |2|, |-4|, |3| after: degrees from the target, and no radial error.
    assert learner.tests["score"].tolist() == pytest.approx([7, 3])
    whole = plan.replace("target = 40", 'target = 40, measure = "total_error"')
    progress = follow_learners(study_of(tmp_path / "total", rows, whole))
    # A total error belongs to a test, so single trials are followed by their absolute errors.
    assert progress.outcome == "absolute error of aim"
    assert progress.learners[0].tests["score"].tolist() == pytest.approx([7, 3])


def measured_plan(outcome):
    return PLAN.replace('{name = "hits", better = "higher"}', outcome)


def test_a_score_of_all_trials_together_is_followed_where_no_trial_has_one(tmp_path):
    spread = '{name = "variable_error", better = "lower", unit = "cm"}'
    rows = [
        {"participant": "P1", "phase": phase, "error": 50 + away}
        for phase, far in (("pretest", 6), ("retention", 2))
        for away in (far, -far, far, -far)
    ]
    folder = study_of(tmp_path / "aim", rows, measured_plan(spread))
    progress = follow_learners(folder)
    [learner] = progress.learners
    assert learner.tests["score"].tolist() == pytest.approx([6, 2])
    assert (progress.outcome, learner.tests["n"].tolist()) == ("variable_error", [4, 4])
    assert learner.since_first["verdict"] == "not computable" and learner.standing == "not judged"
    ml.write_learner_pages(folder, tmp_path / "pages")
    text = "".join(p.read_text() for p in (tmp_path / "pages").rglob("*.html"))
    assert "6.00 cm" in text and "one try" not in text
    assert "is not known for this score" in text and "so no change is judged" in text


def test_a_scatter_is_followed_itself_and_not_the_distance_from_the_target(tmp_path):
    study = studies.scatter()
    progress = follow_learners(study)
    assert (progress.outcome, progress.unit) == ("bivariate_variable_error", "cm")
    late = study.trials.table.query("participant == 'P01' and phase == 'retention'")
    x, y = (late[name] - late[name].mean() for name in ("x", "y"))
    first = next(one for one in progress.learners if one.participant == "P01")
    told = first.tests.set_index("stage").loc["retention"]
    assert told["score"] == pytest.approx(np.sqrt((x**2 + y**2).mean()))
    assert np.isnan(told["low"]) and first.standing == UNJUDGED
    ml.write_learner_pages(study, tmp_path / "pages")
    page = (tmp_path / "pages" / "learners" / "P01.html").read_text()
    assert ">Bivariate variable error<" in page and "adial error" not in page
    assert "range on the right" not in page


def test_three_tests_of_one_trial_each_are_no_standstill(tmp_path):
    rows = [
        {"participant": "P1", "phase": phase, "session": place, "time": value}
        for place, (phase, value) in enumerate(
            (("pretest", 9.0), ("posttest", 8.9), ("retention", 9.1)), start=1
        )
    ]
    plan = measured_plan('{name = "time", better = "lower", unit = "s"}')
    [learner] = follow_learners(study_of(tmp_path / "one", rows, plan)).learners
    assert learner.standing == "not judged"
