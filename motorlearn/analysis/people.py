"""Who was allocated, who is there at each part of the study, and who is not."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from motorlearn.compare import PhaseComparison
from motorlearn.design import Design, stages_of
from motorlearn.results import Refused, nobody_left_out, register_record
from motorlearn.rows import Schema
from motorlearn.tables import Column
from motorlearn.trials import Study, counted_rows
from motorlearn.vocabulary import PRACTICE_PHASE

FLOW = Schema((Column("group"), Column("stage"), Column("n", kind="count"), Column("note")))
ATTRITION = Schema(
    (
        Column("stage"),
        Column("group"),
        Column("reason"),
        Column("participants", kind="count"),
        Column("rows", kind="whole"),
    )
)


@register_record
@dataclass(frozen=True)
class People:
    """Who took part, who is where, who is missing.

    Attributes
    ----------
    roster : DataFrame
        One row per allocated participant; where people meet every condition, one for each person
        under each condition, with the ``person``.
    presence : DataFrame
        ``participant, group, stage, trials, share`` of the planned trials.
    flow : DataFrame
        ``group, stage, n, note``: how many reached each part.
    attrition : DataFrame
        ``stage, group, reason, participants, rows``: who and what is absent or left out.
    """

    roster: pd.DataFrame
    presence: pd.DataFrame = field(repr=False)
    flow: pd.DataFrame
    attrition: pd.DataFrame

    @property
    def count(self) -> int:
        """Number of people."""
        column = "person" if "person" in self.roster else "participant"
        return int(self.roster[column].nunique())


def people_of(
    study: Study,
    table: pd.DataFrame,
    comparison: PhaseComparison | Refused,
    groups: Sequence[str],
) -> People:
    """Roster, presence, flow and attrition; who was left out is told by the comparison."""
    if study.design.within is not None:
        table = by_condition(table)
        known = _everybody_everywhere(table, groups)
    else:
        known = roster(study, table)
    there = presence(table, known, study.design)
    left_out = nobody_left_out()
    if not isinstance(comparison, Refused):
        left_out = comparison.recipe.left_out
    return People(
        known,
        there,
        participant_flow(there, list(groups), known),
        attrition(there, left_out, list(groups)),
    )


def by_condition(table: pd.DataFrame) -> pd.DataFrame:
    """Each person under each condition as one, where people meet every condition."""
    names = table["participant"].astype(str) + " (" + table["group"].astype(str) + ")"
    return table.assign(person=table["participant"], participant=names)


def _everybody_everywhere(table: pd.DataFrame, groups: Sequence[str]) -> pd.DataFrame:
    """Every person under every condition: ``participant, group, person``."""
    people = pd.DataFrame({"person": table["person"].drop_duplicates()})
    known = people.merge(pd.DataFrame({"group": list(groups)}), how="cross")
    names = known["person"].astype(str) + " (" + known["group"] + ")"
    return known.assign(participant=names)[["participant", "group", "person"]]


def roster(study: Study, table: pd.DataFrame) -> pd.DataFrame:
    """One row per allocated participant: ``participant, group`` and what else is known."""
    trials = table[["participant", "group"]].drop_duplicates("participant")
    if study.participants is None or "group" not in study.participants:
        return trials.reset_index(drop=True)
    known = study.participants.drop_duplicates("participant")
    extra = trials[~trials["participant"].isin(known["participant"])]
    return pd.concat([known, extra], ignore_index=True)


def presence(table: pd.DataFrame, people: pd.DataFrame, design: Design) -> pd.DataFrame:
    """Share of the planned trials that each participant has in each part of the study.

    Parameters
    ----------
    table : DataFrame
        Trials with a column ``stage``.
    people : DataFrame
        ``participant, group`` of everybody allocated.
    design : Design
        The plan, which says how many trials there should be.

    Returns
    -------
    DataFrame
        ``participant, group, stage, trials, share``; practice has one stage per session.
    """
    part = _parts(table, design)
    counts = _counts(table, part)
    rows = []
    for name, planned in _planned(design, part).items():
        mine = people[[_takes(design, name, group) for group in people["group"]]]
        if mine.empty:
            continue
        seen = mine["participant"].map(counts[counts["part"] == name].set_index("participant")["n"])
        n = seen.fillna(0).astype(int)
        whole = planned or max(int(n.max()), 1)
        rows.append(
            mine[["participant", "group"]].assign(
                stage=name, trials=n.to_numpy(), share=np.minimum(n / whole, 1.0).to_numpy()
            )
        )
    return pd.concat(rows, ignore_index=True)


def _takes(design: Design, stage: str, group: object) -> bool:
    """Whether a group takes part in a stage; it may where the plan does not tell groups apart."""
    if design.practice_is_shared or group not in design.group_names:
        return True
    own = {f"Practice session {entry.session}" for entry in design.practice_of(str(group))}
    every = {f"Practice session {entry.session}" for entry in design.practice}
    if stage == "Practice":
        return bool(own)
    return stage in own or stage not in every


def _parts(table: pd.DataFrame, design: Design) -> pd.Series:
    labels = {stage.name: stage.short for stage in stages_of(design)}
    names = {name: labels.get(name, str(name)) for name in table["stage"].unique()}
    part = table["stage"].map(names)
    practised = table["phase"] == PRACTICE_PHASE
    if "session" in table:
        known = table["session"].dropna().unique()
        session = table["session"].map({value: f"Practice session {value:g}" for value in known})
        part = part.mask(practised, session.fillna("Practice"))
    return part.mask(practised & (part == labels.get(PRACTICE_PHASE, "")), "Practice")


def _counts(table: pd.DataFrame, part: pd.Series) -> pd.DataFrame:
    outcomes = [n for n in ("hit", "hits", "error", "x", "radial_error", "time") if n in table]
    present = counted_rows(table)
    if outcomes:
        present &= table[outcomes].notna().any(axis=1).to_numpy()
    weight = table["attempts"] if "attempts" in table else pd.Series(1, index=table.index)
    used = pd.DataFrame({"participant": table["participant"], "part": part, "n": weight})[present]
    return used.groupby(["participant", "part"], observed=True)["n"].sum().reset_index()


def _planned(design: Design, part: pd.Series) -> dict[str, int | None]:
    """Planned trials of each part in the order of the study; None where the plan is silent.

    Practice that the data do not hold by session stands as one part, and practice that was not
    recorded as none: nobody was absent from it.
    """
    recorded = set(part.dropna().unique())
    shared = design.practice_is_shared
    sessions: dict[str, int | None] = {
        f"Practice session {entry.session}": entry.trials if shared else None
        for entry in design.practice
    }
    if not recorded & set(sessions):
        whole = {"Practice": sum(entry.trials for entry in design.practice) if shared else None}
        sessions = whole if "Practice" in recorded else {}
    found: dict[str, int | None] = {}
    for stage in stages_of(design):
        if stage.test is not None:
            found[stage.short] = stage.test.trials
        else:
            found.update(sessions)
    for name in part.dropna().unique():
        found.setdefault(str(name), None)
    return found


def participant_flow(
    present: pd.DataFrame, groups: list[str], people: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Participants of each group at each part: ``group, stage, n, note``.

    Parameters
    ----------
    present : DataFrame
        ``participant, group, stage, trials``.
    groups : list of str
        Groups in order.
    people : DataFrame, optional
        ``participant`` and, where it is known, why somebody left: ``status``, ``stopped_because``.
        The note of the part at which somebody is absent for the first time tells the reason.
    """
    first = present["stage"].iloc[0]
    allocated = present[present["stage"] == first].groupby("group")["participant"].nunique()
    rows = [
        FLOW.row(group=group, stage="Allocated", n=int(allocated.get(group, 0))) for group in groups
    ]
    told: set[object] = set()
    for stage, part in present.groupby("stage", sort=False):
        for group in (name for name in groups if name in set(part["group"])):
            mine = part[part["group"] == group]
            n = mine.loc[mine["trials"] > 0, "participant"].nunique()
            away = set(mine.loc[mine["trials"] == 0, "participant"])
            note = [f"{len(away)} absent"] if away else []
            note += _reasons(people, away - told)
            told |= away
            rows.append(FLOW.row(group=group, stage=str(stage), n=int(n), note="\n".join(note)))
    return FLOW.frame(rows)


def _reasons(people: pd.DataFrame | None, away: set[object]) -> list[str]:
    """A line for each reason of those who are absent for the first time."""
    if people is None or not away:
        return []
    counts = reasons_of(people[people["participant"].isin(away)])
    return [f"{n} {reason}" for reason, n in counts.items()]


COMPLETED = "completed"
"""Status of somebody who stayed, which is no reason."""


def reasons_of(people: pd.DataFrame) -> dict[str, int]:
    """Count the reasons noted for people who are missing, the most frequent first.

    Parameters
    ----------
    people : DataFrame
        Who is missing; ``stopped_because`` or ``status`` hold the reason where there is one.
    """
    columns = [name for name in ("stopped_because", "status") if name in people]
    if not columns or people.empty:
        return {}
    known = people[columns].astype("str").where(people[columns].notna(), "")
    known = known.replace(COMPLETED, "").apply(lambda column: column.str.strip())
    first = known[columns[0]].where(known[columns[0]] != "", known[columns[-1]])
    return {str(name): int(n) for name, n in first[first != ""].value_counts().items()}


def attrition(present: pd.DataFrame, left_out: pd.DataFrame, groups: list[str]) -> pd.DataFrame:
    """Absences and trials left out: ``stage, group, reason, participants, rows``."""
    gone = present[present["trials"] == 0].groupby(["stage", "group"], sort=False)["participant"]
    rows = [
        ATTRITION.row(stage=stage, group=group, reason="no usable trial", participants=int(n))
        for (stage, group), n in gone.nunique().items()
    ]
    trials = left_out[left_out["rows"] > 0]
    by_reason = trials.groupby(["group", "reason"], sort=False)
    rows += [
        ATTRITION.row(
            stage="all",
            group=group,
            reason=reason,
            participants=part["participant"].nunique(),
            rows=int(part["rows"].sum()),
        )
        for (group, reason), part in by_reason
    ]
    found = ATTRITION.frame(rows)
    order = {name: place for place, name in enumerate(groups)}
    stages = {name: place for place, name in enumerate([*dict.fromkeys(present["stage"]), "all"])}
    ranks = pd.DataFrame({"s": found["stage"].map(stages), "g": found["group"].map(order)})
    return found.loc[ranks.sort_values(["s", "g"], kind="stable").index].reset_index(drop=True)
