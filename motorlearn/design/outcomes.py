"""Outcomes of a plan: where a score comes from, its unit, its target and which way is better."""

from typing import Literal, Self

from pydantic import Field, model_validator

from motorlearn.design.base import Name, Section
from motorlearn.design.times import TimeRules

ErrorMeasure = Literal[
    "constant_error",
    "absolute_constant_error",
    "variable_error",
    "absolute_error",
    "total_error",
]
"""Scores of errors in one dimension."""
VARIABILITY = (
    "variable_error",
    "variable_error_corrected",
    "bivariate_variable_error",
    "bivariate_variable_error_corrected",
)
"""Scores that say how variable a performer is at a test."""


class Outcome(Section):
    """A score: where it comes from, its unit and which direction is better.

    ``column`` is the column of the trials it comes from, where that is not its name. With a
    ``target`` the score is an error, the column minus the target; ``targets`` holds other targets
    by phase, test or task. ``measure`` says how the errors of a person's trials become a score.

    ``kind`` says what it is where that is no plain score: a ``rating`` on a scale of few steps, a
    ``count`` of events, a ``time``, an ``error`` or a ``hit``. The mixed model of trials is then
    the one that suits it: cumulative odds, negative binomial, or of logarithms. ``times`` holds the
    rules for a time.
    """

    name: Name
    unit: str = ""
    kind: Literal["", "error", "hit", "rating", "count", "time"] = ""
    better: Literal["lower", "higher"]
    label: str = ""
    low: float | None = None
    high: float | None = None
    column: str = Field(default="", max_length=80)
    target: float | None = None
    targets: dict[str, float] = Field(default_factory=dict)
    measure: ErrorMeasure | None = None
    times: TimeRules | None = None

    @property
    def recorded(self) -> str:
        """Column in which a trial is written down."""
        return self.column or self.name

    @property
    def has_target(self) -> bool:
        """Whether the score is an error from a target of its own."""
        return self.target is not None or bool(self.targets)

    @model_validator(mode="after")
    def _target_is_whole(self) -> Self:
        if self.has_target and not self.column:
            raise ValueError(
                f"outcome {self.name!r} has a target; name in column what is compared with it"
            )
        if self.measure is not None and not self.has_target:
            raise ValueError(
                f"outcome {self.name!r} has a measure of errors and no target; set target"
            )
        if self.times is not None and (self.kind != "time" or self.has_target):
            raise ValueError(
                f"outcome {self.name!r} has rules for times; give it kind = 'time' and no target"
            )
        return self

    @property
    def is_variability(self) -> bool:
        """Whether it asks how variable a performer is; a model of spread then stands beside it."""
        return (self.measure if self.has_target else self.name) in VARIABILITY

    @property
    def words(self) -> str:
        """The outcome in words: as it is labelled, else its name; the mean of hits is a rate."""
        return self.label or ("hit rate" if self.name == "hit" else self.name.replace("_", " "))

    @property
    def plural(self) -> bool:
        """Whether a sentence speaks of it in the plural, as of hits: by the ending of its noun."""
        noun = (self.label or self.name).partition(" of ")[0].partition(" (")[0]
        return noun.endswith("s") and not noun.endswith("ss")
