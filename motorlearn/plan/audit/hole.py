"""One hole in a plan: what is missing, why it matters, what follows and how to mend it."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Hole:
    """A hole in a plan.

    Parameters
    ----------
    topic : str
        Short name.
    grade : {"act", "look"}
        ``act`` where the question of the study cannot be answered as planned, ``look`` where it can
        be answered less well than it could be.
    where : str
        Section of the plan.
    reason : str
        What the plan says or leaves out.
    consequence : str
        What the study cannot show because of it.
    fix : str
        What to do.
    source : str
        Where the advice comes from; ``common practice, no source`` where there is none, and ``from
        memory`` where the source was not opened again.
    """

    topic: str
    grade: Literal["act", "look"]
    where: str
    reason: str
    consequence: str
    fix: str
    source: str = "common practice, no source"
