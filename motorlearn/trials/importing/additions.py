"""Add to a plan that is there what a person declares with an import: rules, a bound, scales."""

import tomllib
from pathlib import Path

import pandas as pd

from motorlearn.design import design_from_mapping
from motorlearn.exceptions import InputError
from motorlearn.trials.importing.recipe_text import plan_text_of
from motorlearn.trials.importing.said_questionnaires import started_questionnaires
from motorlearn.trials.importing.said_rules import (
    anova_text,
    curve_text,
    said_rules,
    smallest_effect_text,
)
from motorlearn.trials.importing.started_rules import Ask
from motorlearn.trials.importing.starting import Asked


def added_to(text: str, sections: str, place: str) -> str:
    """Put sections behind the text of a plan, which stays as it was typed.

    Raises
    ------
    InputError
        If the plan says something of the kind already, or would contradict itself.
    """
    whole = f"{text.rstrip()}\n\n{sections}"
    try:
        content = tomllib.loads(whole)
    except tomllib.TOMLDecodeError:
        names = [name for name in tomllib.loads(sections) if name in tomllib.loads(text)]
        raise InputError(
            f"{place} says already what was to be added", names, "change it there"
        ) from None
    design_from_mapping(content, place=place)
    return whole


def additions(plan: Path, asked: Asked, table: pd.DataFrame | None, ask: Ask | None) -> str:
    """Text of a plan with what was declared.

    Rules are checked against the trials where these are there already.

    Raises
    ------
    InputError
        If something is said that is asked for a new plan only, or cannot be.
    """
    if not asked.adds_only:
        raise InputError(
            "outcome, title and codes are asked for a new plan only",
            remedy=f"change them in {plan}",
        )
    started = started_questionnaires(asked.questionnaires, ask)
    rules = [rule.text() for rule in said_rules(asked.leave_out, asked.replace, table)]
    own = (
        smallest_effect_text(asked.smallest_effect),
        anova_text(asked.anova),
        curve_text(asked.curve),
    )
    sections = "\n".join(part for part in (*own, *rules, started.text) if part)
    text = plan_text_of(plan)
    again = [rule for rule in rules if rule.strip() in text]
    if again:
        raise InputError(
            f"{plan.name} has a rule already that was to be added",
            [line for rule in again for line in rule.splitlines()[1:2]],
            "say it once",
        )
    return added_to(text, sections, plan.name) if sections.strip() else text
