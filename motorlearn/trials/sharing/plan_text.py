"""The plan as it is given away: where the tables lie, and nobody's old identifier."""

import re
from collections.abc import Iterator, Mapping
from typing import Any, Final

import pandas as pd
import tomlkit

from motorlearn.design import Design
from motorlearn.trials.importing.recipe_text import without_section

SEEDED: Final = ("study", "allocation")
"""Sections of a plan that hold a seed of allocation and orders."""


def shared_plan(
    text: str,
    design: Design,
    *,
    files: Mapping[str, str],
    answers: Mapping[str, str],
    names: Mapping[str, str],
) -> str:
    """Write the plan of a package.

    Parameters
    ----------
    text : str
        ``study.toml`` as it was typed.
    design : Design
        The same, read.
    files : mapping of str to str
        Where the tables of ``[files]`` lie.
    answers : mapping of str to str
        Where the answers lie, by the name of the questionnaire.
    names : mapping of str to str
        New identifiers by the old ones; empty where people keep theirs. With new ones the plan goes
        without its seeds: groups and orders could be drawn again from them for a list of people,
        and rows told by their order.
    """
    plan = tomlkit.parse(without_section(without_section(text, "import"), "files"))
    for entry in plan.get("questionnaires", []):
        if entry["name"] in answers:
            entry |= {"file": answers[str(entry["name"])], "participant": "participant"}
            entry.pop("headings", None)
    for section in SEEDED if names else ():
        plan.get(section, {}).pop("seed", None)
    for rule in _rules(plan):
        people = [str(person) for person in rule.get("participants", [])]
        if people and names:
            rule["participants"] = [names.get(person, person) for person in people]
        for key in ("rule", "reason", "undo"):
            if isinstance(rule.get(key), str):
                rule[key] = unnamed(rule[key], {p: names[p] for p in people if p in names})
    rest = unnamed(tomlkit.dumps(plan), telling(names, design)).rstrip()
    return rest + "\n\n[files]\n" + "".join(f'{key} = "{place}"\n' for key, place in files.items())


def _rules(plan: Any) -> Iterator[Any]:
    for section in ("exclusions", "replacements"):
        yield from plan.get(section, [])
    yield from plan.get("multiverse", {}).get("exclusions", [])


def telling(names: Mapping[str, str], design: Design) -> dict[str, str]:
    """Old identifiers that can be told from other words: no numbers, no names of the plan.

    Examples
    --------
    >>> import motorlearn as ml
    >>> plan = ml.read_design(ml.trials.shipped_study())
    >>> telling({"P07": "KA237", "12": "BN949", "random": "EV936"}, plan)
    {'P07': 'KA237'}
    """
    own = {*design.group_names, *(task.name for task in design.tasks)}
    return {
        old: new
        for old, new in names.items()
        if len(old) > 2 and not old.isdigit() and old not in own
    }


def unnamed(text: str, names: Mapping[str, str]) -> str:
    """Put new identifiers in the place of old ones that stand in a text as words.

    Examples
    --------
    >>> unnamed("P07 told P070 of it: P07_pretest", {"P07": "KA237"})
    'KA237 told P070 of it: KA237_pretest'
    """
    if not names:
        return text
    longest = sorted(names, key=len, reverse=True)
    words = re.compile(rf"(?<![^\W_])(?:{'|'.join(map(re.escape, longest))})(?![^\W_])")
    return words.sub(lambda found: names[found[0]], text)


def without_identifiers(
    table: pd.DataFrame, design: Design, names: Mapping[str, str]
) -> pd.DataFrame:
    """A table whose people have new identifiers, without the old ones elsewhere in it.

    Rows are put into the order of the new identifiers, since the old order may be a known list's.
    Reasons of rules that name people are those of the plan that is given away; clips whose labels
    hold an old identifier are numbered.
    """
    if not names:
        return table
    table = table.sort_values("participant", kind="stable").reset_index(drop=True)
    words = telling(names, design)
    reasons = {
        rule.reason: unnamed(rule.reason, {p: names[p] for p in rule.participants if p in names})
        for rule in design.exclusions
    }
    for name in table.columns.difference(["participant", "clip"]):
        if pd.api.types.is_numeric_dtype(table[name]):
            continue
        new = {
            old: reasons.get(old) or names.get(old) or unnamed(old, words)
            for old in map(str, table[name].dropna().unique())
        }
        if any(old != text for old, text in new.items()):
            table = table.assign(**{name: table[name].map(lambda e, new=new: new.get(str(e), e))})
    if "clip" in table:
        labels = list(dict.fromkeys(table["clip"].dropna().astype("str")))
        if any(unnamed(label, names) != label for label in labels):
            numbers = {label: f"clip {number}" for number, label in enumerate(labels, start=1)}
            table = table.assign(clip=table["clip"].map(lambda entry: numbers.get(str(entry))))
    return table
