"""What a plan decides about times, in a sentence."""

from motorlearn.design import Design, Outcome
from motorlearn.wording.voice import listed


def time_rules_sentence(outcome: Outcome) -> str:
    """The rules for a time, as decided beforehand; empty where there are none.

    Examples
    --------
    >>> from motorlearn.design import TimeRules
    >>> rules = TimeRules(slowest=3.0, summary="median", reason="looked away")
    >>> time_rules_sentence(
    ...     Outcome(name="time", unit="s", kind="time", better="lower", times=rules)
    ... )
    "Times above 3 s are left out and a person's score at a test is the median (looked away)."
    """
    rules = outcome.times
    if rules is None:
        return ""
    clauses = listed(list(rules.told(outcome.unit)), "and")
    reason = f" ({rules.reason})" if rules.reason else ""
    return f"{clauses[0].upper()}{clauses[1:]}{reason}."


def time_rules_of(design: Design) -> list[str]:
    """Sentences on all outcomes of a plan that have rules for times."""
    told = [(entry.label or entry.name, time_rules_sentence(entry)) for entry in design.outcomes]
    return [f"Rules for {name}: {said[0].lower()}{said[1:]}" for name, said in told if said]
