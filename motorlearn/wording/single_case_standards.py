"""Items of SCRIBE 2016, the reporting guideline of single-case studies, in our own words.

Tate, R. L. and others (2016). The single-case reporting guideline in behavioural interventions
(SCRIBE) 2016 statement. doi:10.1080/02687038.2016.1178022. Items 1 to 12 were read in a stored
copy, those from 13 on are recalled and marked so: check the wording of your journal's own form.
"""

from motorlearn.wording.standard_items import AUTHOR, READ, RECALLED, Item

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
"""The twenty-six items."""
