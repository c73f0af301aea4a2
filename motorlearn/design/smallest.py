"""The smallest effect of interest of a plan, and the standard deviations it may count."""

from typing import Literal

from pydantic import Field

from motorlearn.design.base import Section

_SDS = {
    "sd": " standard deviations (pooled within groups at the primary test)",
    "baseline sd": " standard deviations (pooled within groups at the baseline)",
    "average sd": " standard deviations (root mean variance of the groups compared)",
}


class SmallestEffect(Section):
    """The smallest effect of interest on the scale of the primary comparison.

    For a difference, raw units (2 hits, 2.5 cm); for a ratio, the ratio that would matter (0.9
    means that one tenth less, or one ninth more, would matter). With ``unit = "sd"`` the value is
    a number of standard deviations of people's scores, pooled within all groups at the primary
    test (a registered d of .57), with ``"baseline sd"`` at the baseline, with ``"average sd"`` of
    the root mean variance of the groups compared: the comparison takes that of the data, power
    that of the assumptions.
    """

    value: float = Field(gt=0)
    unit: Literal["score", "sd", "baseline sd", "average sd"] = "score"
    reason: str = ""

    @property
    def kind_of_sd(self) -> str:
        """Which standard deviation the value counts, where it counts one."""
        return _SDS.get(self.unit, "")

    @property
    def in_sd(self) -> bool:
        """Whether the value counts standard deviations."""
        return self.unit in _SDS

    @property
    def told(self) -> str:
        """The value, and which standard deviation it counts where it does."""
        return f"{self.value:g}{self.kind_of_sd}"
