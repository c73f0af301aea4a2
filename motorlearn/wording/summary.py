"""What a summary names beside the result: open assumptions, who is missing, what was departed from.

Every function gives one sentence, or nothing where there is nothing to say.
"""

from collections.abc import Mapping, Sequence

import pandas as pd

from motorlearn.digits import count
from motorlearn.wording.voice import listed

NO_REASON = "no reason noted"


def open_assumptions(table: pd.DataFrame) -> str:
    """Name the assumptions that are not fine, the gravest first, and whether a remedy matters.

    Parameters
    ----------
    table : DataFrame
        ``assumption, grade, conclusion_changes``, as an audit has them, and ``remedied``, what a
        remedy gave, where it is known.

    Examples
    --------
    >>> rows = pd.DataFrame({"assumption": ["same spread", "normal residuals"],
    ...                      "grade": ["look", "fine"], "conclusion_changes": [False, False]})
    >>> open_assumptions(rows)
    'Of 2 assumptions checked, 1 stays open: same spread (look). No remedy changes the conclusion.'
    """
    flagged = flagged_assumptions(table)
    said = counted_assumptions(table)
    if flagged.empty:
        return f"{said}."
    graded = [f"{row.assumption} ({row.grade})" for row in flagged.itertuples()]
    changed = table[(table["grade"] != "fine") & table["conclusion_changes"].astype(bool)]
    names = list(dict.fromkeys(changed["assumption"]))
    after = "No remedy changes the conclusion."
    if names:
        after = f"The conclusion changes with the remedy for: {'; '.join(names)}."
    elif "remedied" in table and not (table.loc[table["grade"] != "fine", "remedied"] != "").any():
        after = "No remedy was run."
    return f"{said}: {'; '.join(graded)}. {after}"


def flagged_assumptions(table: pd.DataFrame) -> pd.DataFrame:
    """Rows of an audit that are not fine, one for each assumption, the gravest first."""
    flagged = table[table["grade"] != "fine"].drop_duplicates("assumption")
    return flagged.sort_values("grade", key=lambda grade: grade != "act", kind="stable")


def counted_assumptions(table: pd.DataFrame) -> str:
    """How many assumptions were checked and how many stay open, without a full stop.

    Examples
    --------
    >>> counted_assumptions(pd.DataFrame({"assumption": ["same spread"], "grade": ["fine"]}))
    'Of 1 assumption checked, none stays open'
    """
    n = len(flagged_assumptions(table))
    stay = "none stays" if n == 0 else "1 stays" if n == 1 else f"{n} stay"
    return f"Of {count(table['assumption'].nunique(), 'assumption')} checked, {stay} open"


def missing_people(
    allocated: Mapping[str, int], present: Mapping[str, int], at: str, reasons: Mapping[str, int]
) -> str:
    """Say how many of those allocated have no score at a test, by group, and why.

    Parameters
    ----------
    allocated, present : mapping of str to int
        People of each group in all, and those with a usable trial at the test.
    at : str
        The test, as a sentence names it.
    reasons : mapping of str to int
        People missing by reason noted; those without one are told as such.

    Examples
    --------
    >>> missing_people({"blocked": 12, "random": 12}, {"blocked": 11, "random": 12},
    ...                "the retention test", {"moved away": 1})
    '1 of 24 allocated people has no usable trial at the retention test (blocked 1 of 12): moved \
away (1).'
    """
    total = sum(allocated.values())
    away = {name: n - present.get(name, 0) for name, n in allocated.items()}
    gone = sum(away.values())
    if not gone:
        return f"{_everybody(total, 'allocated ')} usable trials at {at}."
    where = listed([f"{name} {n} of {allocated[name]}" for name, n in away.items() if n])
    known = dict(reasons)
    unknown = gone - sum(known.values())
    if known and unknown > 0:
        known[NO_REASON] = known.get(NO_REASON, 0) + unknown
    why = f": {listed([f'{reason} ({n})' for reason, n in known.items()])}" if known else ""
    has = "has" if gone == 1 else "have"
    return f"{gone} of {total} allocated people {has} no usable trial at {at} ({where}){why}."


def _everybody(people: int, which: str = "") -> str:
    if people == 1:
        return f"The one person {which}has"
    return f"{'Both' if people == 2 else f'All {people}'} people {which}have"


def missing_conditions(people: int, gone: int, away: Mapping[str, int], at: str) -> str:
    """Say how many people lack a usable trial at a test under a condition that they should meet.

    Examples
    --------
    >>> missing_conditions(14, 1, {"blocked": 1}, "the retention test")
    '1 of 14 participants has no usable trial at the retention test under one of the conditions \
(blocked 1).'
    """
    if not gone:
        return f"{_everybody(people)} usable trials at {at} under every condition."
    has = "has" if gone == 1 else "have"
    where = listed([f"{name} {n}" for name, n in away.items() if n])
    return (
        f"{gone} of {count(people, 'participant')} {has} no usable trial at {at} under one of the "
        f"conditions ({where})."
    )


def departures(table: pd.DataFrame) -> str:
    """Count what was done otherwise than planned, by topic.

    Parameters
    ----------
    table : DataFrame
        ``topic, where, people``: one row per departure.

    Examples
    --------
    >>> departures(pd.DataFrame({"topic": ["interval"], "where": ["retention"], "people": [2]}))
    'Departures from the plan that the data show: interval at retention (2 people).'
    """
    if table.empty:
        return "The data show no departure from the plan."
    said = [
        f"{row.topic}{f' at {row.where}' if row.where else ''}"
        + (f" ({count(row.people, 'person')})" if row.people else "")
        for row in table.itertuples()
    ]
    return f"Departures from the plan that the data show: {listed(said)}."


def sensitivity_words(table: pd.DataFrame, original: str) -> str:
    """Say in how many variants the conclusion changes, and in which.

    Parameters
    ----------
    table : DataFrame
        ``variant, p, changes``, as a sensitivity analysis has them.
    original : str
        The variant that is the analysis as planned.

    Examples
    --------
    >>> rows = pd.DataFrame({"variant": ["as analysed", "raw scores"], "p": [.08, .05],
    ...                      "changes": [False, False]})
    >>> sensitivity_words(rows, "as analysed")
    'The primary analysis was run in 1 other way; the conclusion changes in none.'
    """
    run = table[table["p"].notna() & (table["variant"] != original)]
    n = run["variant"].nunique()
    changed = list(dict.fromkeys(run.loc[run["changes"].astype(bool), "variant"]))
    end = f"in {len(changed)}: {'; '.join(changed)}" if changed else "in none"
    ways = count(n, "other way")
    return f"The primary analysis was run in {ways}; the conclusion changes {end}."


def registered_words(registered: Sequence[tuple[str, int]], changed: int, since: int) -> str:
    """When a plan was registered, and how often it was changed after.

    Parameters
    ----------
    registered : sequence of (str, int)
        Day of each registration, and the trials that had been recorded by then.
    changed, since : int
        Entries of the plan changed in all, and those changed since the last registration.

    Examples
    --------
    >>> registered_words([("2026-01-05", 0)], 1, 1)
    'The plan was registered on 2026-01-05, before any trial. 1 entry was changed after, 1 of them \
without being registered.'
    """
    days = listed(list(dict.fromkeys(day for day, _ in registered)))
    first = registered[0][1]
    when = "before any trial" if not first else f"when {count(first, 'trial')} had been recorded"
    said = f"The plan was registered on {days}, {when}."
    if not changed:
        return f"{said} It was not changed after."
    were = "was" if changed == 1 else "were"
    end = f", {since} of them without being registered" if since else ", each registered"
    return f"{said} {count(changed, 'entry')} {were} changed after{end}."
