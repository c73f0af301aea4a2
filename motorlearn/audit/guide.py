"""A guide: where a diagnostic number starts to need a look, and where it needs action."""

from dataclasses import dataclass
from typing import Final, Literal

from motorlearn import digits

Grade = Literal["fine", "look", "act"]
OWN: Final = "set by this study"
CUSTOM: Final = "common practice, no source"
SEEN: Final = "published"
ALGEBRA: Final = "algebra"
SHOWN: Final = "shown, graded only where a study sets it"


@dataclass(frozen=True)
class Guide:
    """Where a diagnostic number starts to need a look, and where it needs action.

    Parameters
    ----------
    name : str
        Short name, by which a study file refers to it.
    words : str
        The number that is judged.
    look, act : float or None
        Thresholds; None where that grade is never given by the number.
    high_is_bad : bool
        Whether larger numbers are worse.
    source : str
        Where the threshold comes from.
    status : str
        How sure the source is: ``published`` (the number was read there), ``from memory``,
        ``algebra`` or ``common practice, no source``; ``shown`` numbers are not graded by default.
    doi : str
        Where the sources can be found.
    """

    name: str
    words: str
    look: float | None
    act: float | None
    high_is_bad: bool = True
    source: str = ""
    status: str = "from memory"
    doi: str = ""

    @property
    def text(self) -> str:
        """The rule in words, for example ``look above 1, act above 2``."""
        side = "above" if self.high_is_bad else "below"
        parts = [
            f"{grade} {side} {digits.plain(value)}"
            for grade, value in (("look", self.look), ("act", self.act))
            if value is not None
        ]
        return f"{self.words}: {', '.join(parts)}" if parts else self.words

    @property
    def reference(self) -> str:
        """Source and status in one line."""
        return f"{self.source} ({self.status})" if self.source else self.status

    @property
    def own(self) -> bool:
        """Whether a study set the thresholds itself."""
        return self.status == OWN

    def grade(self, value: float) -> Grade:
        """Grade of a number; a number that could not be computed needs a look."""
        if self.look is None and self.act is None:
            return "fine"
        if value != value:
            return "look"
        if _beyond(value, self.act, self.high_is_bad):
            return "act"
        return "look" if _beyond(value, self.look, self.high_is_bad) else "fine"


def _beyond(value: float, limit: float | None, high_is_bad: bool) -> bool:
    return limit is not None and (value > limit if high_is_bad else value < limit)
