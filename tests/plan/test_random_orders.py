"""The next task of a random order: drawn among those, and only those, that leave the rest possible.

The reference is the definition itself: every way to go on is tried.
"""

import itertools

from motorlearn.plan.schedules.random_orders import _edges


def possible(left: tuple[int, ...], last: int, run: int, cap: int) -> bool:
    """Whether the trials that are left can be put in an order under the cap, by trying them all."""
    if not any(left):
        return True
    for task, count in enumerate(left):
        longer = run + 1 if task == last else 1
        rest = tuple(n - (other == task) for other, n in enumerate(left))
        if count and longer <= cap and possible(rest, task, longer, cap):
            return True
    return False


def test_a_task_may_come_next_exactly_where_the_rest_can_follow():
    tried = 0
    for left in itertools.product(range(5), repeat=3):
        for last, run, cap in itertools.product((-1, 0, 2), (1, 2), (1, 2, 3)):
            if not any(left) or run > cap:
                continue
            expected = []
            for task, count in enumerate(left):
                longer = run + 1 if task == last else 1
                rest = tuple(n - (other == task) for other, n in enumerate(left))
                goes = count and longer <= cap and possible(rest, task, longer, cap)
                expected.append(count if goes else 0)
            edges = _edges(list(left), sum(left) - 1, last, run, cap)
            assert edges == list(itertools.accumulate(expected))
            tried += 1
    assert tried > 1500
