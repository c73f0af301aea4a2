"""A study of one athlete to five: its design, its conditions, and what is drawn by lot."""

from collections.abc import Mapping
from typing import Any, Literal, Self

from pydantic import Field, ValidationInfo, field_validator, model_validator

from motorlearn.design.base import Name, Section
from motorlearn.design.practice import Practice
from motorlearn.design.randomisation import FEWEST, CaseDesign, Randomisation


class SingleCasePlan(Section):
    """Sessions of one athlete to five under two conditions, A and then B, or in alternation.

    ``starts`` holds at which session B may start: the first and last, ``[6, 13]``, for ``AB``; a
    session or a range for each athlete (or skill) for ``multiple baseline``. ``randomised = false``
    says that nothing is drawn, and then no randomisation test is run. ``expected = "better"``
    declares beforehand that only a better score under B counts (a one-sided test). ``across``
    says whether baselines are staggered over participants or over tasks (skills) of one person.
    """

    design: CaseDesign
    conditions: tuple[Name, Name] = ("A", "B")
    column: Name = "condition"
    sessions: int = Field(ge=6, le=400)
    trials: int = Field(default=1, ge=1)
    minimum: int = Field(default=FEWEST, ge=1)
    starts: tuple[int | tuple[int, int], ...] = ()
    alternation: Literal["pairs", "restricted"] = "pairs"
    longest_run: int = 2
    randomised: bool = True
    expected: Literal["either", "better"] = "either"
    across: Literal["participant", "task"] = "participant"

    @property
    def draw(self) -> Randomisation:
        """What is drawn, as the test needs it."""
        ranges = tuple((e, e) if isinstance(e, int) else e for e in self.starts)
        if self.design == "AB" and len(ranges) == 2:
            ranges = ((ranges[0][0], ranges[1][1]),)
        return Randomisation(self.design, ranges, self.minimum, self.alternation, self.longest_run)

    @property
    def is_phased(self) -> bool:
        """Whether sessions of one condition follow each other in phases."""
        return self.draw.is_phased

    @property
    def cases(self) -> int | None:
        """Athletes or skills that have start points of their own; None where no one has."""
        return len(self.starts) if self.design == "multiple baseline" else None

    def sessions_of(self, practice: tuple[Practice, ...], primary: object) -> tuple[Practice, ...]:
        """Practice sessions as the plan lists them, else one a day.

        Raises
        ------
        ValueError
            If the listed sessions are not those of this design, or another primary comparison is
            declared.
        """
        if primary is not None:
            raise ValueError(
                "a single case has its primary comparison in [single_case], the first outcome "
                "under B against A; leave [primary] out"
            )
        if practice and sorted(entry.session for entry in practice) != self.numbers:
            raise ValueError(
                f"single_case.sessions is {self.sessions} and the practice sessions are not "
                f"numbered 1 to {self.sessions}; leave [[practice]] out, or list each session"
            )
        return practice or tuple(
            Practice(session=n, day=n - 1, trials_per_block=self.trials) for n in self.numbers
        )

    @property
    def numbers(self) -> list[int]:
        """Numbers of the sessions."""
        return list(range(1, self.sessions + 1))

    @model_validator(mode="after")
    def _holds_together(self) -> Self:
        if self.conditions[0] == self.conditions[1]:
            raise ValueError("the two conditions have one name; name A and B differently")
        if self.design == "multiple baseline" and len(self.starts) < 2:
            raise ValueError(
                "a multiple baseline needs a start point, or a range of them, for each of two "
                "athletes (or skills) or more: starts = [[5, 7], [8, 10]]"
            )
        self.draw.check(self.cases or 1, self.sessions)
        return self


def filled_in(content: Any) -> Any:
    """Content of a plan in which a single case need not name a group: there is one, of athletes."""
    if not isinstance(content, Mapping) or "single_case" not in content or "groups" in content:
        return content
    return {**content, "groups": [{"name": "athletes", "size": _athletes(content["single_case"])}]}


def _athletes(plan: Any) -> int:
    """Athletes that a plan tells of by its start points; else one."""
    named = plan if isinstance(plan, Mapping) else {}
    starts = named.get("starts")
    many = named.get("design") == "multiple baseline" and named.get("across") != "task"
    return max(len(starts), 1) if many and isinstance(starts, list | tuple) else 1


class PlanOfAny(Section):
    """What a plan of a single case may leave out: its groups and its tests."""

    @model_validator(mode="before")
    @classmethod
    def _single_cases_are_short(cls, content: Any) -> Any:
        return filled_in(content)

    @field_validator("tests", check_fields=False)
    @classmethod
    def _has_a_test(cls, tests: tuple[Any, ...], info: ValidationInfo) -> tuple[Any, ...]:
        if not tests and info.data.get("single_case", False) is None:
            raise ValueError("a plan needs a test")
        return tests
