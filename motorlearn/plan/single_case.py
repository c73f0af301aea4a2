"""Drawing the conditions of one athlete to five by lot, with a seed and a record."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from motorlearn.design import Design, Randomisation, SingleCasePlan
from motorlearn.exceptions import InputError
from motorlearn.measures.single_case import count_assignments, draw_conditions
from motorlearn.results import Recipe, Result
from motorlearn.rows import Schema
from motorlearn.tables import Column, Table

STARTS = Schema(
    (
        Column("case"),
        Column("change", kind="count"),
        Column("session", "begins with session", "count"),
        Column("condition"),
    )
)


@dataclass(frozen=True)
class SingleCaseDraw(Result):
    """Conditions as they were drawn.

    Attributes
    ----------
    table : DataFrame
        ``participant, task, session, condition``: one row per case and session; ``task`` is empty
        where baselines are not staggered over skills.
    starts : DataFrame
        ``case, change, session, condition``: the session with which each phase begins.
    draw : Randomisation
        What it was drawn from.
    assignments : int
        In how many ways it could have come out, all equally likely.
    recipe : Recipe
        Seed and options.
    """

    table: pd.DataFrame
    starts: pd.DataFrame
    draw: Randomisation
    assignments: int
    recipe: Recipe

    def tables(self) -> Sequence[Table]:
        """The sessions with which phases begin."""
        note = f"Drawn with seed {self.recipe.seed} from {self.assignments} ways, equally likely."
        return (STARTS.table("starts", "Conditions as drawn", self.starts, (note,)),)


def draw_single_case(
    design: Design, participants: Sequence[str], *, seed: int | None = None
) -> SingleCaseDraw:
    """Draw start points, changes or alternations of a single-case plan by lot.

    Parameters
    ----------
    design : Design
        A plan with a section ``single_case``.
    participants : sequence of str
        The athletes; of a multiple baseline over skills the tasks of the plan are the cases.
    seed : int, optional
        Seed; by default that of the allocation, else of the study.

    Returns
    -------
    SingleCaseDraw

    Raises
    ------
    InputError
        If the plan has no such section, draws nothing, has no seed, or its start points do not fit
        the number of cases.

    Examples
    --------
    >>> from motorlearn.design import design_from_mapping
    >>> plan = design_from_mapping({
    ...     "study": {"title": "Ring push of one"},
    ...     "single_case": {"design": "AB", "sessions": 12, "starts": [5, 8]},
    ...     "outcomes": [{"name": "radial_error", "better": "lower"}],
    ... })
    >>> drawn = draw_single_case(plan, ["P01"], seed=2)
    >>> drawn.assignments, bool(5 <= drawn.starts["session"].iloc[1] <= 8)
    (4, True)
    """
    plan = plan_that_draws(design)
    seed = next(
        (s for s in (seed, design.allocation.seed, design.study.seed) if s is not None), None
    )
    if seed is None:
        raise InputError("the plan has no seed", remedy="set study.seed, or give one")
    cases = _cases(design, plan, list(participants))
    plan.draw.check(len(cases), plan.sessions)
    sessions = [plan.sessions] * len(cases)
    codes = draw_conditions(plan.draw, sessions, np.random.default_rng(seed))
    return SingleCaseDraw(
        table=_table(cases, codes, plan.conditions),
        starts=_starts(cases, codes, plan.conditions),
        draw=plan.draw,
        assignments=count_assignments(plan.draw, sessions),
        recipe=Recipe("draw_single_case", {}, {"cases": len(cases)}, len(cases), seed=seed),
    )


def with_conditions(
    trials: pd.DataFrame, design: Design, people: pd.DataFrame, seed: int
) -> tuple[pd.DataFrame, SingleCaseDraw | None]:
    """Trials of a sheet with the condition of each session; as they are for other plans.

    Where nothing is drawn the column is left empty, to be filled in.
    """
    plan = design.single_case
    if plan is None:
        return trials, None
    if not plan.randomised:
        return trials.assign(**{plan.column: ""}), None
    drawn = draw_single_case(design, people["participant"].astype("str").tolist(), seed=seed)
    by = ["participant", "session", *(["task"] if plan.across == "task" else [])]
    known = drawn.table.set_index(by)["condition"]
    keys = pd.MultiIndex.from_frame(trials[by].astype({"participant": "str"}))
    place = list(trials.columns).index("session") + 1
    found = trials.copy()
    found.insert(place, plan.column, known.reindex(keys).fillna("").to_numpy())
    return found, drawn


def plan_that_draws(design: Design) -> SingleCasePlan:
    """The section of a single case, where lot decides.

    Raises
    ------
    InputError
        If the plan has none, or draws nothing.
    """
    if design.single_case is None:
        raise InputError(
            "the plan is not one of a single case",
            None,
            "add a section [single_case] to study.toml",
        )
    if not design.single_case.randomised:
        raise InputError(
            "the plan draws nothing by lot", ["randomised = false"], "set it to true to draw"
        )
    return design.single_case


def _cases(design: Design, plan: SingleCasePlan, people: list[str]) -> list[tuple[str, str]]:
    """Athletes, or the skills of the one athlete, as pairs of participant and task."""
    if not people:
        raise InputError("nobody is named to draw for", None, "name the athletes")
    if plan.across == "participant":
        return [(person, "") for person in people]
    tasks = [task.name for task in design.tasks]
    if not tasks or len(people) > 1:
        raise InputError(
            "baselines over skills need the tasks of the plan and one athlete",
            [f"{len(people)} athletes", f"{len(tasks)} tasks"],
            "list the skills under [[tasks]], and draw for one athlete at a time",
        )
    return [(people[0], task) for task in tasks]


def _table(
    cases: list[tuple[str, str]], codes: list[np.ndarray], names: tuple[str, str]
) -> pd.DataFrame:
    rows = [
        (person, task, session, names[int(code)])
        for (person, task), drawn in zip(cases, codes)
        for session, code in enumerate(drawn, start=1)
    ]
    return pd.DataFrame(rows, columns=["participant", "task", "session", "condition"])


def _starts(
    cases: list[tuple[str, str]], codes: list[np.ndarray], names: tuple[str, str]
) -> pd.DataFrame:
    rows = []
    for (person, task), drawn in zip(cases, codes):
        at = [0, *(np.flatnonzero(np.diff(drawn)) + 1)]
        name = f"{person}, {task}" if task else person
        rows += [
            STARTS.row(case=name, change=n, session=int(i) + 1, condition=names[int(drawn[i])])
            for n, i in enumerate(at)
        ]
    return STARTS.frame(rows)
