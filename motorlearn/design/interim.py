"""Interim looks at the primary comparison, declared beforehand, with what each may spend."""

from typing import Literal, Self

from pydantic import Field, model_validator

from motorlearn.design.base import Section

Spending = Literal["obrien-fleming", "pocock"]


class InterimPlan(Section):
    """When the primary comparison is looked at, and how its error rate is spent.

    ``fractions`` are the shares of the planned people whose primary scores are in at each look; the
    last is 1. ``spending`` is the spending function, of O'Brien and Fleming's or of Pocock's type
    (Lan & DeMets 1983); ``level`` the two-sided error rate of all looks together. ``people`` is the
    number of people at the last look, by default the sum of ``groups.size``. ``taken`` lists the
    numbers of people at looks that were taken already, in order; a look that was not declared, or
    was taken at another number, belongs there too. ``final`` says that no more scores will come, so
    that the present look spends all that is left.
    """

    fractions: tuple[float, ...] = Field(min_length=1)
    spending: Spending = "obrien-fleming"
    level: float = Field(default=0.05, gt=0, lt=0.5)
    people: int | None = Field(default=None, ge=4)
    taken: tuple[int, ...] = ()
    final: bool = False

    @model_validator(mode="after")
    def _rises_to_one(self) -> Self:
        steps = (0.0, *self.fractions)
        if any(later <= earlier for earlier, later in zip(steps, self.fractions)):
            raise ValueError("interim.fractions must rise from above 0")
        if self.fractions[-1] != 1:
            raise ValueError("interim.fractions must end in 1, the look at everybody")
        if len(self.fractions) > 20:
            raise ValueError("interim.fractions has 20 looks at most")
        counts = (0, *self.taken)
        if any(later <= earlier for earlier, later in zip(counts, self.taken)):
            raise ValueError("interim.taken must rise: the people at each look that was taken")
        return self
