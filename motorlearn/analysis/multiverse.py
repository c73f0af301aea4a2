"""The primary comparison in every combination of declared choices."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from motorlearn.analysis.choices import Alternatives, Choice, choices_of
from motorlearn.analysis.outcome import compared
from motorlearn.analysis.primary import primary_answer
from motorlearn.analysis.questions import Question, question_of
from motorlearn.analysis.scores import scores_of
from motorlearn.analysis.staged import staged_trials
from motorlearn.exceptions import InputError
from motorlearn.results import Recipe, Refused, Result, or_refused
from motorlearn.rows import Row, Schema
from motorlearn.tables import Column, Table
from motorlearn.trials import Study

RESPECTS = ("exclusion", "outcome", "effect", "covariates", "model")
"""What combinations differ in."""
COMBINATION = Schema(
    (
        Column("combination", kind="count"),
        Column("primary", kind="flag"),
        Column("exclusion"),
        Column("outcome"),
        Column("effect"),
        Column("covariates"),
        Column("model"),
        Column("n", kind="count"),
        Column("estimate", kind="significant"),
        Column("conf_low", "lower", "significant"),
        Column("conf_high", "upper", "significant"),
        Column("df", kind="number"),
        Column("p", "p", "p"),
        Column("g", kind="number"),
        Column("g_low", "lower", "number"),
        Column("g_high", "upper", "number"),
        Column("direction", kind="number"),
        Column("verdict", kind="number"),
        Column("reason"),
    ),
    (
        "combination", "exclusion", "outcome", "effect", "covariates", "model", "n", "estimate",
        "conf_low", "conf_high", "p", "g", "reason",
    ),
)  # fmt: skip
CHOICE = Schema(
    (
        Column("respect"),
        Column("choice"),
        Column("planned", "the plan's own", "flag"),
        Column("computed", kind="count"),
        Column("not_computed", "not computed", "count"),
        Column("same_sign", "same sign", "count"),
        Column("same_verdict", "same verdict", "count"),
    )
)


@dataclass(frozen=True)
class Multiverse(Result):
    """The primary comparison in every combination of the choices that the plan declares.

    It describes how far the answer hangs on these choices. It is no test: combinations share their
    data, and how many agree has no error rate.

    Parameters
    ----------
    table : DataFrame
        One row per combination, the plan's own first: ``combination, primary``, a column for each
        respect (``exclusion, outcome, effect, covariates, model``), ``n, estimate, conf_low,
        conf_high, df, p, g, g_low, g_high``; ``direction`` is 1 where the group scored better than
        the reference, -1 where worse; ``verdict`` is that where p lies below the level, else 0;
        ``reason`` says why a combination could not be computed.
    choices : DataFrame
        One row per choice: ``respect, choice, planned, computed, not_computed, same_sign,
        same_verdict``, counted over the combinations that hold it.
    group, reference : str
        What is compared.
    unit : str
        Unit of the estimates where all share one scale, else empty: estimates are then set beside
        one another as g.
    null : float
        Value of the estimates at which there is no difference; 1 for ratios, else 0.
    level : float
        Level of intervals; p is held against the rest.
    recipe : Recipe
        How it was made.
    """

    table: pd.DataFrame = field(repr=False)
    choices: pd.DataFrame = field(repr=False)
    group: str
    reference: str
    unit: str
    null: float
    level: float
    recipe: Recipe = field(repr=False)

    @property
    def computed(self) -> pd.DataFrame:
        """Combinations that could be computed."""
        return self.table[self.table["reason"] == ""]

    @property
    def one_scale(self) -> bool:
        """Whether all combinations are of one outcome on one scale."""
        return len(self.table[["outcome", "effect"]].drop_duplicates()) == 1

    @property
    def same_sign(self) -> int:
        """Computed combinations with the sign of the plan's own, itself among them."""
        return _same(self.table, self.computed, "direction")

    @property
    def same_verdict(self) -> int:
        """Computed combinations with the verdict of the plan's own, itself among them."""
        return _same(self.table, self.computed, "verdict")

    def tables(self) -> Sequence[Table]:
        """Combinations, then choices."""
        note = (
            "It describes how far the answer hangs on declared choices; combinations share their "
            "data, and how many agree is no test."
        )
        return (
            COMBINATION.table(
                "multiverse", "Combinations of declared choices", self.table, (note,)
            ),
            CHOICE.table("choices", "Agreement by choice", self.choices),
        )


def multiverse(study: Study, *, level: float = 0.95) -> Multiverse:
    """Run the primary comparison in every combination of choices that the plan declares.

    Section ``[multiverse]`` of the plan names alternatives to its exclusions, outcome, scale,
    covariates and model (Steegen et al. 2016). Every combination of them and of the plan's own
    choices is run, and no other. The result describes; it is no test.

    Parameters
    ----------
    study : Study
        What :func:`motorlearn.read_study` gave.
    level : float
        Level of intervals.

    Returns
    -------
    Multiverse
        Estimates are group minus reference, or group by reference.

    Raises
    ------
    InputError
        If the plan declares no alternatives, or its primary comparison is not one of two groups
        between people.

    References
    ----------
    Steegen, S., Tuerlinckx, F., Gelman, A., & Vanpaemel, W. (2016). Increasing transparency
    through a multiverse analysis. Perspectives on Psychological Science, 11, 702-712.
    https://doi.org/10.1177/1745691616658637

    Examples
    --------
    >>> import motorlearn as ml
    >>> plan = ml.design.design_from_mapping({
    ...     "study": {"title": "Ring push"},
    ...     "groups": [{"name": "blocked", "size": 8}, {"name": "random", "size": 8}],
    ...     "tests": [{"phase": "pretest", "trials": 20},
    ...               {"phase": "retention", "trials": 20, "interval_days": 7}],
    ...     "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
    ...     "primary": {"outcome": "radial_error", "groups": ["random", "blocked"]},
    ...     "multiverse": {"models": ["change score", "unadjusted"], "effects": ["ratio"]},
    ... })
    >>> found = multiverse(ml.simulate_study(plan, seed=3, missing=False))
    >>> len(found.table), bool(found.table["primary"].iloc[0])
    (6, True)
    """
    if study.design.multiverse is None:
        raise InputError(
            "the plan declares no alternatives to its choices",
            remedy="add a section [multiverse] to study.toml",
        )
    table = staged_trials(study)
    question = question_of(study.design, table)
    asked = question.outcomes[0]
    comparison = compared(scores_of(table, asked.outcome, study.design), asked, question)
    answer = primary_answer(asked.outcome.name, comparison, question)
    return _run(study, table, question, answer.primary.iloc[0], level)


@or_refused
def multiverse_beside(
    study: Study, table: pd.DataFrame, question: Question, primary: pd.Series, level: float
) -> Multiverse:
    """The combinations beside a primary answer that is known."""
    return _run(study, table, question, primary, level)


def multiverse_of(
    study: Study, table: pd.DataFrame, question: Question, primary: pd.DataFrame, level: float
) -> Multiverse | Refused | None:
    """The combinations where the plan declares some, why there are none, or nothing."""
    if study.design.multiverse is None:
        return None
    return multiverse_beside(study, table, question, primary.iloc[0], level)


def _run(
    study: Study, table: pd.DataFrame, question: Question, primary: pd.Series, level: float
) -> Multiverse:
    _refuse(question)
    pair = (str(primary["group"]), str(primary["reference"]))
    run = Alternatives(study, table, question, pair, level)
    rows = [
        _row(number, choice, run.contrast(choice), run)
        for number, choice in enumerate(choices_of(question), start=1)
    ]
    found = COMBINATION.frame(rows)
    asked = question.outcomes[0]
    one = len(found[["outcome", "effect"]].drop_duplicates()) == 1
    recipe = Recipe(
        "multiverse",
        {"outcome": asked.outcome.name},
        {"level": level, "test": str(primary["test"])},
        n=int(found["n"].max()),
        engine="each contrast as motorlearn.compare_phases computes it",
    )
    return Multiverse(
        table=found,
        choices=_choices(found),
        group=pair[0],
        reference=pair[1],
        unit=asked.outcome.unit if one and asked.effect == "difference" else "",
        null=float(primary["null"]) if one else 0.0,
        level=level,
        recipe=recipe,
    )


def _refuse(question: Question) -> None:
    design = question.design
    named = {
        "a single case": design.single_case is not None,
        "conditions within people": design.within is not None,
        "factors": bool(design.primary is not None and design.primary.factors),
        "one group": len(question.groups) < 2,
    }
    for what, is_so in named.items():
        if is_so:
            raise InputError(
                f"a multiverse is of two groups between people, and the primary comparison is of "
                f"{what}"
            )
    if question.primary_stage is None:
        raise InputError("there are no trials of the primary test yet")


def _row(number: int, choice: Choice, found: Row | str, run: Alternatives) -> Row:
    head: dict[str, Any] = {"combination": number, "primary": number == 1, **choice.named}
    if isinstance(found, str):
        return COMBINATION.row(**head, reason=found)
    null = 1.0 if choice.effect == "ratio" else 0.0
    better = 1.0 if run.outcome(choice.outcome).better == "higher" else -1.0
    direction = better * float(np.sign(found["estimate"] - null))
    names = ("estimate", "conf_low", "conf_high", "df", "p", "g", "g_low", "g_high")
    return COMBINATION.row(
        **head,
        **{name: found[name] for name in names},
        n=int(found["n_group"] + found["n_reference"]),
        direction=direction,
        verdict=direction if found["p"] < 1 - run.level else 0.0,
    )


def _same(table: pd.DataFrame, rows: pd.DataFrame, name: str) -> int:
    return int((rows[name] == table[name].iloc[0]).sum())


def _choices(table: pd.DataFrame) -> pd.DataFrame:
    rows = []
    for respect in RESPECTS:
        for choice, part in table.groupby(respect, sort=False):
            done = part[part["reason"] == ""]
            rows.append(
                CHOICE.row(
                    respect=respect,
                    choice=str(choice),
                    planned=choice == table[respect].iloc[0],
                    computed=len(done),
                    not_computed=len(part) - len(done),
                    same_sign=_same(table, done, "direction"),
                    same_verdict=_same(table, done, "verdict"),
                )
            )
    return CHOICE.frame(rows)
