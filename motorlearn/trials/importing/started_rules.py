"""Rules that a started plan may need: what the files show is proposed, and only a person decides.

A rule that was answered on a terminal is written; any other stands in the plan behind ``#``, ready
to be taken, with the counts that made it look likely.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from motorlearn.digits import count
from motorlearn.trials.checking.defaults import MEASURED, often_repeated
from motorlearn.trials.counted import counted_rows
from motorlearn.trials.importing.recipe_text import toml_key, toml_value
from motorlearn.vocabulary import PRACTICE_PHASE

Ask = Callable[[str, str], str]
"""Asks a person: a question and the expected answer in, the answer out."""

_MOSTLY = 0.5


@dataclass(frozen=True)
class ProposedRule:
    """A rule with the question that decides it; ``open_key`` is what only a person can say."""

    section: str
    question: str
    keys: dict[str, Any]
    open_key: str = ""
    taken: bool = False

    def text(self) -> str:
        """The section as it stands in a plan, behind ``#`` unless it was taken."""
        lines = [f"# ? {self.question}"] if self.question else []
        lines.append(f"[[{self.section}]]")
        lines += [f"{toml_key(name)} = {toml_value(value)}" for name, value in self.keys.items()]
        if self.open_key and not self.taken:
            lines.append(f"{self.open_key} =")
        if self.taken:
            return "\n".join([*lines, ""])
        return "\n".join(line if line.startswith("#") else f"# {line}" for line in lines) + "\n"

    def answers(self, other: "ProposedRule") -> bool:
        """Whether this rule, which was said, decides what the other one asks."""
        if self.section != other.section:
            return False
        column = self.keys.get("column")
        if column is None:
            people = set(other.keys.get("participants", ()))
            return bool(people) and people <= set(self.keys.get("participants", ()))
        if column != other.keys.get("column"):
            return False
        names = ("equals", "above", "below", "missing")
        alike = all(self.keys.get(name) == other.keys.get(name) for name in names)
        put_in = "equals" in other.keys and self.keys.get("value") == other.keys["equals"]
        return alike or put_in


def rules_text(
    table: pd.DataFrame, outcomes: list[str], ask: Ask | None, said: Sequence[ProposedRule] = ()
) -> str:
    """Write the rules that were said, and those that the files suggest beside them, as answered."""
    open_ones = [
        rule
        for rule in proposed_rules(table, outcomes)
        if not any(one.answers(rule) for one in said)
    ]
    found = [answered(rule, ask) if ask else rule for rule in open_ones]
    return "\n".join(rule.text() for rule in (*said, *found))


def answered(rule: ProposedRule, ask: Ask) -> ProposedRule:
    """Take a rule, with what it lacks, or leave it, as a person says."""
    if not rule.open_key:
        said = ask(f"{rule.question} (yes or no)", "no")
        return replace(rule, taken=said.strip().lower() in ("y", "yes"))
    said = ask(f"{rule.question} (a number; nothing where it was measured)", "")
    try:
        return replace(rule, keys={**rule.keys, rule.open_key: float(said)}, taken=True)
    except ValueError:
        return rule


def proposed_rules(table: pd.DataFrame, outcomes: list[str]) -> list[ProposedRule]:
    """Rules that what the table holds makes likely, in the order in which they are applied."""
    columns = [name for name in (*MEASURED, *outcomes) if name in table]
    columns = [
        name for name in dict.fromkeys(columns) if pd.api.types.is_numeric_dtype(table[name])
    ]
    return [
        *_people_without(table, columns),
        *_further_practice(table),
        *_defaults(table, columns),
        *_misses(table, columns),
    ]


def _tests(table: pd.DataFrame) -> pd.DataFrame:
    rows = table[counted_rows(table)]
    return rows[rows["phase"] != PRACTICE_PHASE] if "phase" in rows else rows


def _people_without(table: pd.DataFrame, columns: list[str]) -> Iterator[ProposedRule]:
    """People most of whose trials at tests hold no value."""
    rows = _tests(table)
    if not columns or rows.empty:
        return
    empty = rows[columns].isna().any(axis="columns")
    shares = empty.groupby(rows["participant"]).mean()
    for person, share in shares[shares > _MOSTLY].items():
        yield ProposedRule(
            "exclusions",
            f"{share:.0%} of the trials of {person} at the tests hold no value. Leave this person "
            "out of the tests?",
            {
                "rule": f"{person} out of the tests",
                "participants": [str(person)],
                "phases": ["tests"],
                "reason": "most of the trials at the tests hold no value",
            },
        )


def _further_practice(table: pd.DataFrame) -> Iterator[ProposedRule]:
    """People who practised on after what most did."""
    if not {"phase", "block"} <= set(table):
        return
    rows = table[table["phase"] == PRACTICE_PHASE]
    last = rows.groupby("participant")["block"].max().dropna()
    if last.empty:
        return
    usual = int(last.min())
    more = int((last > usual).sum())
    if not more or last.nunique() < 3:  # two numbers may be two groups, or one person who left
        return
    yield ProposedRule(
        "exclusions",
        f"{count(more, 'person')} practised on after block {usual}, where others ended. Count "
        "practice up to that block only?",
        {
            "rule": f"practice beyond block {usual}",
            "phases": [PRACTICE_PHASE],
            "column": "block",
            "above": usual,
            "reason": "further practice, which was free",
        },
    )


def _defaults(table: pd.DataFrame, columns: list[str]) -> Iterator[ProposedRule]:
    """Values that are there again and again among finely graded ones."""
    for name in columns:
        often, rows = often_repeated(table, name)
        for value, times in often.head(3).items():
            yield ProposedRule(
                "replacements",
                f"Exactly {value:g} stands in {times} of {rows} rows of {name}. What does it stand "
                "for?",
                {
                    "column": name,
                    "equals": int(value) if value == round(value) else value,
                    "reason": f"{value:g} is what the device writes there",
                },
                "value",
            )


def _misses(table: pd.DataFrame, columns: list[str]) -> Iterator[ProposedRule]:
    """Trials at tests that count and hold no value."""
    rows = _tests(table)
    for name in columns:
        empty = int(rows[name].isna().sum())
        if empty:
            yield ProposedRule(
                "replacements",
                f"{empty} trials at the tests hold no {name} and no reason in void. Do they get "
                "the person's largest value there?",
                {
                    "column": name,
                    "phases": ["tests"],
                    "missing": True,
                    "take": "largest",
                    "reason": "no value could be taken",
                },
            )
