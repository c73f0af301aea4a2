"""One item of a reporting standard, and the items that a plan may cover by what it says."""

from typing import NamedTuple

AUTHOR = "author"
READ, RECALLED = "read", "recalled"

WHO = "who could take part"
PLACE = "how and where: alone or in groups, place"
ETHICS = "approval of an ethics committee, or why none was needed"
ANALYSIS_PLAN = "statistical analysis plan: what was fixed before the data, and where it stands"
REGISTERED = "registration: where, under which number, on which day"


class Item(NamedTuple):
    """What a standard asks for.

    Parameters
    ----------
    standard : str
        Name of the standard.
    number : str
        Number of the item there; empty where the standard has none.
    item : str
        What it asks for, in our own words.
    where : str
        Section of the report that covers it, or ``author``.
    source : {"read", "recalled"}
        Whether the standard's own wording was read, or is known from memory only.
    """

    standard: str
    number: str
    item: str
    where: str = AUTHOR
    source: str = READ
