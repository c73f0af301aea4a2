"""The floor: hand answers, mirrored directions, walls, refusals."""

import math

import pytest

from motorlearn.exceptions import InputError
from motorlearn.teaching.aiming.floor import BOARD, FARTHER, SPEEDS, WALL, roll
from motorlearn.teaching.aiming.rehearsal import perfect_push

TASKS = ("straight", "bank", "lob")


@pytest.mark.parametrize("task", TASKS)
@pytest.mark.parametrize("farther", [0.0, FARTHER])
def test_every_target_can_be_hit(task, farther):
    direction, speed = perfect_push(task, farther)
    assert SPEEDS[0] < speed < SPEEDS[1]
    rest = roll(task, direction, speed, farther=farther)
    assert rest.radial_error == pytest.approx(0, abs=1e-9)
    assert rest.stopped_by == ""


def test_straight_by_hand():
    rest = roll("straight", 30, 600)
    assert (rest.x, rest.y) == pytest.approx((150, 300 * math.sqrt(3) / 2 - 400))


def test_lob_goes_to_the_other_side_with_the_square_of_speed():
    left, right = roll("lob", -20, 800), roll("lob", 20, 800)
    assert left.x > 0 > right.x and left.x == pytest.approx(-right.x)
    reach = [roll("lob", 0, speed).y + 400 for speed in (400, 800)]
    assert reach[1] == pytest.approx(4 * reach[0])


def test_the_wall_stops_the_direct_way_and_the_board_sends_the_ring_back():
    direct = roll("bank", math.degrees(math.atan2(-40, 360)), 1200)
    assert direct.stopped_by == "wall" and direct.y == WALL[2] - 360
    _, corner, end = roll("bank", 40, 900).path
    assert corner[0] == BOARD and end[0] < BOARD
    # Angle of incidence is angle of reflection: the slopes differ in sign only.
    slope = corner[0] / corner[1]
    assert (end[0] - corner[0]) / (end[1] - corner[1]) == pytest.approx(-slope)


@pytest.mark.parametrize(
    ("task", "direction", "speed"),
    [
        ("hop", 0, 800),
        ("straight", 120, 800),
        ("straight", float("nan"), 800),
        ("straight", 0, 5),
        ("straight", 0, 9000),
        ("straight", 0, float("inf")),
    ],
)
def test_what_is_no_push_is_refused(task, direction, speed):
    with pytest.raises(InputError):
        roll(task, direction, speed)
