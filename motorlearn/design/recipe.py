"""The ``[import]`` section of a plan: how a foreign file becomes rows in standard columns."""

import re
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
    """How a file is read, in full, so that it can be read again with the same outcome.

    ``file`` is a file, a folder, or a pattern such as ``pushes/*/s*.txt``; ``files`` is a list of
    them. ``name_parts`` says what the names of the files hold, as in
    ``s{participant}session{session}data``; ``count`` is the number of files when the recipe was
    made. ``blocks`` numbers blocks that no column numbers: where the numbers of trials begin anew
    (``restarts``), or by the planned trials of a block (``planned``). ``short_rows = "empty"`` says
    that rows with fewer fields lack values at their end.
    """

    file: str = Field(default="", max_length=80)
    files: tuple[Name, ...] = ()
    count: int | None = Field(default=None, ge=1)
    name_parts: str = Field(default="", max_length=200)
    sha256: str = ""
    sheets: tuple[SheetSource, ...] = ()
    heading_row: int | None = Field(default=None, ge=1)
    separator: str = ""
    decimal: Literal["", ".", ","] = ""
    encoding: str = ""
    mode: Literal["report", "strict", "lenient"] = "report"
    columns: dict[str, str] = Field(default_factory=dict)
    levels: dict[str, dict[str, str | int]] = Field(default_factory=dict)
    wide: tuple[WideColumn, ...] = ()
    missing: dict[str, str] = Field(default_factory=dict)
    convert: tuple[Conversion, ...] = ()
    blocks: Literal["", "restarts", "planned"] = ""
    short_rows: Literal["", "empty"] = ""

    @property
    def sources(self) -> tuple[str, ...]:
        """Files, folders and patterns that are read."""
        return self.files or (self.file,)

    @property
    def label(self) -> str:
        """What the source is called where it is named as a whole."""
        return self.file or f"{self.files[0]} and others"

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        if bool(self.file) == bool(self.files):
            raise ValueError("name the source once: file (a file, folder or pattern) or files")
        return self

    @model_validator(mode="after")
    def _parts_are_named(self) -> Self:
        if not self.name_parts:
            return self
        parts = re.findall(r"\{([^{}]*)\}", self.name_parts)
        odd = [part for part in parts if not re.fullmatch(r"[a-z_][a-z0-9_]*", part)]
        if not parts or odd or len(set(parts)) < len(parts) or re.search(r"\}\{", self.name_parts):
            raise ValueError(
                "name_parts names each part once in braces with something between two of them, "
                "as in s{participant}session{session}data"
            )
        return self
