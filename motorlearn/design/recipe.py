"""The ``[import]`` section of a plan: how a foreign file becomes rows in standard columns."""

from typing import Literal, Self

from pydantic import Field, model_validator

from motorlearn.design.base import Name, Section
from motorlearn.vocabulary import PHASES

Notation = Literal["count", "fraction", "percent", "share", "number"]


class SheetSource(Section):
    """One sheet of a workbook, with what is the same for all its rows."""

    name: Name
    phase: str = ""
    session: int | None = Field(None, ge=1)


class WideColumn(Section):
    """One column of a wide table: the results of one test, one row per participant.

    ``notation`` says how a result is written: ``count`` 12, ``fraction`` 12/20, ``percent`` 60 %,
    ``share`` 0.6, ``number`` any measurement.
    """

    heading: Name
    phase: str
    session: int | None = Field(None, ge=1)
    task: str = ""
    score: str = "hits"
    notation: Notation = "count"
    attempts: int | None = Field(None, ge=1)
    attempts_in: str = ""

    @model_validator(mode="after")
    def _phase_is_known(self) -> Self:
        if self.phase not in PHASES:
            raise ValueError(f"phase {self.phase!r} is not one of {', '.join(PHASES)}")
        if self.attempts is not None and self.attempts_in:
            raise ValueError("attempts and attempts_in exclude each other")
        return self


class Conversion(Section):
    """A change of unit that was decided by a person, for all rows or for some."""

    column: Name
    source: Name
    target: Name
    where: dict[str, str | int] = Field(default_factory=dict)


class ImportRecipe(Section):
    """How a file is read, in full, so that it can be read again with the same outcome."""

    file: Name
    sha256: str = ""
    sheets: tuple[SheetSource, ...] = ()
    heading_row: int | None = Field(None, ge=1)
    separator: str = ""
    decimal: Literal["", ".", ","] = ""
    encoding: str = ""
    mode: Literal["report", "strict", "lenient"] = "report"
    columns: dict[str, str] = Field(default_factory=dict)
    levels: dict[str, dict[str, str | int]] = Field(default_factory=dict)
    wide: tuple[WideColumn, ...] = ()
    missing: dict[str, str] = Field(default_factory=dict)
    convert: tuple[Conversion, ...] = ()
