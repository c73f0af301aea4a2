"""Sentences on one athlete to five: what changed, how sure, and what was drawn."""

import math

import pandas as pd

from motorlearn import digits
from motorlearn.compare import SingleCase
from motorlearn.design import SingleCasePlan
from motorlearn.digits import count
from motorlearn.results import Refused
from motorlearn.vocabulary import capitalised
from motorlearn.wording.tense import told, was, were
from motorlearn.wording.voice import Voice, Words, listed

_KINDS = {
    "AB": "one change from A to B",
    "ABAB": "B taken away and given again (A, B, A, B)",
    "multiple baseline": "B started at different sessions (multiple baseline)",
    "alternating": "conditions that alternated from session to session",
}


def design_paragraph(plan: SingleCasePlan) -> str:
    """The design, what was drawn by lot and from what."""
    a, b = plan.conditions
    said = [
        f"The study {was()} a single-case experiment with {_KINDS[plan.design]}, where A {was()} "
        f"{a} and B {was()} {b}, over {count(plan.sessions, 'session')} of "
        f"{count(plan.trials, 'trial')}."
    ]
    if not plan.randomised:
        return f"{said[0]} Nothing was drawn by lot, so there is no randomisation test."
    return f"{said[0]} {capitalised(_drawn(plan))}."


def _drawn(plan: SingleCasePlan) -> str:
    draw = plan.draw
    if plan.design == "alternating":
        if draw.alternation == "pairs":
            return "of every two sessions lot decided which was A and which B"
        longest = count(draw.longest_run, "session")
        return (
            "the order was drawn by lot from all orders with as many A as B and no more than "
            f"{longest} of one condition in a row"
        )
    least = f"every phase having {draw.minimum} sessions or more"
    if plan.design == "ABAB":
        return f"the three changes were drawn by lot, {least}"
    if plan.design == "AB":
        low, high = draw.range_of(0, plan.sessions)
        return f"the session at which B starts was drawn by lot from sessions {low} to {high}"
    who = "skills" if plan.across == "task" else "athletes"
    ranges = listed([str(a) if a == b else f"{a} to {b}" for a, b in draw.starts])
    return f"the sessions at which B starts ({ranges}) were allotted to the {who} by lot"


def analysis_of_cases(versions: dict[str, str]) -> str:
    """How the numbers of a single case were made."""
    tools = listed([f"{name} {version}" for name, version in versions.items()])
    return (
        f"The unit of analysis {was()} the session of a person; trials of a session {were()} "
        "averaged. "
        "Intervals of the difference take t from the pooled spread inside conditions, those of NAP "
        "and Tau-U invert the variance of the Mann-Whitney area; all are widened by the serial "
        "dependence found. The randomisation test takes the mean difference over everything that "
        f"could have been drawn. {told('Computed', 'To be computed')} with {tools}."
    )


def case_sentence(found: SingleCase, case: str, voice: Voice) -> str:
    """What one case shows: difference with interval, and overlap."""
    a, b = found.conditions
    row, nap = found.of(case, "difference"), found.of(case, "NAP")
    if not math.isfinite(row["conf_low"]):
        return f"{case}: every session had the same score, so nothing can be told."
    amount = voice.measured(abs(float(row["estimate"])))
    way = "higher" if row["estimate"] > 0 else "lower"
    size = f"{amount} {way} under {b} than under {a}"
    return (
        f"{case}: {voice.name} {voice.was} {size} "
        f"({voice.span(row['conf_low'], row['conf_high'])}{voice.unit}; {int(row['n_a'])} and "
        f"{int(row['n_b'])} sessions); of all pairs of sessions, {b} was better in "
        f"{voice.number(100 * float(nap['estimate']), 0)} % (NAP "
        f"{voice.number(nap['estimate'], 2)}, "
        f"{voice.span(nap['conf_low'], nap['conf_high'], 2)})."
    )


def test_sentence(found: SingleCase, voice: Voice) -> str:
    """The randomisation test, or why there is none."""
    test = found.test
    if isinstance(test, Refused):
        return f"There is no randomisation test: {test.told}"
    sided = "one-sided" if found.recipe.options["one_sided"] else "two-sided"
    how = (
        f"all {test.assignments} ways in which the conditions could have been drawn"
        if test.exact
        else f"{test.used} of the {test.assignments} ways in which the conditions could have been "
        f"drawn, taken at random (seed {found.recipe.seed})"
    )
    least = digits.p_clause(test.smallest_p, decimal=voice.decimal).removeprefix("p = ")
    return (
        f"Over {how}, a mean difference as large as the {voice.measured(test.statistic)} that was "
        f"found has {voice.p(test.p)} (randomisation test, {sided}; the smallest p possible is "
        f"{least})."
    )


def summary_sentence(found: SingleCase, voice: Voice) -> str:
    """The athletes together; empty for one."""
    if isinstance(found.summary, Refused):
        return ""
    row = found.summary.iloc[0]
    return (
        f"Over the {count(int(row['cases']), 'case')}, the mean difference was "
        f"{voice.measured(row['estimate'])} ({voice.span(row['conf_low'], row['conf_high'])}"
        f"{voice.unit}); cases differed with an "
        f"SD of {voice.measured(row['sd_between'])} about it. So few cases say little about others."
    )


def neighbours_sentence(found: SingleCase, voice: Voice) -> str:
    """Serial dependence, with its bias said."""
    rows = found.neighbours.dropna(subset=["corrected"])
    if rows.empty:
        return "How alike neighbouring sessions are cannot be told."
    said = [
        f"{row['case']} {voice.number(row['lag_one'], 2)} "
        f"({voice.number(row['corrected'], 2)} with its bias taken out)"
        for row in rows.to_dict("records")
    ]
    return (
        f"Scores of neighbouring sessions of a phase correlated: {listed(said)}. With so few "
        "sessions this correlation comes out too low and is hardly known. The intervals are "
        "averaged over every correlation that the sessions leave possible and never narrower than "
        "for independent sessions; they take two levels without a trend, and would be too short or "
        "beside the point where scores drift. The randomisation test needs none of this."
    )


def graph_words(found: SingleCase, voice: Voice) -> Words:
    """Caption and alternative text of the graph."""
    unit = f" ({voice.outcome.unit})" if voice.outcome.unit else ""
    caption = (
        f"{capitalised(voice.name)}{unit} session by session under {found.conditions[0]} and "
        f"{found.conditions[1]}; {voice.outcome.better} is better. Thick lines: level (mean) of a "
        "phase; broken lines: its trend (least squares); bands: its variability (one SD to either "
        "side). "
        + ("" if found.design == "alternating" else "Dotted lines part the phases. ")
        + f"{count(len(found.cases), 'case')}."
    )
    told = "; ".join(_phase(row, voice) for row in found.phases.to_dict("records"))
    return Words(caption, f"{capitalised(voice.name)} by session. {told}.")


def _phase(row: "pd.Series | dict", voice: Voice) -> str:  # type: ignore[type-arg]
    return (
        f"{row['case']}, {row['condition']}, sessions {row['first']} to {row['last']}: mean "
        f"{voice.measured(row['mean'])}"
    )
