"""The sitting: consent, order, pause, what is shown and what is kept."""

import collections

import pytest
from aiming_players import play

from motorlearn.exceptions import InputError
from motorlearn.teaching.aiming import Sitting, class_plan, make_programme
from motorlearn.vocabulary import COLUMNS


def test_nothing_is_pushed_or_kept_before_consent():
    sitting = Sitting(make_programme(1, class_seed=1))
    assert sitting.page(0) == "consent"
    with pytest.raises(InputError, match="consent"):
        sitting.push(0, 800, now=1)
    assert sitting.records().empty


def test_withdrawing_deletes_the_pushes():
    sitting = play(1, pushes=20).withdraw()
    assert sitting.page(100) == "left" and sitting.records().empty
    with pytest.raises(InputError):
        sitting.push(0, 800, now=200)


def test_groups_are_even_in_every_pair_of_seats_and_by_lot():
    groups = [make_programme(seat, class_seed=3).group for seat in range(1, 41)]
    assert all(set(groups[i : i + 2]) == {"blocked", "random"} for i in range(0, 40, 2))
    assert 4 <= sum(groups[i] == "blocked" for i in range(0, 40, 2)) <= 16
    assert groups != [make_programme(seat, class_seed=4).group for seat in range(1, 41)]


@pytest.mark.parametrize("seat", [1, 2, 11, 200])
def test_every_seat_gets_the_planned_counts(seat):
    programme = make_programme(seat, class_seed=9)
    counts = collections.Counter((push.phase, push.task) for push in programme.pushes)
    plan = class_plan()
    tasks = [task.name for task in plan.tasks]
    assert {counts[("acquisition", task)] for task in tasks} == {18}
    for test in plan.tests:
        assert {counts[(test.phase, task)] for task in tasks} == {test.trials / 3}
    assert {push.feedback for push in programme.pushes if push.phase != "acquisition"} == {False}


def test_blocked_finishes_a_task_and_random_mixes_within_each_block():
    for seat in range(1, 13):
        programme = make_programme(seat, class_seed=2)
        practice = [push for push in programme.pushes if push.phase == "acquisition"]
        for block in (1, 2, 3):
            tasks = {push.task for push in practice if push.block == block}
            assert len(tasks) == (1 if programme.group == "blocked" else 3)


def test_blocked_group_meets_all_six_orders_of_the_tasks():
    orders = set()
    for seat in range(1, 13):
        programme = make_programme(seat, class_seed=5)
        if programme.group == "blocked":
            orders.add(tuple(p.task for p in programme.pushes if p.phase == "acquisition")[::18])
    assert len(orders) == 6


@pytest.mark.parametrize("seat", [0, -1, 201, 1.5])
def test_a_seat_that_is_no_seat_is_refused(seat):
    with pytest.raises(InputError, match="seat"):
        make_programme(seat, class_seed=1)


def test_retention_waits_for_the_pause_and_nothing_else_does():
    sitting = play(4, pushes=78)
    last = sitting.landings[-1].elapsed
    assert sitting.due.phase == "retention"
    assert sitting.page(last + 100) == "pause"
    assert sitting.wait(last + 100) == pytest.approx(140)
    assert sitting.screen(last + 100.6)["wait"] == 140, "never less than there is to wait"
    with pytest.raises(InputError, match="pause"):
        sitting.push(0, 800, now=last + 239)
    assert sitting.push(0, 800, now=last + 240).page(last + 245) == "floor"
    assert all(play(4, pushes=n).wait(0) == 0 for n in (0, 12, 66, 90))


def test_tests_show_nothing_of_where_the_ring_stops():
    for pushes in (1, 12, 70, 80, 95):
        outcome = play(2, pushes=pushes, noise=1).outcome()
        assert outcome["path"] == [(0.0, 0.0)]
        assert not any(character.isdigit() for character in outcome["words"])


def test_practice_tells_where_the_ring_stopped():
    outcome = play(2, pushes=13).outcome()
    assert len(outcome["path"]) >= 2 and outcome["words"].startswith("Hit: 0 cm")
    missed = play(2, pushes=12).push(-15, 700, now=1000)
    words = missed.outcome()["words"]
    assert words.startswith("Missed by")
    side = "left" if missed.landings[-1].rest.x < 0 else "right"
    assert f"cm {side}" in words


def test_records_are_in_the_standard_columns_without_anything_about_the_person():
    records = play(7).records()
    assert len(records) == 102
    extra = set(records.columns) - set(COLUMNS)
    assert extra == {"device", "elapsed", "class_seed"}
    assert (records["radial_error"] < 0.2).all() and (records["hit"] == 1).all()
    assert (records.query("phase != 'acquisition'")["feedback"] == 0).all()


def test_an_unknown_device_is_refused():
    with pytest.raises(InputError, match="joystick"):
        play(1, pushes=0).push(0, 800, now=1, device="joystick")


def test_a_sitting_is_never_changed():
    before = play(1, pushes=3)
    before.push(0, 800, now=100)
    assert len(before.landings) == 3


def test_after_the_last_push_nothing_is_due():
    sitting = play(6)
    assert sitting.ended and sitting.page(10_000) == "end"
    with pytest.raises(InputError, match="every push"):
        _ = sitting.due
