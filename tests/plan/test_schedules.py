import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import motorlearn as ml
from motorlearn.design import design_from_mapping
from motorlearn.exceptions import InputError
from motorlearn.measures import longest_run, mean_lag, switch_rate
from motorlearn.plan import planned_trials, williams_design, williams_orders

TASKS = ["straight", "bank", "lob"]


def test_blocked_order_has_two_switches_and_lag_one():
    order = ml.make_schedule("blocked", TASKS, 18)["task"].tolist()
    assert order == ["straight"] * 6 + ["bank"] * 6 + ["lob"] * 6
    assert switch_rate(order) == 2 / 17
    assert mean_lag(order) == 1


def test_serial_order_switches_always_and_lag_is_the_number_of_tasks():
    order = ml.make_schedule("serial", TASKS, 18)["task"].tolist()
    assert switch_rate(order) == 1
    assert mean_lag(order) == 3


@given(
    tasks=st.integers(2, 5),
    cycles=st.integers(1, 4),
    blocks=st.integers(1, 4),
    cap=st.integers(1, 3),
    seed=st.integers(0, 10_000),
)
@settings(max_examples=60)
def test_random_orders_are_balanced_in_every_block_and_keep_the_cap(
    tasks, cycles, blocks, cap, seed
):
    size = tasks * cycles
    names = [f"t{i}" for i in range(tasks)]
    frame = ml.make_schedule(
        "random", names, size * blocks, block_size=size, seed=seed, max_run=cap
    )
    counts = frame.groupby("block")["task"].value_counts()
    assert set(counts) == {cycles}
    assert len(counts) == tasks * blocks
    assert longest_run(frame["task"].tolist()) <= cap


def test_random_orders_differ_by_seed_and_are_the_same_for_one():
    one, again, other = (ml.make_schedule("random", TASKS, 36, seed=s)["task"] for s in (1, 1, 2))
    assert one.equals(again)
    assert not one.equals(other)


def test_every_task_comes_first_equally_often():
    first = [ml.make_schedule("random", TASKS, 9, seed=s)["task"].iloc[0] for s in range(600)]
    counts = np.unique(first, return_counts=True)[1]
    assert counts.min() > 150


def test_variable_practice_never_repeats_and_constant_practice_never_changes():
    assert longest_run(ml.make_schedule("variable", TASKS, 60, seed=3)["task"].tolist()) == 1
    assert set(ml.make_schedule("constant", TASKS, 60)["task"]) == {"straight"}


def test_increasing_interference_goes_from_blocked_by_serial_to_random():
    order = ml.make_schedule("increasing", TASKS, 54, seed=2)["task"].to_numpy()
    rates = [switch_rate(part.tolist()) for part in np.split(order, 3)]
    assert rates[0] == 2 / 17
    assert rates[1] == 1
    assert 0.5 < rates[2] < 1
    assert set(np.unique(order, return_counts=True)[1]) == {18}


def test_blocks_that_do_not_hold_whole_cycles_still_balance_in_all():
    frame = ml.make_schedule("random", TASKS, 30, block_size=7, seed=4)
    assert set(frame["task"].value_counts()) == {10}
    spread = frame.groupby("block")["task"].value_counts().unstack(fill_value=0)
    assert (spread.max(axis=1) - spread.min(axis=1)).iloc[:-1].max() <= 1


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("zigzag", TASKS, 9), "no such schedule"),
        (("random", "ABC", 9), "must be a list of names"),
        (("random", TASKS, 10.5), "trials must be 1 or more, a whole number"),
        (("random", TASKS, "ten"), "trials must be a whole number"),
        (("random", TASKS, -3), "trials must be 1 or more"),
        (("random", ["a", "a"], 10), "named, each once"),
        (("random", [], 10), "named, each once"),
        (("serial", TASKS, 0), "trials must be 1 or more"),
    ],
)
def test_impossible_schedules_are_refused(arguments, words):
    with pytest.raises(InputError, match=words):
        ml.make_schedule(*arguments)


@pytest.mark.parametrize("n", range(2, 9))
def test_williams_designs_balance_position_and_carry_over(n):
    orders = williams_orders(n)
    follows = np.zeros((n, n), dtype=int)
    for order in orders:
        np.add.at(follows, (order[:-1], order[1:]), 1)
    times = 1 if n % 2 == 0 else 2
    assert (follows[~np.eye(n, dtype=bool)] == times).all()
    assert (np.diag(follows) == 0).all()
    for column in orders.T:
        assert set(np.bincount(column, minlength=n)) == {times}


def test_cyclic_orders_alone_would_not_balance_carry_over():
    cyclic = (np.arange(4) + np.arange(4)[:, None]) % 4
    pairs = {(a, b) for row in cyclic for a, b in itertools.pairwise(row)}
    assert len(pairs) < 12


@given(
    tasks=st.integers(1, 6),
    trials=st.integers(2, 70),
    size=st.integers(1, 40),
    cap=st.integers(1, 3),
    kind=st.sampled_from(["blocked", "serial", "random", "variable", "increasing"]),
    seed=st.integers(0, 10_000),
)
@settings(max_examples=300)
def test_every_count_has_an_order_that_is_as_even_as_can_be(tasks, trials, size, cap, kind, seed):
    names = [f"t{i}" for i in range(tasks)]
    frame = ml.make_schedule(kind, names, trials, block_size=size, seed=seed, max_run=cap)
    order = frame["task"].tolist()
    counts = frame["task"].value_counts().reindex(names, fill_value=0)
    assert counts.sum() == trials
    assert counts.max() - counts.min() <= 1
    if kind in ("random", "variable") and tasks > 1:
        blocks = pd.crosstab(frame["block"], frame["task"]).reindex(columns=names, fill_value=0)
        assert (blocks.max(axis=1) - blocks.min(axis=1)).max() <= 1
        assert longest_run(order) <= (1 if kind == "variable" else cap)


def test_two_tasks_that_never_repeat_alternate_across_blocks():
    for seed in range(200):
        order = ml.make_schedule("variable", ["A", "B"], 20, block_size=5, seed=seed)["task"]
        assert "".join(order) in ("AB" * 10, "BA" * 10)


def test_the_task_that_gets_the_extra_trial_of_a_random_order_is_drawn():
    more = [
        ml.make_schedule("random", TASKS, 20, seed=seed)["task"].value_counts().idxmin()
        for seed in range(300)
    ]
    assert pd.Series(more).value_counts().reindex(TASKS).min() > 70


def plan(tasks, *, size=20, block=20, test=20, max_run=None, kinds=("blocked", "random")):
    content = {
        "study": {"title": "Ring push"},
        "groups": [{"name": kind, "schedule": kind, "size": size} for kind in kinds],
        "tasks": [{"name": f"t{i}"} for i in range(tasks)],
        "practice": [{"session": 1, "day": 0, "blocks": 2, "trials_per_block": block}],
        "tests": [
            {"phase": "pretest", "trials": test},
            {"phase": "retention", "trials": test, "interval_days": 7},
        ],
        "outcomes": [{"name": "hit", "better": "higher", "low": 0, "high": 1}],
    }
    if max_run is not None:
        content["schedules"] = {"max_run": max_run}
    return design_from_mapping(content)


def listed(design):
    groups = np.repeat([group.name for group in design.groups], design.groups[0].size)
    order = np.random.default_rng(0).permutation(len(groups))
    names = [f"P{i + 1:02d}" for i in range(len(groups))]
    return pd.DataFrame({"participant": names, "group": groups[order]})


COMMON = [(3, 20), (2, 11), (2, 21), (2, 25), (2, 30), (3, 11), (3, 10), (3, 25), (4, 10), (5, 12)]


@pytest.mark.parametrize(("tasks", "trials"), COMMON)
def test_sheets_and_simulation_of_common_plans_are_made_and_balanced(tasks, trials):
    design = plan(tasks, block=trials, test=trials)
    people = listed(design)
    rows = planned_trials(design, people, seed=1).merge(people, on="participant")
    counts = rows.groupby(["participant", "phase"])["task"].value_counts().unstack(fill_value=0)
    assert (counts.max(axis=1) - counts.min(axis=1)).max() <= 1
    shuffled = rows[(rows["group"] == "random") | (rows["phase"] != "acquisition")]
    runs = shuffled.groupby(["participant", "phase"])["task"].agg(lambda x: longest_run(list(x)))
    assert runs.max() <= 2
    for (_, _), part in rows.groupby(["group", "phase"]):
        totals = part["task"].value_counts()
        assert totals.max() - totals.min() <= 1 + (tasks > 3)
    assert len(ml.simulate_study(design, seed=1, missing=False).trials.table) == len(rows)


def test_first_places_are_shared_within_one_however_many_people_there_are():
    for size in range(1, 14):
        design = plan(3, size=size, kinds=("blocked",))
        people = listed(design)
        rows = planned_trials(design, people, seed=size)
        first = rows[rows["phase"] == "acquisition"].groupby("participant")["task"].first()
        counts = first.value_counts().reindex(["t0", "t1", "t2"], fill_value=0)
        assert counts.max() - counts.min() <= 1


def test_the_longest_run_is_a_key_of_the_plan():
    runs = {}
    for cap in (1, 2, 4):
        design = plan(2, max_run=cap, kinds=("random",))
        rows = planned_trials(design, listed(design), seed=3)
        by_person = rows.groupby(["participant", "phase"])["task"]
        runs[cap] = by_person.agg(lambda x: longest_run(list(x))).max()
    assert runs == {1: 1, 2: 2, 4: 4}


def test_somebody_who_comes_late_changes_nobody_elses_order():
    design = plan(3, size=10)
    people = listed(design)
    late = pd.DataFrame({"participant": ["P99"], "group": ["blocked"]})
    before = planned_trials(design, people, seed=5)
    after = planned_trials(design, pd.concat([people, late], ignore_index=True), seed=5)
    assert after[after["participant"] != "P99"].reset_index(drop=True).equals(before)


def test_williams_design_names_tasks():
    design = williams_design(TASKS)
    assert design.shape == (6, 3)
    assert set(design.loc[1]) == set(TASKS)
    with pytest.raises(InputError, match="each once"):
        williams_design(["a", "a"])
