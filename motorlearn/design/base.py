"""Base of every section of a study plan."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Name = Annotated[str, Field(min_length=1, max_length=80)]
Title = Annotated[str, Field(min_length=1, max_length=300)]
Effort = Literal["low", "usual", "maximal"]
DAYS_IN_WEEK = 7


class Section(BaseModel):
    """Base of every section: unknown keys are refused, values are never coerced silently."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=False, allow_inf_nan=False)
