"""Rules of the plan for an outcome that is a time: errors, cut-offs, scale, summary, contrast."""

from typing import Literal, Self

from pydantic import Field, model_validator

from motorlearn.design.base import Name, Section


class TimeRules(Section):
    """How the times of trials become a score, decided before the data were seen.

    Times of wrong trials (where ``error_column`` holds ``error_value``) are kept or left out, then
    times below ``fastest`` and above ``slowest`` are left out, in the unit of the outcome; their
    trials count for other outcomes as before, and ``reason`` says why. A person's score at a test
    is the ``mean`` or ``median``; with ``scale = "log"`` it is the geometric mean, or the median,
    of the time above ``shift``, and the comparison is a ratio. ``first`` and ``second`` name two
    values of the column ``contrast``, such as random and sequence trials: the score is then the
    first less the second, or their ratio on a log scale. ``other_cut_offs`` are pairs of cut-offs
    with which the primary comparison is made again beside it.
    """

    errors: Literal["kept", "left out"] = "kept"
    error_column: str = Field(default="hit", max_length=80)
    error_value: float | str = 0.0
    fastest: float | None = Field(default=None, ge=0)
    slowest: float | None = Field(default=None, gt=0)
    reason: str = ""
    scale: Literal["raw", "log"] = "raw"
    shift: float = Field(default=0.0, ge=0)
    summary: Literal["mean", "median"] = "mean"
    contrast: str = Field(default="", max_length=80)
    first: Name | None = None
    second: Name | None = None
    other_cut_offs: tuple[tuple[float, float], ...] = Field(default=(), max_length=6)

    @property
    def removes(self) -> bool:
        """Whether any time is left out."""
        bounds = (self.fastest, self.slowest)
        return self.errors == "left out" or any(bound is not None for bound in bounds)

    @property
    def is_plain(self) -> bool:
        """Whether a score is the mean of the times that are left."""
        return self.scale == "raw" and self.summary == "mean" and not self.contrast

    @property
    def columns(self) -> tuple[str, ...]:
        """Columns of the trials that the rules look at."""
        wrong = (self.error_column,) if self.errors == "left out" else ()
        return (*wrong, *((self.contrast,) if self.contrast else ()))

    def told(self, unit: str) -> tuple[str, ...]:
        """The rules in words, one clause each."""
        unit = f" {unit}" if unit else ""
        value = self.error_value
        shown = value if isinstance(value, str) else f"{value:g}"
        above = f" of the time above {self.shift:g}{unit}" if self.shift else ""
        pair = f"{self.first} {'less' if self.scale == 'raw' else 'by'} {self.second}"
        wrong = f"times of wrong trials ({self.error_column} = {shown}) are {self.errors}"
        return (
            *([wrong] if "errors" in self.model_fields_set else []),
            *(f"times {side} {bound:g}{unit} are left out" for side, bound in self.bounds),
            f"a person's score at a test is the {self.statistic}{above}",
            *([f"the outcome is {pair} ({self.contrast})"] if self.contrast else []),
            *(
                f"cut-offs of {low:g} and {high:g}{unit} were tried as well"
                for low, high in self.other_cut_offs
            ),
        )

    @property
    def bounds(self) -> tuple[tuple[str, float], ...]:
        """Cut-offs that are set, each with its side."""
        found = (("below", self.fastest), ("above", self.slowest))
        return tuple((side, bound) for side, bound in found if bound is not None)

    @property
    def statistic(self) -> str:
        """What of a person's times is the score."""
        if self.summary == "median":
            return "median"
        return "geometric mean" if self.scale == "log" else "mean"

    @model_validator(mode="after")
    def _is_whole(self) -> Self:
        low, high = self.fastest, self.slowest
        if low is not None and high is not None and low >= high:
            raise ValueError(f"times.fastest is {low:g} and times.slowest {high:g}; swap them")
        if self.removes and not self.reason.strip():
            raise ValueError("times leaves trials out without a reason; say why in times.reason")
        if self.shift and self.scale == "raw":
            raise ValueError("times.shift belongs to a log scale; set times.scale = 'log'")
        if high is not None and self.shift >= high:
            raise ValueError(f"times.shift is {self.shift:g}, above every time up to {high:g}")
        for least, most in self.other_cut_offs:
            if not 0 <= least < most:
                raise ValueError(
                    f"times.other_cut_offs holds {least:g} and {most:g}; give pairs of a shortest "
                    "and a longest time, such as [[0.2, 4.0]]"
                )
        named = (self.first is not None, self.second is not None, bool(self.contrast))
        if any(named) and (not all(named) or self.first == self.second):
            raise ValueError(
                "times.contrast, times.first and times.second go together: a column and two "
                "different values of it"
            )
        return self
