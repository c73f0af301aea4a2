"""What a plan decides about times, in a sentence."""

from motorlearn.design import Design, Outcome, TimeRules
from motorlearn.vocabulary import capitalised
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
    "Times above 3 s are left out and a person's score at a test is the median. Reason: looked \
away."
    """
    rules = outcome.times
    if rules is None:
        return ""
    clauses = listed(list(rules.told(outcome.unit)), "and")
    reason = f" Reason: {rules.reason.removesuffix('.')}." if rules.reason else ""
    return f"{capitalised(clauses)}.{reason}"


def time_rules_of(design: Design) -> list[str]:
    """Sentences on all outcomes of a plan that have rules for times."""
    told = [(entry.label or entry.name, time_rules_sentence(entry)) for entry in design.outcomes]
    return [f"Rules for {name}: {said[0].lower()}{said[1:]}" for name, said in told if said]


def sentence_on_contrast(rules: TimeRules) -> str:
    """What terms of the mixed model mean where two kinds of trials are compared."""
    pair = f"{rules.first} {'less' if rules.scale == 'raw' else 'by'} {rules.second}"
    return (
        f"Terms with {rules.contrast} speak of {pair}: that of group, test and {rules.contrast} is "
        "how much more it changed in one group than in the other, and people differ at random in "
        "each kind of trials at each test."
    )
