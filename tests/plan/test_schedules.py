import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import motorlearn as ml
from motorlearn.exceptions import InputError
from motorlearn.measures import longest_run, mean_lag, switch_rate
from motorlearn.plan import williams_design, williams_orders

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
@settings(max_examples=60, deadline=None)
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
        (("random", TASKS, 10), "take 9 or 12"),
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


def test_williams_design_names_tasks():
    design = williams_design(TASKS)
    assert design.shape == (6, 3)
    assert set(design.loc[1]) == set(TASKS)
    with pytest.raises(InputError, match="named twice"):
        williams_design(["a", "a"])
