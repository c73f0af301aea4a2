"""Assumptions of conditions within people: differences, periods, who is missing."""

from collections.abc import Hashable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from motorlearn import digits
from motorlearn.audit.comparison.paired import change_alike, change_influence, change_shape
from motorlearn.audit.context import Context
from motorlearn.audit.general import family_check, unit_check
from motorlearn.audit.report import Check, judged
from motorlearn.compare import PhaseComparison

Floats = NDArray[np.float64]


def condition_checks(
    result: PhaseComparison, context: Context, phases: Sequence[Hashable]
) -> Iterator[tuple[str, Check]]:
    """Give the checks of a comparison within people, one test after the other."""
    whole = "all phases"
    yield whole, unit_check(context)
    yield whole, family_check(result, context)
    yield whole, _order_check(result, context)
    ratio = result.recipe.options["effect"] == "ratio"
    for phase in phases:
        name = context.name_of(phase)
        yield name, _missing_check(result, phase, context)
        for row in result.contrasts.query("not adjusted").itertuples():
            if row.phase != phase or not _planned((row.group, row.reference), context):
                continue
            away, people = _differences(result, phase, (row.group, row.reference), ratio)
            if len(away) < 4 or change_alike(away):
                continue
            pair = f"{name}, {row.group} − {row.reference}"
            yield pair, change_shape(away, ratio, context)
            yield pair, change_influence(away, people, ratio, context)


def _planned(pair: tuple[Hashable, Hashable], context: Context) -> bool:
    primary = context.primary
    named = set(primary.groups) if primary is not None else set()
    return not named or set(map(str, pair)) <= named


def _differences(
    result: PhaseComparison, phase: Hashable, pair: tuple[Hashable, Hashable], ratio: bool
) -> tuple[Floats, NDArray[np.object_]]:
    """Differences of people between two conditions at a test, as they are."""
    rows = result.scores[result.scores["phase"] == phase]
    wide = rows.pivot(index="participant", columns="group", values="score")
    if not set(pair) <= set(wide):
        return np.empty(0), np.empty(0, dtype=object)
    both = wide[list(pair)].dropna()
    values = np.log(both) if ratio else both
    return (
        (values[pair[0]] - values[pair[1]]).to_numpy(dtype=float),
        both.index.to_numpy(dtype=object),
    )


def _order_check(result: PhaseComparison, context: Context) -> Check:
    """Whether the order was counterbalanced; carry-over is shown and chooses nothing."""
    kinds = {limit.kind for limit in result.limits}
    known = not kinds & {"no period", "one order"}
    carried = result.periods[result.periods["term"] == "sequence (carry-over)"]
    told = "; ".join(
        f"{context.name_of(row.phase)} {digits.number(row.estimate)} "
        f"[{digits.number(row.conf_low)}, {digits.number(row.conf_high)}]"
        for row in carried.itertuples()
        if np.isfinite(row.estimate)
    )
    shown = f" Difference of people's means between sequences (carry-over): {told}." if told else ""
    return judged(
        "the order of the conditions is counterbalanced",
        "orders that cannot be taken out",
        float(not known),
        context.guide("order"),
        ("The period is known and taken out." if known else "The period cannot be taken out.")
        + shown,
        "Nothing: the difference between sequences is stated and chooses no analysis."
        if known
        else "Say that the difference holds that between periods.",
    )


def _missing_check(result: PhaseComparison, phase: Hashable, context: Context) -> Check:
    """Share of people without a score under one of the conditions."""
    rows = result.scores[result.scores["phase"] == phase]
    wide = rows.pivot(index="participant", columns="group", values="score")
    everybody = result.scores["participant"].unique()
    whole = wide.reindex(everybody).dropna()
    lost = [str(name) for name in everybody if name not in whole.index]
    if not set(result.recipe.options["groups"]) <= set(wide):
        lost = [str(name) for name in everybody]
    named = f" ({', '.join(lost)})" if lost else ""
    return judged(
        "missing scores can be ignored",
        "share of participants without a score under one condition (figure: missing map)",
        len(lost) / max(len(everybody), 1),
        context.guide("missing"),
        f"{len(lost)} of {len(everybody)} participants {'lacks' if len(lost) == 1 else 'lack'} "
        f"a condition{named}.",
        "A mixed model of scores uses all that they have; report it beside.",
    )
