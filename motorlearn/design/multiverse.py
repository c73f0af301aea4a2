"""Choices of analysis that are as defensible as the plan's own, declared beforehand."""

from collections.abc import Iterator
from typing import Any, Final, Literal, Self

from pydantic import Field, model_validator

from motorlearn.design.base import Name, Section
from motorlearn.design.exclusions import Condition

AnalysisModel = Literal["ancova", "ancova by group", "change score", "unadjusted", "linear mixed"]
MOST_COMBINATIONS: Final = 5000
"""Most combinations of choices of one plan."""


class AlternativeExclusion(Condition):
    """Another rule for leaving out data, beside those of ``[[exclusions]]``.

    It names trials as an exclusion does (``participants``, ``phases``, a ``column`` with a
    condition), or people by ``beyond_sd``: those with a score at the baseline or the primary test
    that lies more than so many standard deviations of their group from its mean. With
    ``undo = true`` it counts the trials again that the exclusion of that name leaves out.
    """

    rule: Name
    column: str = Field(default="", max_length=80)
    beyond_sd: float | None = Field(default=None, gt=0)
    undo: bool = False

    @model_validator(mode="after")
    def _is_whole(self) -> Self:
        what = f"multiverse.exclusions {self.rule!r}"
        if bool(self.column) != self.looks_at_cells:
            raise ValueError(f"{what} needs a column together with missing, equals, above or below")
        rows = bool(self.participants or self.phases or self.column)
        if sum((rows, self.beyond_sd is not None, self.undo)) != 1:
            raise ValueError(
                f"{what} says one thing: which trials (participants, phases, column), beyond_sd, "
                "or undo = true"
            )
        return self


class MultiversePlan(Section):
    """Alternatives to the choices of the primary comparison; all their combinations are run.

    The plan's own choices are always among them. ``outcomes`` names other entries of
    ``[[outcomes]]``; ``effects`` the raw (difference) or logarithmic (ratio) scale; ``covariates``
    other sets of columns that describe people, ``[]`` for none; ``models`` other ways to compare
    the groups. ``reason`` says why these are as defensible as the plan's.
    """

    outcomes: tuple[Name, ...] = ()
    effects: tuple[Literal["difference", "ratio"], ...] = ()
    covariates: tuple[tuple[Name, ...], ...] = ()
    models: tuple[AnalysisModel, ...] = ()
    exclusions: tuple[AlternativeExclusion, ...] = ()
    reason: str = ""

    @model_validator(mode="after")
    def _has_alternatives(self) -> Self:
        if not any(len(entries) for _, entries in self._lists()):
            raise ValueError(
                "multiverse declares no alternative; name one in outcomes, effects, covariates, "
                "models or exclusions, or leave the section out"
            )
        for name, entries in self._lists():
            keys = [entry.rule if hasattr(entry, "rule") else entry for entry in entries]
            twice = [key for place, key in enumerate(keys) if key in keys[:place]]
            if twice:
                raise ValueError(f"multiverse.{name} names {twice[0]!r} twice; name it once")
        return self

    def _lists(self) -> Iterator[tuple[str, tuple[Any, ...]]]:
        yield "outcomes", self.outcomes
        yield "effects", self.effects
        yield "covariates", self.covariates
        yield "models", self.models
        yield "exclusions", self.exclusions
