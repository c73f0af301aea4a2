"""Items of SCRIBE 2016, the reporting guideline of single-case studies, in our own words.

Tate, R. L. and others (2016). The single-case reporting guideline in behavioural interventions
(SCRIBE) 2016 statement. doi:10.1080/02687038.2016.1178022. Items 1 to 12 were read, the others are
from memory: check the wording of your journal's own form.
"""

AUTHOR = "author"

SCRIBE = (
    ("SCRIBE 1", "named in the title as a single-case experiment", AUTHOR),
    ("SCRIBE 2", "abstract with question, design, outcomes, results", AUTHOR),
    ("SCRIBE 3", "background: what is known and what is not", AUTHOR),
    ("SCRIBE 4", "aims, question, hypotheses", AUTHOR),
    ("SCRIBE 5", "design, phases and their order, and how a phase came to end", "Method"),
    ("SCRIBE 6", "what was changed after the study had begun", "Deviations"),
    ("SCRIBE 7", "replication that was planned", AUTHOR),
    ("SCRIBE 8", "whether and how something was drawn by lot, and what", "Method"),
    ("SCRIBE 9", "who was blind to the condition", AUTHOR),
    ("SCRIBE 10", "who could take part, and how they were found", AUTHOR),
    ("SCRIBE 11", "features of each participant that matter", "Participants"),
    ("SCRIBE 12", "setting and place", AUTHOR),
    ("SCRIBE 13", "ethics approval and consent", AUTHOR),
    ("SCRIBE 14", "outcomes: how and how often measured, and how reliably", "Method"),
    ("SCRIBE 15", "equipment", AUTHOR),
    ("SCRIBE 16", "what was done in each condition, how much of it", "Programme"),
    ("SCRIBE 17", "whether each condition was given as planned", "Deviations"),
    ("SCRIBE 18", "how the data were looked at and analysed", "Method"),
    ("SCRIBE 19", "sessions done by each participant, and why any ended early", "Missing data"),
    ("SCRIBE 20", "raw scores of every session, and results of each participant", "Results"),
    ("SCRIBE 21", "harms and unintended effects", AUTHOR),
    ("SCRIBE 22", "what was found, in the light of other work", AUTHOR),
    ("SCRIBE 23", "limitations, and what else may explain the result", "Limitations"),
    ("SCRIBE 24", "to whom and to what it may apply", AUTHOR),
    ("SCRIBE 25", "protocol, and where it can be had", AUTHOR),
    ("SCRIBE 26", "funding and interests", AUTHOR),
)
"""Item, what it asks for, and the section that covers it or ``author``."""
