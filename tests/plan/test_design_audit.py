import pytest
from plans_of_tests import plan, programme, ring_push
from statsmodels.stats.power import FTestAnovaPower, TTestIndPower

import motorlearn as ml
from motorlearn.plan import Answers, throw_load, write_plan


def topics(design):
    return set(ml.audit_design(design).table["topic"])


# Enough people for the smallest effect of interest.
SOUND_GROUPS = [
    {"name": "blocked", "schedule": "blocked", "size": 80},
    {"name": "random", "schedule": "random", "size": 80},
]


def test_a_sound_plan_has_no_holes():
    assert topics(plan(groups=SOUND_GROUPS)) == set()


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
    assert "about 7 hits" in by_topic.loc["hits only", "consequence"]
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
            {
                "primary": {
                    "outcome": "radial_error",
                    "groups": ["random", "blocked"],
                    "baseline": None,
                }
            },
            "pretest not used",
        ),
        (
            {"tests": [PRE | {"day": 5}, RETENTION]},
            "pretest after practice",
        ),
        (
            {"tests": [PRE, RETENTION, {"phase": "transfer", "trials": 30, "interval_days": 3}]},
            "transfer before retention",
        ),
        (
            {"tests": [PRE, {"phase": "posttest", "trials": 30, "interval_days": 3}, RETENTION]},
            "posttest long after practice",
        ),
        (
            {"tests": [PRE, {"phase": "posttest", "trials": 30, "interval_days": 3}, RETENTION]},
            "test inside the gap",
        ),
        (
            {"tests": [PRE, RETENTION | {"effort": "maximal", "interval_days": 1}]},
            "little rest before a maximal test",
        ),
        ({"tests": [PRE, RETENTION | {"window_days": 6}]}, "window as wide as the gap"),
        ({"tests": [PRE | {"trials": 10}, RETENTION | {"trials": 60}]}, "tests of unequal length"),
        ({"allocation": {"seed": 5, "block_size": 2}}, "next allocation is known"),
        ({"tests": [PRE | {"blinded": False}, RETENTION]}, "testers know the groups"),
        ({"assumptions": None}, "size rests on nothing"),
        (
            {"groups": [SOUND_GROUPS[0] | {"size": 24}, SOUND_GROUPS[1] | {"size": 24}]},
            "smallest effect not found",
        ),
        (
            {
                "assumptions": {"baseline": 38, "between_sd": 2, "within_sd": 20, "gain": 12},
                "tests": [PRE | {"trials": 12}, RETENTION | {"trials": 12}],
            },
            "unreliable scores",
        ),
        (
            {
                "primary": {
                    "outcome": "radial_error",
                    "groups": ["random", "blocked"],
                    "effect": "ratio",
                },
                "smallest_effect": {"value": 3},
            },
            "smallest effect is no likely ratio",
        ),
    ],
)
def test_one_change_makes_its_hole(change, topic):
    assert topic not in topics(plan(groups=SOUND_GROUPS))
    assert topic in topics(plan(**{"groups": SOUND_GROUPS, **change}))


def test_what_a_plan_can_find_is_one_row_from_its_own_numbers():
    audit = ml.audit_design(plan(groups=SOUND_GROUPS))
    row = audit.finds.iloc[0]
    # Variance of a mean of 36 trials: 6.5² + 15²/36; of 30 trials: 6.5² + 15²/30.
    after, before = 6.5**2 / (6.5**2 + 225 / 36), 6.5**2 / (6.5**2 + 225 / 30)
    assert row["reliability"] == pytest.approx(after)
    assert row["reliability_baseline"] == pytest.approx(before)
    r = 0.8 * (after * before) ** 0.5
    assert row["correlation"] == pytest.approx(r)
    sd = (6.5**2 + 225 / 36) ** 0.5 * (1 - r**2) ** 0.5
    power = TTestIndPower().power(2.5 / sd, nobs1=80, ratio=1, alpha=0.05)
    assert row["power"] == pytest.approx(power, abs=1e-6)
    wanted = TTestIndPower().solve_power(nobs1=80, power=0.8, alpha=0.05) * sd
    assert row["detectable"] == pytest.approx(wanted, abs=1e-4)
    assert "with a power of 80 %" in audit.statements[0]
    assert "What this plan can find" in [table.title for table in audit.tables()]


def test_a_new_plan_does_not_switch_the_rule_on_blinding_off(tmp_path):
    assert "blinding not stated" in topics(ml.read_design(write_plan(tmp_path / "p", Answers())))


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


def test_three_groups_together_are_found_by_the_f_test():
    groups = [{**SOUND_GROUPS[0], "name": name, "size": 20} for name in ("usual", "a", "b")]
    primary = {"outcome": "radial_error", "groups": ["b", "a", "usual"], "baseline": None}
    row = ml.audit_design(plan(groups=groups, primary=primary)).finds.iloc[0]
    d = row["detectable"] / (6.5**2 + 225 / 36) ** 0.5
    power = FTestAnovaPower().power(d * 2**0.5 / 3, 60, 0.05, k_groups=3)
    assert power == pytest.approx(0.8, abs=1e-4)
    assert row["n"] == "20 people in each group"


@pytest.mark.parametrize(
    ("aim", "words"), [("equivalence", "claims equi"), ("non-inferiority", "claims non")]
)
def test_claims_against_a_bound_are_found_as_often_as_in_the_simulation(aim, words):
    primary = {"outcome": "radial_error", "groups": ["random", "blocked"], "aim": aim}
    design = plan(groups=SOUND_GROUPS, primary=primary, smallest_effect={"value": 3.5})
    audit = ml.audit_design(design)
    table = ml.power(design, n=SOUND_GROUPS[0]["size"], simulations=3000, seed=1).table
    simulated = table.set_index("effect_name").loc["none", "power"]
    assert audit.finds["power"].iloc[0] == pytest.approx(simulated, abs=0.03)
    assert words in audit.statements[0]
    few = [{**group, "size": 8} for group in SOUND_GROUPS]
    assert f"{aim} hardly claimed" in topics(
        plan(groups=few, primary=primary, smallest_effect={"value": 3.5})
    )


@pytest.mark.parametrize(
    ("allocation", "words"),
    [
        ({"seed": 1, "block_size": 4}, "guesses 71 % of the next ones right (chance: 50 %)"),
        ({"seed": 1, "method": "simple"}, "guesses 50 % of the next ones right"),
        ({"seed": 1, "method": "minimisation"}, "guesses 80 % of the next ones right"),
        ({"method": "own"}, ""),
    ],
)
def test_the_audit_says_how_well_the_next_allocation_can_be_told(allocation, words):
    """Two groups in blocks of four: (1/2 + 2/3 + 2/3 + 1) / 4 = .708 (Blackwell & Hodges 1957)."""
    said = " ".join(ml.audit_design(plan(allocation=allocation)).statements)
    assert ("next ones right" in said) == bool(words)
    assert words in said
