"""Results sentences: every number from a result, and no claim beyond its test."""

import math
from collections.abc import Mapping

import pandas as pd

from motorlearn import digits
from motorlearn.vocabulary import DELAYED_PHASES, capitalised
from motorlearn.wording.equivalence import Judgement, judge
from motorlearn.wording.voice import Voice, listed


def contrast_sentence(
    row: pd.Series, voice: Voice, allocated: dict[str, int], *, baseline: str = "baseline"
) -> str:
    """Report one contrast between two groups in full.

    Parameters
    ----------
    row : Series
        A row of ``PhaseComparison.contrasts``.
    voice : Voice
        Outcome, decimals and plan.
    allocated : dict of str to int
        People allocated to each group.
    baseline : str
        Name of the phase that was adjusted for.
    """
    group, reference = str(row["group"]), str(row["reference"])
    if not math.isfinite(row["estimate"]):
        return (
            f"At {voice.at(row['phase'])}, {group} and {reference} practice could not be compared "
            f"in {voice.name}: {why(row)}."
        )
    adjusted = f"adjusted for the {baseline}; " if row["adjusted"] else ""
    return (
        f"{_where(row, voice)}, {_size(row, voice)} "
        f"({adjusted}{interval_clause(row, voice)}; {voice.t(row)}"
        f"{standardised_clause(row, voice)}; {analysed_parts(row, voice, allocated)})."
    )


def why(row: pd.Series) -> str:
    """Reason why a row holds no estimate, as part of a sentence."""
    return str(row["reason"]).rstrip(".") or "too few scores"


def _where(row: pd.Series, voice: Voice) -> str:
    return capitalised(voice.during(str(row["phase"])))


def _size(row: pd.Series, voice: Voice) -> str:
    group, reference, estimate = str(row["group"]), str(row["reference"]), float(row["estimate"])
    if row["effect"] == "ratio":
        return (
            f"{voice.name} {voice.was} {voice.number(estimate, 2)} times as large after {group} as "
            f"after {reference} practice"
        )
    amount = voice.measured(abs(estimate))
    if voice.number(abs(estimate)) == voice.number(0.0):
        return f"{voice.name} after {group} and {reference} practice lay {amount} apart"
    way = "higher" if estimate > 0 else "lower"
    return f"{voice.name} {voice.was} {amount} {way} after {group} than after {reference} practice"


def interval_clause(row: pd.Series, voice: Voice) -> str:
    """Interval of a contrast with its unit."""
    ratio, limits = row["effect"] == "ratio", (row["conf_low"], row["conf_high"])
    null, usual = (1.0, 2) if ratio else (0.0, voice.decimals)
    span = voice.span(*limits, digits.decimals_apart(*limits, null, usual))
    return span if ratio else span + voice.unit


def standardised_clause(row: pd.Series, voice: Voice) -> str:
    """Hedges g with its interval, after a semicolon; empty where there is none."""
    if not math.isfinite(row.get("g", math.nan)):
        return ""
    return f"; Hedges g = {voice.number(row['g'], 2)}, {voice.span(row['g_low'], row['g_high'], 2)}"


def analysed_parts(row: pd.Series, voice: Voice, allocated: Mapping[str, int] | None = None) -> str:
    """How many people of those allocated a contrast rests on."""
    parts = []
    allocated = allocated if allocated and voice.one == "participant" else {}
    if voice.design.within is not None:
        return f"{int(row['n_group'])} participants with both conditions analysed"
    for group, n in ((row["group"], row["n_group"]), (row["reference"], row["n_reference"])):
        whole = allocated.get(str(group))
        parts.append(f"{int(n)}" + (f" of {whole}" if whole else "") + f" {group}")
    return f"{listed(parts)} {voice.one}s analysed"


def reading(row: pd.Series, voice: Voice, test: pd.Series | None = None) -> str:
    """Say how far a contrast may be interpreted, bounded by its test and its interval."""
    if not math.isfinite(row["estimate"]):
        return ""
    null = 1.0 if row["effect"] == "ratio" else 0.0
    clear = row["conf_low"] > null or row["conf_high"] < null
    text = _clear(row, voice, null) if clear else _unclear(row, voice)
    if test is not None and math.isfinite(test["p"]):
        text += " " + verdict_sentence(judge(row, test), row, voice)
    return text


def _clear(row: pd.Series, voice: Voice, null: float) -> str:
    lower = row["estimate"] < null
    better = row["group"] if lower == (voice.outcome.better == "lower") else row["reference"]
    stage = voice.stage(str(row["phase"]))
    if stage.is_delayed:
        return (
            f"The interval lies on one side of the null value: scores at {stage.phase} favour "
            f"{better} practice, the pattern expected if it led to more learning as {stage.phase} "
            "measures it."
        )
    soon = (
        " The test came too soon after practice to tell more."
        if stage.phase in DELAYED_PHASES
        else ""
    )
    return (
        f"Scores favour {better} practice; this is a statement about performance at that time "
        f"and about nothing that lasts.{soon}"
    )


def _unclear(row: pd.Series, voice: Voice) -> str:
    low, high = row["conf_low"], row["conf_high"]
    if row["effect"] == "ratio":
        span = digits.interval(low, high, 2, decimal=voice.decimal)
        return f"The data are compatible with true ratios from {span}; the direction stays open."
    span = digits.interval(low, high, voice.decimals, decimal=voice.decimal) + voice.unit
    return f"The data are compatible with true differences from {span}; the direction stays open."


def verdict_sentence(judged: Judgement, row: pd.Series, voice: Voice) -> str:
    """Report the equivalence verdict against the bound declared beforehand."""
    places = 2 if row["effect"] == "ratio" else voice.decimals
    unit = "" if row["effect"] == "ratio" else voice.unit
    inside = digits.interval(judged.conf_low, judged.conf_high, places, decimal=voice.decimal)
    if row["effect"] != "ratio":
        places = _places_of_bound(judged.high, places)
    edge = digits.interval(judged.low, judged.high, places, decimal=voice.decimal)
    says = {
        "equivalent": "lies inside, so the two schedules are equivalent by that bound",
        "smaller than the bound but not nil": (
            "lies inside, so what effect there is stays below that bound"
        ),
        "larger": "lies beyond, so the effect exceeds that bound",
        "undecided": "reaches beyond on at least one side, so neither equivalence nor an effect "
        "of that size is established",
    }[judged.verdict]
    return (
        f"Against the smallest effect of interest declared beforehand ({edge}{unit}), the 90 % "
        f"interval ({inside}{unit}; equivalence {voice.p(judged.p)}) {says}."
    )


def _places_of_bound(bound: float, places: int) -> int:
    """Decimals of a bound: as declared, or those of the scores where it was computed from an SD."""
    declared = len(f"{bound:g}".partition(".")[2])
    if declared > places + 2 and round(bound, places) != 0:
        return places
    return max(places, min(declared, places + 2))


def omnibus_sentence(row: pd.Series, voice: Voice) -> str:
    """Report the test of all groups together at one phase."""
    effect = row.get("partial_eta2", math.nan)
    eta = f", partial η² {voice.share_clause(effect)}" if math.isfinite(effect) else ""
    return (
        f"{_where(row, voice)}, the test of all groups together gave {f_clause(row, voice)}{eta} "
        f"({row['method']})."
    )


def f_clause(row: pd.Series, voice: Voice, p: str = "p") -> str:
    """Write ``F(2, 66) = 3.10, p = .052``."""
    return (
        f"F({voice.df(row['df1'])}, {voice.df(row['df2'])}) = "
        f"{voice.number(row['statistic'], 2)}, {voice.p(row[p])}"
    )


def p_to_read(row: pd.Series) -> str:
    """Which p of a repeated measure counts: the corrected one where sphericity can fail."""
    return "p_gg" if math.isfinite(row["epsilon_gg"]) else "p"


def moved(change: float, size: str) -> str:
    """Say which way a mean went, and how far."""
    return (
        f"{'rose' if change > 0 else 'fell'} by {size}" if change else "did not change on average"
    )


def paired_sentence(row: pd.Series, voice: Voice) -> str:
    """Report the change of one group between two phases."""
    low, high = row["conf_low"], row["conf_high"]
    n, where = f"n = {int(row['n'])}", _in_group(row["group"], voice)
    if not math.isfinite(row["estimate"]):
        return (
            f"The change of {row['group']} from {row['from_phase']} to {row['to_phase']} is not "
            f"estimated: {why(row)}."
        )
    test = f"; {voice.t(row)}" if math.isfinite(row.get("p", math.nan)) else ""
    size = ""
    if math.isfinite(row.get("g", math.nan)):
        spread = voice.span(row["g_low"], row["g_high"], 2)
        size = f"; standardised change g = {voice.number(row['g'], 2)}, {spread}"
    path = f"From {voice.at(row['from_phase'])} to {voice.at(row['to_phase'])}, {voice.name}"
    if not math.isfinite(low):
        return (
            f"{path} changed from one test to the other by {voice.measured(row['estimate'])}"
            f"{where} ({n}; too few people for an interval)."
        )
    if row["effect"] == "ratio":
        change = f"changed by a factor of {voice.number(row['estimate'], 2)}"
        span = voice.span(low, high, 2)
    else:
        change = moved(row["estimate"], voice.measured(abs(row["estimate"])))
        span = f"change {voice.number(row['estimate'])}, {voice.span(low, high)}{voice.unit}"
    return f"{path} {change}{where} ({span}{test}{size}; {n})."


def _in_group(group: str, voice: Voice) -> str:
    """Name the group where there is more than one."""
    return f" in {group}" if len(voice.design.groups) > 1 else ""


def change_reading(row: pd.Series, bound: float, voice: Voice) -> str:
    """Set the change of one group against the smallest effect of interest, either way.

    ``bound`` is a difference in the unit of the scores, or a ratio above 1.
    """
    low, high = row["conf_low"], row["conf_high"]
    if not math.isfinite(low):
        return ""
    ratio = row["effect"] == "ratio"
    below, above = (1 / bound, bound) if ratio else (-bound, bound)
    places = 2 if ratio else _places_of_bound(bound, voice.decimals)
    edge = digits.interval(below, above, places, decimal=voice.decimal)
    unit = "" if ratio else voice.unit
    if below < low and high < above:
        says = "lies inside, so any change is smaller than that"
    elif low > above or high < below:
        says = "lies outside, so the change is at least that large"
    else:
        says = (
            "reaches from inside to outside, so a change of that size is neither shown nor ruled "
            "out"
        )
    return (
        f"Against the smallest effect of interest declared beforehand ({edge}{unit}), the 95 % "
        f"interval of the change {says}."
    )


def means_sentence(means: pd.DataFrame, phase: str, voice: Voice) -> str:
    """Report the group means of one phase."""
    rows = means[(means["phase"] == phase) & means["mean"].notna()]
    if rows.empty:
        return capitalised(f"{voice.at(phase)} has no scores in {voice.name}.")
    parts = []
    for row in rows.to_dict("records"):
        spread = f"SD {voice.number(row['sd'])}, " if row["n"] > 1 else ""
        value = voice.measured(row["mean"])
        parts.append(f"{value} ({spread}n = {int(row['n'])}){_in_group(row['group'], voice)}")
    return f"{capitalised(voice.during(phase))}, mean {voice.name} {voice.was} {listed(parts)}."
