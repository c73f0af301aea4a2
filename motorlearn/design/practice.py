"""Practice sessions of a plan: as listed, or as the programme and its drills give them."""

from collections.abc import Sequence
from typing import Literal

from pydantic import Field

from motorlearn.design.base import Effort, Name, Section
from motorlearn.design.programme import Drill, DrillDose, Programme

TaskOrder = Literal["blocked", "serial", "random", "constant", "variable", "increasing"]


class Practice(Section):
    """One practice session, of everybody or of some groups.

    ``groups`` names the groups that practise so; left out, all do. A group that no session names
    and that shares in none is tested only. ``schedule`` is the order of tasks in this session where
    it is not that of the group.
    """

    session: int = Field(ge=1)
    day: float
    groups: tuple[Name, ...] = ()
    blocks: int = Field(default=1, ge=1)
    trials_per_block: int = Field(ge=1)
    schedule: TaskOrder | None = None
    feedback: str = ""
    feedback_every: int | None = Field(default=None, ge=0)
    effort: Effort = "usual"
    maximal_trials: int | None = Field(default=None, ge=0)
    warm_up_trials: int = Field(default=0, ge=0)
    parts: tuple[DrillDose, ...] = ()

    @property
    def trials(self) -> int:
        """Trials of the session, warm-up left out."""
        return self.blocks * self.trials_per_block

    @property
    def trials_at_maximum(self) -> int:
        """Trials at maximal effort: as given, else all of a session of maximal effort."""
        if self.maximal_trials is not None:
            return self.maximal_trials
        return self.trials if self.effort == "maximal" else 0

    @property
    def label(self) -> str:
        """Name of the session as a reader sees it, with its groups where these are named."""
        own = f" ({', '.join(self.groups)})" if self.groups else ""
        return f"practice session {self.session}{own}"

    def is_of(self, group: str) -> bool:
        """Whether a group takes part."""
        return not self.groups or group in self.groups


def drills_in(week: int, drills: Sequence[Drill]) -> tuple[Drill, ...]:
    """Drills practised in a week of the programme; a drill without weeks is in all of them."""
    return tuple(drill for drill in drills if not drill.weeks or week in drill.weeks)


def sessions_of(
    programme: Programme | None, drills: Sequence[Drill], groups: Sequence[str]
) -> tuple[Practice, ...]:
    """Practice sessions as the programme and its drills give them.

    Where drills belong to some groups, the groups that practise the same drills share sessions of
    their own.
    """
    sharing: dict[tuple[Drill, ...], list[str]] = {}
    for group in groups:
        own = tuple(drill for drill in drills if not drill.groups or group in drill.groups)
        sharing.setdefault(own, []).append(group)
    planned = programme.session_days() if programme is not None else ()
    found = []
    for number, (week, day) in enumerate(planned, start=1):
        for own, named in sharing.items():
            entry = _session(number, day, drills_in(week, own), programme)
            if entry is not None:
                for_all = len(sharing) == 1
                found.append(
                    entry if for_all else entry.model_copy(update={"groups": tuple(named)})
                )
    return tuple(found)


def _session(
    number: int, day: int, drills: Sequence[Drill], programme: Programme | None
) -> Practice | None:
    trials = sum(drill.trials_per_session or 0 for drill in drills)
    if not trials:
        return None
    parts = tuple(_dose(drill) for drill in drills if drill.trials_per_session)
    every = {part.feedback_every for part in parts}
    alike = len(every) == 1
    told = (drill.feedback if alike else _told(drill) for drill in drills)
    return Practice(
        session=number,
        day=day,
        trials_per_block=trials,
        feedback="; ".join(dict.fromkeys(words for words in told if words)),
        feedback_every=every.pop() if alike else None,
        parts=parts,
        maximal_trials=sum(d.trials_per_session or 0 for d in drills if d.effort == "maximal"),
        warm_up_trials=programme.warm_up_trials if programme else 0,
    )


def _dose(drill: Drill) -> DrillDose:
    return DrillDose(
        name=drill.name,
        trials=drill.trials_per_session or 1,
        feedback_every=drill.feedback_every,
        has_object=drill.has_object,
    )


def _told(drill: Drill) -> str:
    """Feedback of a drill with its frequency, for a session whose drills differ in it."""
    every = drill.feedback_every
    often = {None: "", 0: "no feedback", 1: "after every trial"}
    words = often.get(every, f"after every {every} trials")
    return f"{drill.name}: {', '.join(part for part in (drill.feedback, words) if part)}"
