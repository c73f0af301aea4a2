"""Holes in the tests of a plan: pretest, gap, feedback, length, effort, order."""

import math
from collections.abc import Iterator

from motorlearn import digits
from motorlearn.design import Design, Test
from motorlearn.measures import binomial_sem, smallest_detectable_change
from motorlearn.plan.audit.hole import Hole
from motorlearn.vocabulary import DELAYED_PHASES

_KANTAK = (
    "Kantak & Winstein 2012, Behav Brain Res 228:219-231, doi:10.1016/j.bbr.2011.11.028 "
    "(abstract read)"
)
_SALMONI = (
    "Salmoni, Schmidt & Walter 1984, Psychol Bull 95:355-386, doi:10.1037/0033-2909.95.3.355 "
    "(from memory)"
)
_USUAL_RATE = 0.6
_FEW_TRIALS = 10
_MANY_TESTS = 3


def pretest(design: Design) -> Iterator[Hole]:
    """Look for a test before practice."""
    if design.test("pretest") is None:
        yield Hole(
            "no pretest",
            "act",
            "tests",
            "no test comes before practice",
            "'learned' has no reference point: nobody can say how much of the later score was "
            "there from the start, and the comparison loses the gain of an adjustment",
            "add a pretest of the same kind and length as the retention test, without feedback",
        )
    elif design.primary is not None and design.primary.baseline is None:
        yield Hole(
            "pretest not used",
            "look",
            "primary.baseline",
            "there is a pretest, but the primary comparison does not adjust for it",
            "the same people give a less precise answer; with a correlation r between pretest and "
            "test an adjustment needs about 1 - r² of the participants",
            'set baseline = "pretest"',
            "algebra of the analysis of covariance",
        )


def tests_inside_the_programme(design: Design) -> Iterator[Hole]:
    """Tell progress tests from retention tests."""
    last = design.last_practice_day
    for test in design.tests:
        day = test.planned_day
        inside = last is not None and day is not None and day <= last
        if test.phase in DELAYED_PHASES and inside:
            yield Hole(
                "test inside the programme called " + test.phase,
                "act",
                f"tests: {test.label}",
                f"'{test.label}' is on day {day:g}, practice goes on until day {last:g}",
                "practice lies just before and after it, so it shows performance and no learning",
                'call it phase = "progress" and put the retention test after a gap',
                _KANTAK,
            )
    progress = [test.label for test in design.tests if test.phase == "progress"]
    if progress:
        yield Hole(
            "progress tests",
            "look",
            f"tests: {', '.join(progress)}",
            f"{_and(progress)} {'is a test' if len(progress) == 1 else 'are tests'} inside the "
            "programme, with recent practice behind",
            "they show progress in the programme; warm-up, fatigue and the practice of the day "
            "are in them, so they cannot show learning",
            "keep them to follow the programme, and let a delayed test carry the claim",
            _KANTAK,
        )


def _and(names: list[str]) -> str:
    return " and ".join(names) if len(names) < 3 else ", ".join(names)


def delayed_test(design: Design) -> Iterator[Hole]:
    """Look for a delayed test, and for a gap that is long enough."""
    if not design.has_delayed_test:
        yield Hole(
            "no delayed test",
            "act",
            "tests",
            "no retention or transfer test is planned",
            "the study shows performance; the word learning cannot be used",
            "add a retention test without feedback, a day or more after the last practice",
            _SALMONI,
        )
    for test in design.tests:
        if test.phase in DELAYED_PHASES:
            yield from _gap(test, design.last_practice_day)


def _gap(test: Test, last: float | None) -> Iterator[Hole]:
    gap = test.interval_days
    if gap is None and test.planned_day is not None and last is not None:
        gap = test.planned_day - last
    if gap is None:
        yield Hole(
            "gap not stated",
            "act",
            f"tests: {test.label}",
            "the time since the last practice is not given",
            "nobody can tell retention from performance, nor repeat the study",
            "give interval_days, and window_days for what is allowed",
        )
    elif 0 <= gap < 1:
        yield Hole(
            "short gap",
            "act",
            f"tests: {test.label}",
            f"it comes {gap * 24:g} hours after practice",
            "temporary effects of practice (fatigue, guidance, warm-up) have not gone",
            "wait a day at least, or call it posttest",
            _KANTAK,
        )


def feedback_in_tests(design: Design) -> Iterator[Hole]:
    """Look for feedback that is given in tests."""
    for test in design.tests:
        if test.feedback:
            yield Hole(
                "feedback in a test",
                "act",
                f"tests: {test.label}",
                "feedback is given",
                "the test is more practice and shows what people do while they are guided",
                "set feedback = false",
                _SALMONI,
            )


def length_of_tests(design: Design) -> Iterator[Hole]:
    """Say how blunt a count of hits is, and which tests are too short."""
    for test in design.tests:
        if test.trials < _FEW_TRIALS:
            yield Hole(
                "short test",
                "look",
                f"tests: {test.label}",
                f"{test.trials} trials",
                "chance decides much of one person's score, the more the less people differ",
                f"plan {_FEW_TRIALS} trials at least; 20 or more where hits are counted",
            )
    if all(outcome.name in ("hit", "hits", "hit_rate") for outcome in design.outcomes):
        trials = min(test.trials for test in design.tests)
        sem = float(binomial_sem(_USUAL_RATE, trials))
        change = float(smallest_detectable_change(sem))
        yield Hole(
            "hits only",
            "look",
            "outcomes",
            f"the only score is a count of hits out of {trials}",
            f"it is a blunt measure: at a hit rate of .6 chance alone gives a standard deviation "
            f"of {digits.number(sem, 1)} hits, and one person must change by about "
            f"{math.ceil(change)} hits before the change can be told from chance",
            "measure where each trial ended (x and y, or distance from the target), or give more "
            "trials; judge groups, not single people",
            "binomial distribution: 1.96 · sqrt(2) · sqrt(n p (1 - p)) at p = .6",
        )


def speed_and_accuracy(design: Design) -> Iterator[Hole]:
    """Look for accuracy at full speed without a record of speed."""
    maximal = [test.label for test in design.tests if test.effort == "maximal"]
    names = {outcome.name for outcome in design.outcomes}
    if maximal and not names & {"speed", "time"}:
        yield Hole(
            "speed not recorded",
            "act",
            "outcomes",
            f"accuracy is tested at maximal effort ({', '.join(maximal)}), speed is not an outcome",
            "hits at maximum velocity can rise because people slow down; a better score may be a "
            "traded one",
            "record the speed of each trial beside the hit and report both",
            "speed-accuracy trade-off; Fitts 1954, J Exp Psychol 47:381-391, doi:10.1037/h0055392 "
            "(from memory)",
        )
    cold = [
        test.label
        for test in design.tests
        if test.effort == "maximal" and not test.warm_up and not test.warm_up_trials
    ]
    if cold:
        yield Hole(
            "no warm-up rule",
            "look",
            f"tests: {', '.join(cold)}",
            "a test at maximal effort has no warm-up",
            "the first trials are a warm-up that differs between people, and a hazard",
            "fix a graded warm-up, the same for all, that is not scored",
        )


def repeated_testing(design: Design) -> Iterator[Hole]:
    """Say what many tests do where nobody is tested without the programme."""
    if len(design.tests) >= _MANY_TESTS and len(design.groups) == 1:
        yield Hole(
            "repeated testing",
            "look",
            "tests",
            f"the same people are tested {len(design.tests)} times",
            "being tested is practice too; its effect cannot be told from that of the programme",
            "add a group that is only tested, or fewer tests",
        )


def order_of_tests(design: Design) -> Iterator[Hole]:
    """Look for a retention test whose order favours one practice order."""
    kinds = {group.schedule for group in design.groups} & {"blocked", "serial", "random"}
    if len(kinds) < 2 or len(design.tasks) < 2:
        return
    for test in design.tests:
        if test.phase == "retention" and test.order != "blocked-and-random":
            yield Hole(
                "test order favours a group",
                "look",
                f"tests: {test.label}",
                f"the retention test is given in {test.order} order only",
                "it is like the practice of one group; test order and practice order interact",
                'set order = "blocked-and-random": half of each, counterbalanced',
                "Shea & Morgan 1979, J Exp Psychol Hum Learn Mem 5:179-187, "
                "doi:10.1037/0278-7393.5.2.179 (abstract read)",
            )


def transfer_differs(design: Design) -> Iterator[Hole]:
    """Look for a transfer test that is another retention test."""
    retention = design.test("retention")
    for test in design.tests:
        same = retention is not None and test.distance == retention.distance
        if test.phase == "transfer" and not test.description and same:
            yield Hole(
                "transfer not described",
                "look",
                f"tests: {test.label}",
                "nothing says how the transfer test differs from the retention test",
                "a transfer test that repeats the practised tasks is a second retention test",
                "describe the new distance, target or condition",
            )


RULES = (
    pretest,
    tests_inside_the_programme,
    delayed_test,
    feedback_in_tests,
    length_of_tests,
    speed_and_accuracy,
    repeated_testing,
    order_of_tests,
    transfer_differs,
)
