"""Everything that is computed for a report, once, before a word is written."""

from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from motorlearn.compare import BlockComparison, PhaseComparison, compare_blocks, compare_phases
from motorlearn.design import Design, Outcome, Stage, stage_column, stages_of
from motorlearn.exceptions import InputError
from motorlearn.report.extras import attempt, beside, mixed_model
from motorlearn.report.figure_cache import Kept
from motorlearn.report.people import attrition, participant_flow, presence, roster
from motorlearn.report.scores import Detectable, Scored, detectable_change, group_points, scored
from motorlearn.results import Refused
from motorlearn.trials import Study
from motorlearn.vocabulary import PRACTICE_PHASE
from motorlearn.wording.voice import Voice, decimals_for

CELLS = ("participant", "group", "phase", "stage", "session", "block", "task")


@dataclass(frozen=True)
class OutcomeFindings:
    """What is known about one outcome."""

    outcome: Outcome
    voice: Voice
    comparison: PhaseComparison | Refused
    practice: BlockComparison | Refused
    cells: pd.DataFrame
    points: pd.DataFrame
    by_task: pd.DataFrame
    changes: pd.DataFrame
    change_stages: tuple[str, str] | None
    detectable: Detectable | None


@dataclass(frozen=True)
class Findings:
    """What a report says, before it is said.

    Parameters
    ----------
    study : Study
        What was read.
    table : DataFrame
        Trials with a column ``stage``.
    stages : tuple of Stage
        Parts of the study that have trials.
    people, presence, flow, attrition : DataFrame
        Who took part, who is missing where.
    outcomes : tuple of OutcomeFindings
        The primary outcome first.
    results : dict of str to Result or Refused
        Agreement of raters, assumptions and whatever else stands beside the comparison.
    kept : Kept
        Drawings of an earlier report that may be taken over.
    """

    study: Study
    table: pd.DataFrame
    stages: tuple[Stage, ...]
    people: pd.DataFrame
    presence: pd.DataFrame
    flow: pd.DataFrame
    attrition: pd.DataFrame
    outcomes: tuple[OutcomeFindings, ...]
    results: dict[str, Any] = field(default_factory=dict)
    kept: Kept = field(default_factory=Kept)

    @property
    def design(self) -> Design:
        """The plan."""
        return self.study.design

    @property
    def groups(self) -> list[str]:
        """Groups of the plan that have people, in the order of the plan."""
        present = set(self.people["group"].astype("str"))
        planned = [name for name in self.design.group_names if name in present]
        return planned + sorted(present - set(planned))

    @property
    def allocated(self) -> dict[str, int]:
        """People allocated to each group."""
        counts = self.people["group"].value_counts()
        return {group: int(counts.get(group, 0)) for group in self.groups}


def find(study: Study, *, decimal: str = ".", only: str | None = None) -> Findings:
    """Compute everything that a report of this study holds.

    Parameters
    ----------
    study : Study
        A study without errors in its data.
    decimal : str
        Decimal sign of the texts.
    only : str, optional
        Name of the one outcome to report.
    """
    design = study.design
    table = study.trials.table.assign(stage=stage_column(study.trials.table, design))
    present = set(table["stage"])
    stages = tuple(stage for stage in stages_of(design) if stage.name in present)
    people = roster(study)
    there = presence(table, people, design)
    names = [name for name in design.group_names if name in set(people["group"].astype("str"))]
    outcomes = tuple(
        _outcome(table, outcome, design, stages, decimal) for outcome in _chosen(design, only)
    )
    left_out = _left_out(outcomes)
    return Findings(
        study,
        table,
        stages,
        people,
        there,
        participant_flow(there, names),
        attrition(there, left_out, names),
        outcomes,
        _beside(study, table, outcomes[0], stages),
    )


def primary_stage(design: Design, stages: tuple[Stage, ...]) -> str:
    """Stage of the primary comparison: the declared one, else the last delayed test."""
    wanted = design.primary.phase if design.primary else "retention"
    tests = [stage for stage in stages if stage.phase != PRACTICE_PHASE]
    late = [stage for stage in tests if stage.phase == wanted]
    late = late or [stage for stage in tests if stage.is_delayed] or tests
    return late[-1].name


def _beside(
    study: Study, table: pd.DataFrame, entry: OutcomeFindings, stages: tuple[Stage, ...]
) -> dict[str, Any]:
    design = study.design
    late = primary_stage(design, stages)
    found = beside(study, entry.comparison, entry.cells, late)
    pair = entry.change_stages
    if pair is not None and entry.outcome.name in table:
        effect = design.primary.effect if design.primary else "difference"
        found["mixed model"] = attempt(
            lambda: mixed_model(
                table,
                entry.outcome.name,
                (pair[0], late),
                effect,
                _reference(design, _groups(table, design)),
            )
        )
    return found


def _chosen(design: Design, only: str | None) -> list[Outcome]:
    first = design.primary.outcome if design.primary else design.outcomes[0].name
    ordered = sorted(design.outcomes, key=lambda outcome: outcome.name != first)
    if only is None:
        return ordered
    chosen = [outcome for outcome in ordered if outcome.name == only]
    if not chosen:
        known = ", ".join(outcome.name for outcome in ordered)
        raise InputError("the plan has no such outcome", [only], f"its outcomes are {known}")
    return chosen


def _left_out(outcomes: tuple[OutcomeFindings, ...]) -> pd.DataFrame:
    for entry in outcomes:
        if isinstance(entry.comparison, PhaseComparison):
            return entry.comparison.recipe.left_out
    return pd.DataFrame(columns=["participant", "group", "reason", "rows"])


def _outcome(
    table: pd.DataFrame, outcome: Outcome, design: Design, stages: tuple[Stage, ...], decimal: str
) -> OutcomeFindings:
    data = scored(table, outcome, CELLS)
    cells = data.cells(["participant", "group", "stage"])
    places = decimals_for(_spread(cells))
    rate = "rate" in data.outcome.label or data.outcome.high == 1
    voice = Voice(design, data.outcome, min(places, 2) if rate else places, decimal)
    pair = _change_stages(design, stages)
    ranks = _ranks(design, stages)
    points, practised = _points(data, ranks)
    return OutcomeFindings(
        data.outcome,
        voice,
        attempt(lambda: _compare(data, design, stages)),
        attempt(lambda: _practice(data, design)),
        practised,
        points,
        _by_task(data, ranks),
        _changes(_ordered(cells, ranks, "group"), pair),
        pair,
        detectable_change(data, "stage", *pair) if pair else None,
    )


def _spread(cells: pd.DataFrame) -> float:
    """Smallest SD of scores in a cell; with one person a cell, the SD of all scores."""
    within = cells.groupby(["group", "stage"], observed=True)["score"].std().min()
    return float(within if pd.notna(within) else cells["score"].std())


def _compare(data: Scored, design: Design, stages: tuple[Stage, ...]) -> PhaseComparison:
    primary = design.primary
    mine = primary is not None and primary.outcome == data.outcome.name
    names = [stage.name for stage in stages]
    groups = _groups(data.table, design)
    baseline = (primary.baseline if primary else "pretest") or None
    options: dict[str, Any] = {
        "group": "group",
        "phase": "stage",
        "baseline": baseline if baseline in names else None,
        "attempts": data.attempts,
        "phases": names,
        "groups": groups,
        "reference": _reference(design, groups),
        "pairs": "reference" if primary is not None and primary.groups else "all",
        "better": data.outcome.better,
    }
    if mine and primary is not None:
        options["effect"] = primary.effect
        options["variance"] = primary.variance
        if design.smallest_effect is not None:
            value = design.smallest_effect.value
            ratio = primary.effect == "ratio" and value < 1
            options["equivalence"] = 1 / value if ratio else value * data.per_unit
    return compare_phases(data.table, data.column, **options)


def _groups(table: pd.DataFrame, design: Design) -> list[str]:
    present = set(table["group"].astype("str"))
    return [name for name in design.group_names if name in present]


def _reference(design: Design, groups: list[str]) -> str:
    named = design.primary.groups if design.primary else ()
    return named[1] if len(named) > 1 and named[1] in groups else groups[0]


def _practice(data: Scored, design: Design) -> BlockComparison:
    block = [name for name in ("session", "block") if name in data.table]
    return compare_blocks(
        data.table,
        data.column,
        group="group",
        block=block,
        attempts=data.attempts,
        groups=_groups(data.table, design),
    )


def _ranks(design: Design, stages: tuple[Stage, ...]) -> dict[str, dict[str, int]]:
    """Place of every group and stage in the plan."""
    return {
        "group": {name: place for place, name in enumerate(design.group_names)},
        "stage": {stage.name: place for place, stage in enumerate(stages)},
        "task": {"all": -1} | {task.name: place for place, task in enumerate(design.tasks)},
    }


def _ordered(frame: pd.DataFrame, ranks: dict[str, dict[str, int]], *by: str) -> pd.DataFrame:
    """Sort rows in the order of the plan; columns without a rank by their values."""
    return frame.sort_values(
        list(by),
        key=lambda column: column.map(ranks[column.name]) if column.name in ranks else column,
        kind="stable",
    ).reset_index(drop=True)


def _points(data: Scored, ranks: dict[str, dict[str, int]]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Group means and participants' scores by block of practice and by test."""
    table = data.table
    practised = table["phase"] == PRACTICE_PHASE
    keys = {name: table[name] if name in table else float("nan") for name in ("session", "block")}
    keyed = table.assign(
        **{
            name: pd.Series(values, index=table.index).where(practised)
            for name, values in keys.items()
        }
    )
    cells = Scored(keyed, data.column, data.attempts, data.outcome, data.by_trial).cells(
        ["participant", "group", "stage", "session", "block"]
    )
    cells = _ordered(cells, ranks, "stage", "session", "block", "group")
    cells = cells.rename(columns={"stage": "phase"})
    return group_points(cells, ["group", "phase", "session", "block"]), cells


def _by_task(data: Scored, ranks: dict[str, dict[str, int]]) -> pd.DataFrame:
    by = ["group", "stage"]
    parts = [group_points(data.cells(["participant", *by]), by).assign(task="all")]
    if "task" in data.table and data.table["task"].nunique() > 1:
        cells = data.cells(["participant", *by, "task"])
        parts.append(group_points(cells, [*by, "task"]))
    rows = pd.concat(parts, ignore_index=True)
    known = set(rows["task"]) <= set(ranks["task"])
    ranks = ranks if known else {name: ranks[name] for name in by}
    return _ordered(rows, ranks, "stage", "task", "group")


def _change_stages(design: Design, stages: tuple[Stage, ...]) -> tuple[str, str] | None:
    """The two tests whose change is shown: first test, and the primary or last delayed one."""
    tests = [stage for stage in stages if stage.phase != PRACTICE_PHASE]
    if len(tests) < 2:
        return None
    wanted = design.primary.phase if design.primary else "retention"
    later = [stage for stage in tests[1:] if stage.phase == wanted] or tests[1:]
    return tests[0].name, later[-1].name


def _changes(cells: pd.DataFrame, pair: tuple[str, str] | None) -> pd.DataFrame:
    if pair is None:
        return pd.DataFrame(columns=["participant", "group", "change"])
    wide = cells.pivot_table(
        index=["participant", "group"], columns="stage", values="score", observed=True, sort=False
    )
    wide = wide.reindex(columns=list(pair))
    return (wide[pair[1]] - wide[pair[0]]).rename("change").reset_index()
