"""What a plan says that cannot be true at once: each is named with the keys that disagree."""

import itertools
from collections.abc import Callable, Iterator, Sequence
from typing import Final

from motorlearn.design.chosen import interim_clauses, multiverse_clauses
from motorlearn.design.named_places import unknown_places, worst_of_no_outcome
from motorlearn.design.practice import Practice
from motorlearn.design.ratio import group_ratio
from motorlearn.design.schema import Design
from motorlearn.design.sections import Test
from motorlearn.vocabulary import COLUMNS, DELAYED_PHASES, PRACTICE_PHASE

UNITS: Final = {
    "length": ("mm", "cm", "m", "in", "ft"),
    "time": ("ms", "s", "min", "h"),
    "speed": ("m/s", "cm/s", "km/h", "mph"),
}
"""Units that numbers can be turned into one another from, by quantity."""


def contradictions(design: Design) -> list[str]:
    """List what disagrees in a plan, in one clause each."""
    return [clause for rule in _RULES for clause in rule(design)]


def _sessions(design: Design) -> Iterator[str]:
    told = [clause for name in design.group_names for clause in _order(design.practice_of(name))]
    yield from dict.fromkeys(told)
    for entry in design.practice:
        if entry.maximal_trials is not None and entry.maximal_trials > entry.trials:
            yield (
                f"practice.maximal_trials: {entry.maximal_trials} of the {entry.trials} trials of "
                f"session {entry.session}; give as many as the session has at most"
            )


def _order(practice: Sequence[Practice]) -> Iterator[str]:
    """What is wrong with the numbers and days of one group's sessions."""
    numbers = [entry.session for entry in practice]
    twice = sorted({number for number in numbers if numbers.count(number) > 1})
    if twice:
        yield (
            f"practice.session {_listed(twice)} is given twice; number the sessions once each, or "
            "say in practice.groups who practises which"
        )
    inorder = sorted(practice, key=lambda entry: entry.session)
    for earlier, later in itertools.pairwise(inorder):
        if later.day < earlier.day:
            yield (
                f"practice.day: session {later.session} is on day {later.day:g}, before session "
                f"{earlier.session} on day {earlier.day:g}; number the sessions in order of time"
            )


def _days_of_tests(design: Design) -> Iterator[str]:
    last = design.last_practice_day
    for test in design.tests:
        if _disagree(test, last):
            yield (
                f"tests.day and tests.interval_days: {test.label} is on day {test.day:g}, which is "
                f"{(test.day or 0.0) - (last or 0.0):g} days after the last practice and not "
                f"{test.interval_days:g}; keep one of the two keys"
            )


def _names_of_tests(design: Design) -> Iterator[str]:
    named = [(test.phase, test.name.casefold()) for test in design.tests if test.name]
    for phase, name in dict.fromkeys(pair for pair in named if named.count(pair) > 1):
        yield (
            f"tests.name: {named.count((phase, name))} tests of {phase} are called {name!r}, so "
            "that no row says which of them it belongs to; give each a name of its own"
        )


def _disagree(test: Test, last: float | None) -> bool:
    if test.phase not in DELAYED_PHASES or None in (test.day, test.interval_days, last):
        return False
    gap = (test.day or 0.0) - (last or 0.0)
    # A day inside the programme is an error of its own, which the audit names.
    return gap > 0 and abs(gap - (test.interval_days or 0.0)) >= 1


def _primary(design: Design) -> Iterator[str]:
    primary = design.primary
    if primary is None:
        return
    named = primary.groups
    if len(named) == 1 or len(set(named)) < len(named):
        yield (
            f"primary.groups names {_listed(named)}; a comparison needs two different groups, "
            "the first minus the second"
        )
    named = tuple(test.label for test in design.tests if test.phase == primary.phase)
    if primary.test and primary.test not in named:
        yield (
            f"primary.test {primary.test!r} is not the name of a {primary.phase} test; choose one "
            f"of {', '.join(named)}"
        )
    if primary.aim not in ("difference", "superiority") and design.smallest_effect is None:
        yield (
            f"primary.aim is {primary.aim!r} and smallest_effect is missing, which is its bound; "
            "declare it"
        )
    if primary.baseline is None or "baseline" not in primary.model_fields_set:
        return
    known = tuple(phase for phase in design.phases if phase != PRACTICE_PHASE)
    if primary.baseline == primary.phase:
        yield (
            f"primary.baseline is {primary.baseline!r}, the primary test itself; name a test "
            "before practice"
        )
    elif primary.baseline not in (*known, PRACTICE_PHASE):
        yield (
            f"primary.baseline {primary.baseline!r} is not a test of this plan; choose one of "
            f"{', '.join(known)}"
        )


def _times(design: Design) -> Iterator[str]:
    """Times on a log scale are compared as ratios."""
    primary = design.primary
    outcome = None if primary is None else design.outcome(primary.outcome)
    rules = None if outcome is None else outcome.times
    if primary is None or rules is None or rules.scale == "raw" or primary.effect == "ratio":
        return
    yield (
        f"primary.effect is {primary.effect!r} and times.scale of {primary.outcome!r} is 'log', "
        "which is compared as a ratio; write effect = 'ratio', or scale = 'raw'"
    )


def _adjusted(design: Design) -> Iterator[str]:
    """What the primary comparison cannot be adjusted for, or counted in."""
    primary = design.primary
    if design.factors and design.within is not None:
        yield "[[factors]] are between people and [within] is not; keep one of the two"
    if primary is None:
        return
    smallest = design.smallest_effect
    if smallest is not None and smallest.unit == "baseline sd" and primary.baseline is None:
        yield (
            "smallest_effect.unit is 'baseline sd' and the primary comparison has no baseline; "
            "count the bound in another SD, or name primary.baseline"
        )
    twice = sorted({one for one in primary.covariates if primary.covariates.count(one) > 1})
    taken = [one for one in primary.covariates if one in {f.name for f in design.factors}]
    if twice or taken or primary.baseline in primary.covariates:
        yield (
            f"primary.covariates names {_listed(primary.covariates)}; name each once, and neither "
            "the baseline nor a factor"
        )


def _ranges(design: Design) -> Iterator[str]:
    for outcome in design.outcomes:
        if outcome.low is not None and outcome.high is not None and outcome.low >= outcome.high:
            yield (
                f"outcomes.low {outcome.low:g} is not below outcomes.high {outcome.high:g} "
                f"({outcome.name}); swap or correct them"
            )
    sample = design.sample
    if None not in (sample.age_low, sample.age_high):
        low, high = sample.age_low or 0.0, sample.age_high or 0.0
        if low > high:
            yield f"sample.age_low {low:g} is above sample.age_high {high:g}; swap or correct them"


def _analyses(design: Design) -> Iterator[str]:
    known = {outcome.name for outcome in design.outcomes} | set(COLUMNS)
    for number, entry in enumerate(design.analyses):
        if entry.outcome not in known:
            yield (
                f"analyses.{number}.outcome {entry.outcome!r} is not among the outcomes: "
                f"{', '.join(outcome.name for outcome in design.outcomes)}"
            )
        if entry.phase not in design.phases:
            yield (
                f"analyses.{number}.phase {entry.phase!r} is not in this plan: "
                f"{', '.join(design.phases)}"
            )


def _blocks(design: Design) -> Iterator[str]:
    way = design.allocation
    if way.block_size is None or way.method not in ("blocks", "cluster") or len(design.groups) < 2:
        return
    given = (way.block_size,) if isinstance(way.block_size, int) else way.block_size
    ratio = group_ratio([group.size for group in design.groups])
    bad = [size for size in given if size % sum(ratio)]
    if bad or not given:
        why = (
            f"{len(ratio)} groups"
            if len(set(ratio)) == 1
            else f"groups.size in the ratio {':'.join(map(str, ratio))}"
        )
        yield (
            f"allocation.block_size {_listed(bad)} does not hold {why}; take a multiple of "
            f"{sum(ratio)}"
        )


def _units(design: Design) -> Iterator[str]:
    for quantity, unit in design.units.items():
        known = UNITS.get(quantity)
        if known is not None and unit not in known:
            yield f"units.{quantity} {unit!r} is not known; choose one of {', '.join(known)}"


def _assumed(design: Design) -> Iterator[str]:
    assumed = design.assumptions
    outcome = design.outcome(design.primary.outcome) if design.primary else design.outcomes[0]
    if assumed is None or outcome is None or outcome.name in ("hit", "hits", "hit_rate"):
        return
    low = outcome.low
    room = assumed.baseline - (low or 0.0)
    # Scores that fall with practice end at 0, unless the plan says that they go below.
    floor = low is not None or assumed.baseline > 0
    if outcome.better == "lower" and floor and assumed.gain >= room:
        below = "" if low is not None else ", or set outcomes.low where scores go below 0"
        yield (
            f"assumptions.gain {assumed.gain:g} takes {outcome.name} from assumptions.baseline "
            f"{assumed.baseline:g} to its lower bound or below; assume a smaller gain{below}"
        )
    high = outcome.high
    if outcome.better == "higher" and high is not None and assumed.baseline + assumed.gain >= high:
        yield (
            f"assumptions.gain {assumed.gain:g} takes {outcome.name} from assumptions.baseline "
            f"{assumed.baseline:g} to outcomes.high {high:g} or above; assume a smaller gain"
        )


def _listed(values: object) -> str:
    names = [str(value) for value in values] if isinstance(values, tuple | list) else [str(values)]
    return " and ".join(names) if len(names) < 3 else ", ".join(names)


def _landmarks(design: Design) -> Iterator[str]:
    """Items scored on landmarks are items of the checklist, scored on its scale."""
    if design.landmarks is None or design.checklist is None:
        return
    checklist = design.checklist
    known = {entry.name for entry in checklist.items}
    for entry in design.landmarks.items:
        if entry.item not in known:
            yield (
                f"landmarks.items: {entry.item!r} is not on the checklist; name one of "
                f"{', '.join(sorted(known))}"
            )
        scores = [entry.otherwise, *(score for _, _, score in entry.bands)]
        beyond = sorted({one for one in scores if not checklist.low <= one <= checklist.high})
        if beyond:
            yield (
                f"landmarks.items: {entry.item!r} gives {_listed(beyond)}, beyond the checklist's "
                f"scale from {checklist.low} to {checklist.high}"
            )


_RULES: Final[tuple[Callable[[Design], Iterator[str]], ...]] = (
    _sessions,
    _days_of_tests,
    _names_of_tests,
    _primary,
    _times,
    _adjusted,
    _ranges,
    _analyses,
    _blocks,
    _units,
    _assumed,
    _landmarks,
    unknown_places,
    worst_of_no_outcome,
    multiverse_clauses,
    interim_clauses,
)
