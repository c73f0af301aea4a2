import pytest
from plans_of_tests import plan, programme, ring_push
from statsmodels.stats.power import TTestIndPower

import motorlearn as ml
from motorlearn.plan import throw_load


def topics(design):
    return set(ml.audit_design(design).table["topic"])


def test_a_sound_plan_has_no_holes():
    assert topics(plan()) == set()


def test_the_programme_is_told_everything_it_cannot_show():
    audit = ml.audit_design(programme())
    assert topics(programme()) >= {
        "no pretest",
        "progress tests",
        "one group",
        "repeated testing",
        "speed not recorded",
        "hits only",
    }
    by_topic = audit.table.set_index("topic")
    assert "week 2 and week 4" in by_topic.loc["progress tests", "reason"]
    assert "about 6 hits" in by_topic.loc["hits only", "consequence"]
    assert "regression to the mean" in by_topic.loc["one group", "consequence"]
    assert by_topic.loc["speed not recorded", "grade"] == "act"
    assert len(audit.statements) == 5
    assert audit.table["grade"].tolist() == sorted(audit.table["grade"])


def test_every_hole_has_reason_consequence_fix_and_source():
    for design in (
        programme(),
        ring_push(),
        plan(primary=None, tests=[{"phase": "posttest", "trials": 5}]),
    ):
        table = ml.audit_design(design).table
        assert (table[["reason", "consequence", "fix", "source"]].map(len) > 5).all().all()


RETENTION = {"phase": "retention", "trials": 36, "interval_days": 7, "order": "blocked-and-random"}
PRE = {"phase": "pretest", "trials": 30, "blinded": True}
TWO = [{"name": "a", "schedule": "blocked", "size": 24}, {"name": "b", "schedule": "random"}]


@pytest.mark.parametrize(
    ("change", "topic"),
    [
        ({"tests": [RETENTION], "primary": None}, "no pretest"),
        ({"tests": [PRE, RETENTION | {"day": 0}]}, "test inside the programme called retention"),
        ({"tests": [PRE, {"phase": "posttest", "trials": 36}], "primary": None}, "no delayed test"),
        ({"tests": [PRE, RETENTION | {"interval_days": 0.5}]}, "short gap"),
        ({"tests": [PRE, RETENTION | {"interval_days": None}]}, "gap not stated"),
        ({"tests": [PRE, RETENTION | {"feedback": True}]}, "feedback in a test"),
        ({"tests": [PRE, RETENTION | {"trials": 6}]}, "short test"),
        ({"tests": [PRE, RETENTION | {"order": "random"}]}, "test order favours a group"),
        (
            {"tests": [PRE, RETENTION, {"phase": "transfer", "trials": 30, "interval_days": 7}]},
            "transfer not described",
        ),
        ({"tests": [PRE, RETENTION | {"effort": "maximal"}]}, "speed not recorded"),
        ({"allocation": {"method": "own"}}, "no random allocation"),
        ({"allocation": {}}, "no seed"),
        ({"allocation": {"unit": "class", "method": "cluster"}}, "clusters allocated"),
        ({"groups": TWO, "primary": None}, "no sample size"),
        ({"primary": None}, "no primary comparison"),
        ({"smallest_effect": None}, "no smallest effect of interest"),
        ({"tasks": [{"name": "straight"}]}, "nothing to order"),
        ({"tasks": [{"name": "straight"}, {"name": "bank"}]}, "tasks not described"),
        ({"practice": None}, "no dose"),
        ({"load": None}, "no load limit"),
        ({"stopping": None}, "no stopping rule"),
        ({"exclusions": None}, "no exclusion rules"),
        ({"skill": None}, "skill not classified"),
        ({"study": {"title": "t", "question": "q"}}, "no ethics approval"),
        ({"sample": {"age_low": 9}}, "minors"),
        (
            {"load": {"limits": [{"trials": 50, "per": "day", "source": "club"}]}},
            "load above the limit",
        ),
        (
            {"practice": [{"session": 1, "day": 0, "trials_per_block": 18}]},
            "feedback schedule not stated",
        ),
        ({"outcomes": [{"name": "radial_error", "better": "lower"}]}, "outcome without unit"),
        (
            {"primary": {"outcome": "radial_error", "groups": ["random"], "baseline": None}},
            "pretest not used",
        ),
    ],
)
def test_one_change_makes_its_hole(change, topic):
    assert topic not in topics(plan())
    assert topic in topics(plan(**change))


def test_small_groups_are_told_what_they_can_find():
    groups = [
        {"name": "a", "schedule": "blocked", "size": 11},
        {"name": "b", "schedule": "random", "size": 11},
    ]
    audit = ml.audit_design(plan(groups=groups, primary={"outcome": "radial_error"}))
    detectable = TTestIndPower().solve_power(nobs1=11, power=0.8, alpha=0.05)
    text = audit.table.set_index("topic").loc["small groups", "consequence"]
    assert f"d = {detectable:.2f}" in text


def test_load_counts_drills_warm_up_and_tests_and_high_effort_apart():
    load = throw_load(programme())
    weeks = load.weeks.set_index("week")
    # Week 1: three sessions of 60 trials, each after 10 warm-up trials. Week 4: 3 x 40 + 20.
    assert weeks.loc[1, ["practice", "tests", "warm_up", "total"]].tolist() == [180, 0, 30, 210]
    assert weeks.loc[4, ["practice", "tests", "total", "maximal"]].tolist() == [120, 20, 170, 140]
    assert weeks.loc[2, "change"] == 140 - 210


@pytest.mark.parametrize(
    ("per", "effort", "limit", "periods"),
    [
        ("week", "any", 169, ["week 1", "week 4"]),
        ("week", "maximal", 130, ["week 4"]),
        ("session", "any", 69, ["session 1", "session 2", "session 3"]),
        ("day", "any", 70, []),
    ],
)
def test_breaches_of_limits_are_found(per, effort, limit, periods):
    content = programme().model_dump(exclude_none=True)
    content["load"] = {"limits": [{"trials": limit, "per": per, "effort": effort, "source": "s"}]}
    design = ml.design.design_from_mapping(content)
    assert throw_load(design).breaches["period"].tolist() == periods


def test_nothing_predicts_injury():
    text = str(throw_load(ring_push())).lower()
    assert "predicts no injury" in text
    assert "health professional" in text
