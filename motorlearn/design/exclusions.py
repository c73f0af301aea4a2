"""What a plan leaves out or replaces, decided before the data were seen."""

from typing import Literal, Self

from pydantic import Field, field_validator, model_validator

from motorlearn.design.base import Name, Section


class Condition(Section):
    """Which trials a rule touches: by phase or test, by person, by the content of a column.

    ``phases`` names phases or tests, ``"tests"`` stands for all tests; empty for everywhere. A cell
    fits where it is empty (``missing``), holds exactly ``equals``, or lies above or below a number.
    """

    participants: tuple[str, ...] = ()
    phases: tuple[Name, ...] = ()
    missing: bool = False
    equals: float | None = None
    above: float | None = None
    below: float | None = None
    reason: str = ""

    @field_validator("participants", mode="before")
    @classmethod
    def _identifiers_are_text(cls, value: object) -> object:
        if not isinstance(value, list | tuple):
            return value
        whole = (entry for entry in value)
        return tuple(
            str(entry) if isinstance(entry, int) and not isinstance(entry, bool) else entry
            for entry in whole
        )

    @property
    def looks_at_cells(self) -> bool:
        """Whether the content of a column decides."""
        return self.missing or any(n is not None for n in (self.equals, self.above, self.below))


class Exclusion(Condition):
    """A rule for leaving out data, decided before the data were seen.

    One that names ``participants``, ``phases`` or a ``column`` with a condition is applied: the
    rows stay in the table, with the reason in ``void``. One that names none of them is told in the
    report and applied by hand.
    """

    rule: Name
    column: str = Field(default="", max_length=80)

    @property
    def is_applied(self) -> bool:
        """Whether the plan says which rows it means."""
        return bool(self.participants or self.phases or self.column)

    @model_validator(mode="after")
    def _is_whole(self) -> Self:
        if self.is_applied and not self.reason.strip():
            raise ValueError(f"exclusion {self.rule!r} has no reason; say why in reason")
        if bool(self.column) != self.looks_at_cells:
            raise ValueError(
                f"exclusion {self.rule!r} needs a column together with missing, equals, above or "
                "below"
            )
        return self


class Replacement(Condition):
    """A rule by which a value is put in the place of another, decided before the data were seen.

    The value is a number (``value``), or what the person has at that test: the ``largest``, the
    ``smallest``, the ``mean``, or the ``worst`` value of the column (worst: of an outcome, by its
    direction). With ``sign = "mean"`` a number takes the sign of the person's mean at that test.
    Rules are applied in the order of the plan, each to what the ones before left.
    """

    column: Name
    value: float | None = None
    take: Literal["largest", "smallest", "mean", "worst"] | None = None
    sign: Literal["", "mean"] = ""

    @model_validator(mode="after")
    def _is_whole(self) -> Self:
        what = f"the replacement of {self.column!r}"
        if not self.reason.strip():
            raise ValueError(f"{what} has no reason; say why in reason")
        if not self.looks_at_cells:
            raise ValueError(
                f"{what} does not say which cells; set missing, equals, above or below"
            )
        if (self.value is None) == (self.take is None):
            raise ValueError(f"{what} needs either value (a number) or take (the person's own)")
        return self

    @property
    def told(self) -> str:
        """The rule in words."""
        cells = [
            *(["empty"] if self.missing else []),
            *([f"exactly {self.equals:g}"] if self.equals is not None else []),
            *([f"above {self.above:g}"] if self.above is not None else []),
            *([f"below {self.below:g}"] if self.below is not None else []),
        ]
        by = f"{self.value:g}" if self.value is not None else f"the person's {self.take} there"
        sign = ", with the sign of the person's mean there" if self.sign else ""
        where = f" in {', '.join(self.phases)}" if self.phases else ""
        return f"{self.column} {' or '.join(cells)}{where}: {by}{sign}"
