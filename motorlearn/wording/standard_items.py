"""One item of a reporting standard, the items that a plan may cover, and those of SCRIBE 2016.

Tate, R. L. and others (2016). The single-case reporting guideline in behavioural interventions
(SCRIBE) 2016 statement. doi:10.1080/02687038.2016.1178022. Items 1 to 12 were read in a stored
copy, those from 13 on are recalled and marked so: check the wording of your journal's own form.
"""

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


_LAST_READ = 12
_ITEMS = (
    ("named in the title as a single-case experiment", AUTHOR),
    ("abstract with question, design, outcomes, results", AUTHOR),
    ("background: what is known and what is not", AUTHOR),
    ("aims, question, hypotheses", AUTHOR),
    ("design, phases and their order, and how a phase came to end", "Method"),
    ("what was changed after the study had begun", "Deviations"),
    ("replication that was planned", AUTHOR),
    ("whether and how something was drawn by lot, and what", "Method"),
    ("who was blind to the condition", AUTHOR),
    ("who could take part, and how they were found", AUTHOR),
    ("features of each participant that matter", "Participants"),
    ("setting and place", AUTHOR),
    ("ethics approval and consent", AUTHOR),
    ("outcomes: how and how often measured, and how reliably", "Method"),
    ("equipment", AUTHOR),
    ("what was done in each condition, how much of it", "Programme"),
    ("whether each condition was given as planned", "Deviations"),
    ("how the data were looked at and analysed", "Method"),
    ("sessions done by each participant, and why any ended early", "Missing data"),
    ("raw scores of every session, and results of each participant", "Results"),
    ("harms and unintended effects", AUTHOR),
    ("what was found, in the light of other work", AUTHOR),
    ("limitations, and what else may explain the result", "Limitations"),
    ("to whom and to what it may apply", AUTHOR),
    ("protocol, and where it can be had", AUTHOR),
    ("funding and interests", AUTHOR),
)
SCRIBE = tuple(
    Item("SCRIBE 2016", str(number), item, where, READ if number <= _LAST_READ else RECALLED)
    for number, (item, where) in enumerate(_ITEMS, start=1)
)
"""The twenty-six items of SCRIBE 2016, in our own words."""
