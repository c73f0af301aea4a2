"""The sections of a plan on chance: how people come to their groups, how tasks are ordered."""

from typing import Annotated, Literal

from pydantic import Field

from motorlearn.design.base import Name, Section

PERSON_UNITS = ("participant", "person", "individual")
"""Names of the unit of allocation that stand for a single person."""

BlockSize = Annotated[int, Field(ge=1)]


class Schedules(Section):
    """What holds for every random order of tasks, in practice and in tests.

    ``max_run`` is the longest run of one task, across the borders of blocks too.
    """

    max_run: int = Field(default=2, ge=1)


class Allocation(Section):
    """How participants came to their groups.

    Of several block sizes one is drawn for each block.
    """

    unit: Name = "participant"
    method: Literal["blocks", "minimisation", "cluster", "simple", "none", "own"] = "blocks"
    strata: tuple[str, ...] = ()
    block_size: BlockSize | tuple[BlockSize, ...] | None = None
    seed: int | None = Field(default=None, ge=0)

    @property
    def by_chance(self) -> bool:
        """Whether chance decided; a study's own way counts as such only where it is described."""
        return self.method not in ("none", "own")

    @property
    def clusters(self) -> str | None:
        """What was allocated as a whole, which is the column that names it; None for people."""
        return None if self.unit.strip().lower() in PERSON_UNITS else self.unit
