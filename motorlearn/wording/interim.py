"""What a look at a study that still runs, or its last look, may say."""

from collections.abc import Sequence

from motorlearn import digits
from motorlearn.analysis import InterimLook
from motorlearn.wording.voice import listed

SPENDING = {"obrien-fleming": "O'Brien-Fleming-type", "pocock": "Pocock-type"}
"""Names of spending functions."""


MANY_FOR_MIXED = 12
"""People a group up to which looks with a mixed model of scores are said to find too much."""


def level_words(level: float) -> str:
    """A nominal level with two digits that count, ``.0031``.

    Examples
    --------
    >>> level_words(0.003051), level_words(0.05), level_words(1.1e-6)
    ('.0031', '.050', 'below .0001')
    """
    if level < 0.0001:
        return "below .0001"
    places = 3 if level >= 0.01 else 4
    return digits.number(level, places).removeprefix("0")


def look_sentence(look: InterimLook) -> str:
    """Which look it is, at which level, and what follows."""
    last = look.final
    which = f"look {look.number}, the last" if last else f"look {look.number}"
    share = digits.number(look.fraction, 2).removeprefix("0")
    held = (
        f"p lies {'below' if look.crossed else 'not below'} the nominal two-sided level of "
        f"{level_words(look.level)}"
    )
    overall = level_words(look.overall)
    if look.crossed:
        stops = "" if last else "by plan the study may stop here; "
        follows = f"{stops}the hypothesis of no difference is rejected at {overall} over all looks"
    elif last:
        follows = (
            f"the hypothesis of no difference is not rejected at {overall} over all looks, which "
            "does not show that there is none"
        )
    else:
        follows = "by plan the study goes on, and nothing is concluded yet"
    return (
        f"This is {which} ({look.people} of {look.planned} people, information fraction {share}): "
        f"{held} that {SPENDING[look.spending]} spending leaves it, so {follows}."
    )


def not_as_declared(look: InterimLook, others: Sequence[int] = ()) -> str:
    """That a look was not declared, or earlier ones were not; nothing where all were."""
    told = listed([str(n) for n in look.declared_people])
    said = []
    if not look.declared:
        said.append(
            f"This look, at {look.people} people, was not declared (looks were declared at {told} "
            "people); its level was computed anew from the share of people it had."
        )
    if others:
        were = "Looks" if len(others) > 1 else "A look"
        said.append(
            f"{were} at {listed([str(n) for n in others])} people had not been declared and "
            "spent by their share too."
        )
    if look.assumed:
        said.append("Earlier looks are taken to have been made as declared.")
    return " ".join(said)


def few_for_mixed(people: float) -> str:
    """That the mixed model finds too much where it looks at few people; nothing where it does not.

    Parameters
    ----------
    people : float
        People a group at the last look.

    Examples
    --------
    >>> few_for_mixed(24)
    ''
    """
    if people > MANY_FOR_MIXED:
        return ""
    return (
        f"With about {people:.0f} people a group at the last look, and fewer before, the mixed "
        "model finds somewhat too much: over all looks it rejected 6 to 7 % of 600 simulated "
        "studies without a difference with 8 people a group, and 4 to 6.5 % with 12, instead of "
        "5 %; the analysis of covariance keeps its rate there."
    )


def interval_words(look: InterimLook, reach: str) -> str:
    """The interval at the level of a look; ``reach`` is its limits in words."""
    share = 100 * (1 - look.level)
    places = 1 if look.level >= 0.001 else 2
    shown = digits.number(min(share, 99.99), places)
    caution = (
        " A study stopped at an early look has an estimate that is too large on average."
        if look.crossed and not look.final
        else ""
    )
    return f"The interval at this look's level ({shown} %) is {reach}.{caution}"


def planned_sentence(
    people: Sequence[int], levels: Sequence[float], spending: str, overall: float
) -> str:
    """Which looks a plan declares, for its registration and method.

    Examples
    --------
    >>> planned_sentence([24, 48], [0.00305, 0.049], "obrien-fleming", 0.05)
    "Looks at the primary comparison are planned at 24 and 48 people with a primary score, with \
O'Brien-Fleming-type spending of a two-sided error rate of .050 over all looks: nominal levels \
.0031 and .049."
    """
    at = listed([str(n) for n in people])
    nominal = listed([level_words(level) for level in levels])
    return (
        f"Looks at the primary comparison are planned at {at} people with a primary score, with "
        f"{SPENDING[spending]} spending of a two-sided error rate of {level_words(overall)} over "
        f"all looks: nominal levels {nominal}."
    )
