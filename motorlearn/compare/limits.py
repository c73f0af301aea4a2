"""What a design cannot show: values in a result, said in sentences beside its numbers."""

from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from motorlearn import digits
from motorlearn.compare.participants import PhaseScores
from motorlearn.results import register_record
from motorlearn.vocabulary import DELAYED_PHASES, PHASE_LABELS, PHASES, PRACTICE_PHASE

FEW_TRIALS = 10
"""Trials below which one person's score is called weak (common practice, no source)."""
TINY_GROUP = 5
"""People below which a group is called very small (common practice, no source)."""
FEW_CLUSTERS = 6
"""Allocated classes in a group below which they are no basis (common practice, no source)."""


@register_record
@dataclass(frozen=True)
class Limit:
    """One thing that a comparison cannot show.

    Parameters
    ----------
    kind : str
        What it is about, one of ``KINDS``.
    names : tuple of str
        Tests, groups or participants that it concerns.
    low, high : tuple of int
        Numbers that go with ``names``: of trials, or of people.
    of : int
        Participants or groups altogether.
    values : tuple of float
        Standard deviations that go with ``low``, that within all groups together, and last a rate.
    outcome : str
        Outcome that it is about, where a reader sees several.
    """

    kind: str
    names: tuple[str, ...] = ()
    low: tuple[int, ...] = ()
    high: tuple[int, ...] = ()
    of: int = 0
    values: tuple[float, ...] = ()
    outcome: str = ""

    def sentence(self, name_of: Callable[[str], str] = str) -> str:
        """Say it, with tests called as ``name_of`` calls them."""
        return KINDS[self.kind](self, name_of)


def design_limits(data: PhaseScores, baseline: Hashable | None) -> tuple[Limit, ...]:
    """What these data cannot show, the weightiest first."""
    return tuple(_limits(data, baseline))


def losses(data: PhaseScores) -> list[str]:
    """Participants without a score in some phase, with their group."""
    lost = np.flatnonzero(np.isnan(data.scores).any(axis=1))
    return [f"{data.participants[i]} ({data.groups[data.codes[i]]})" for i in lost]


def listed(names: Sequence[str], most: int = 12) -> str:
    """Names joined by commas; after so many the rest is counted."""
    rest = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + rest


def _limits(data: PhaseScores, baseline: Hashable | None) -> Iterator[Limit]:
    groups, standard = len(data.groups), set(data.phases) & set(PHASES)
    if len(data.phases) > 1 and not (np.isfinite(data.scores).sum(axis=1) > 1).any():
        yield Limit("nobody twice")
    if groups == 1:
        yield Limit("one group")
    if baseline is None and standard and "pretest" not in data.phases:
        yield Limit("no pretest", of=groups)
    elif baseline is None and groups > 1:
        yield Limit("no baseline named")
    if standard and not standard & set(DELAYED_PHASES):
        yield Limit("no delayed test")
    if PRACTICE_PHASE in data.phases:
        yield Limit("practice")
    if "progress" in data.phases:
        yield Limit("progress")
    yield from _of_trials(data)
    sizes = np.bincount(data.codes, minlength=groups)
    small = np.flatnonzero(sizes < TINY_GROUP)
    if small.size:
        names, counts = (data.groups[i] for i in small), (int(sizes[i]) for i in small)
        yield Limit("tiny groups", tuple(map(str, names)), tuple(counts))
    if lost := losses(data):
        yield Limit("losses", tuple(lost), of=len(data.participants))


def _of_trials(data: PhaseScores) -> Iterator[Limit]:
    done = [counts[counts > 0] for counts in data.trials.T]
    spans = [
        (str(phase), int(own.min()), int(own.max())) for phase, own in zip(data.phases, done)
        if own.size
    ]  # fmt: skip
    unequal = [span for span in spans if span[1] < span[2]]
    if unequal:
        yield _spanned("unequal trials", unequal)
    # One row per person and phase means that the table was aggregated, not that one trial was done.
    few = [span for span in spans if span[2] > 1 and span[1] < FEW_TRIALS]
    if few:
        yield _spanned("few trials", few)


def _spanned(kind: str, spans: list[tuple[str, int, int]]) -> Limit:
    names, low, high = zip(*spans)
    return Limit(kind, names, low, high)


def _no_pretest(limit: Limit, name_of: Callable[[str], str]) -> str:
    groups = " and differences between groups may have been there from the start"
    return (
        "There is no test before practice, so no change from a starting point can be stated"
        f"{groups if limit.of > 1 else ''}."
    )


def _unequal(limit: Limit, name_of: Callable[[str], str]) -> str:
    spans = [
        f"{low} to {high} in {name_of(name)}"
        for name, low, high in zip(limit.names, limit.low, limit.high)
    ]
    return (
        f"Participants' scores rest on unequal numbers of trials ({listed(spans)}) and count alike "
        "here; a mixed model weighs them by what they hold."
    )


def _few(limit: Limit, name_of: Callable[[str], str]) -> str:
    few = [f"{name_of(name)}: {low}" for name, low in zip(limit.names, limit.low)]
    return (
        f"Some scores rest on fewer than {FEW_TRIALS} trials ({listed(few)} at the least; a rule "
        "of thumb): they say little about one person, and noise in the baseline weakens the "
        "adjustment."
    )


def _tiny(limit: Limit, name_of: Callable[[str], str]) -> str:
    small = [f"{name} has {n}" for name, n in zip(limit.names, limit.low)]
    return (
        f"Some groups are very small ({listed(small)}): intervals are wide and rest on the assumed "
        "shape of the distribution."
    )


def _lost(limit: Limit, name_of: Callable[[str], str]) -> str:
    one = len(limit.names) == 1
    return (
        f"{len(limit.names)} of {limit.of} participants {'has' if one else 'have'} no score in at "
        f"least one phase and {'stands' if one else 'stand'} outside the mixed analysis of "
        f"variance: {listed(limit.names)}; if they differ from the others, the complete cases do "
        "not speak for all."
    )


def _lost_in_clusters(limit: Limit, name_of: Callable[[str], str]) -> str:
    has = "has" if len(limit.names) == 1 else "have"
    return (
        f"{len(limit.names)} of {limit.of} participants {has} no score in at least one phase: "
        f"{listed(limit.names)}; the mean there is that of the others who were allocated with them."
    )


def _spread(pooling: str) -> Callable[[Limit, Callable[[str], str]], str]:
    def said(limit: Limit, name_of: Callable[[str], str]) -> str:
        phase, *groups = limit.names
        sides = " and ".join(
            f"{name} (n = {size}, SD {digits.significant(sd)})"
            for name, size, sd in zip(groups, limit.low, limit.values)
        )
        where = f"{name_of(phase)} in {limit.outcome}" if limit.outcome else name_of(phase)
        return (
            f"Groups differ in spread at {where}: {sides}; the SD within all groups together is "
            f"{digits.significant(limit.values[2])}. {pooling} all groups one "
            "variance; with these numbers such a test at 5 % finds a difference that is not there "
            f"in about {digits.percent(limit.values[-1])} of studies. Welch's t keeps its rate, "
            "and so does the analysis of covariance with a variance for each group; the mixed "
            "model of scores then keeps it too, but for a small wide group of which some missed "
            "a test (7.7 % of 2,000 simulated studies)."
        )

    return said


def _few_hits(limit: Limit, name_of: Callable[[str], str]) -> str:
    return (
        f"With fewer than {limit.of} people a group the mixed model of hits does not hold 5 %: in "
        "2,000 simulated studies of six a group without a difference it called 2.9 to 3.8 % "
        "significant where people differed little, and up to 6.6 % where they differed much."
    )


def _few_missing(limit: Limit, name_of: Callable[[str], str]) -> str:
    return (
        f"With fewer than {limit.of} people a group, some of whom missed a test, the mixed model "
        "does not hold 5 %: in 2,000 simulated studies of six a group with 15 % of scores missing "
        "it called 6.7 to 7.3 % without a difference significant; the analysis of covariance 5.3 %."
    )


def _clusters(limit: Limit, name_of: Callable[[str], str]) -> str:
    (unit, phase), (means, smallest, largest) = limit.names, limit.low
    icc, effect, counts_as = limit.values
    sizes = (
        f"{smallest} to {largest} people" if smallest < largest else digits.count(largest, "person")
    )
    said = (
        f"What was allocated is the {unit}, not the person: the means of {means} of them "
        f"({sizes} each, {limit.of} altogether) are compared"
    )
    if not np.isfinite(effect):
        return said + "."
    return (
        f"{said}. At {name_of(phase)} people of one {unit} resemble one another (ICC "
        f"{digits.number(icc)}), so that {limit.of} people count as about {counts_as:.0f} (design "
        f"effect {digits.number(effect, 1)})."
    )


def _few_clusters(limit: Limit, name_of: Callable[[str], str]) -> str:
    unit, *groups = limit.names
    few = [f"{name} has {n}" for name, n in zip(groups, limit.low)]
    return (
        f"With fewer than {limit.of} of what was allocated ({unit}) in a group ({listed(few)}) "
        "these numbers are no basis for a conclusion about the groups, however many people there "
        f"are: what sets one {unit} apart is mixed up with what its group did."
    )


def _missed(limit: Limit, name_of: Callable[[str], str]) -> str:
    return (
        f"{len(limit.names)} of {limit.of} participants "
        f"{'has' if len(limit.names) == 1 else 'have'} no score under one of the conditions at "
        f"some test: {listed(limit.names)}. The differences within people are those of the others "
        "there; a mixed model of scores uses them all."
    )


def _one_order(limit: Limit, name_of: Callable[[str], str]) -> str:
    return (
        f"Everybody met the conditions in the same order ({limit.names[0]}), so the difference "
        "between them holds that between the periods: it cannot be put down to the conditions."
    )


def _fixed(text: str) -> Callable[[Limit, Callable[[str], str]], str]:
    return lambda limit, name_of: text


KINDS: Final[dict[str, Callable[[Limit, Callable[[str], str]], str]]] = {
    "nobody twice": _fixed(
        "Nobody has a score in two phases: either the identifiers of people changed between tests, "
        "or they number trials; then people, not trials, must be the unit, and none of these "
        "intervals and p values holds."
    ),
    "one group": _fixed(
        "There is one group and nothing to compare it with: a change between tests cannot be told "
        "apart from repeated testing, maturation, other practice and regression to the mean, so "
        "the change is described and its cause is not shown."
    ),
    "no pretest": _no_pretest,
    "no baseline named": _fixed(
        "No baseline was named, so no comparison is adjusted for where participants started; "
        "baseline= names the test before practice."
    ),
    "no delayed test": _fixed(
        "There is no test after a gap without practice: these scores describe performance and "
        "cannot show what lasts."
    ),
    "practice": _fixed(
        f"{PHASE_LABELS[PRACTICE_PHASE]} scores are performance under the conditions of practice; "
        "a difference there may be gone, or turned round, at a delayed test."
    ),
    "progress": _fixed(
        "Progress tests lie inside the programme, with recent practice behind them, and are not "
        "tests of retention."
    ),
    "unequal trials": _unequal,
    "few trials": _few,
    "tiny groups": _tiny,
    "losses": _lost,
    "missed a condition": _missed,
    "one order": _one_order,
    "no period": _fixed(
        "Nothing tells in which period, or with which task or hand, each person met each "
        "condition, so a difference between these cannot be taken out."
    ),
    "carry-over": _fixed(
        "What one condition leaves behind when the next begins (carry-over) cannot be told from a "
        "difference between the sequences of people; its test is weak, is shown for what it is and "
        "did not choose the analysis. What was learnt under the first condition is not washed out "
        "by a pause."
    ),
    "losses, clusters": _lost_in_clusters,
    "clusters": _clusters,
    "few clusters": _few_clusters,
    "unequal spread, ancova": _spread("The analysis of covariance gives"),
    "unequal spread, mixed": _spread("The mixed model gives"),
    "unequal spread, both": _spread("The analysis of covariance and the mixed model give"),
    "few people, hits": _few_hits,
    "few people, missing tests": _few_missing,
    "two routes": _fixed(
        "The analysis of covariance answers whether groups that started alike differ at one test, "
        "among the participants who have both scores; the mixed analysis of variance whether "
        "groups change differently over all phases, among those who miss none; the mixed model "
        "answers the first question from every test there is, provided that scores are missing at "
        "random."
    ),
}
