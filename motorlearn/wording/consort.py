"""Items of CONSORT 2025 and of its extension to clusters, in our own words.

Read in stored copies: CONSORT 2025 (doi:10.1371/journal.pmed.1004587, table 1, all thirty items);
the extension to clusters (doi:10.1136/bmj.e5661) up to its item 13.
"""

from motorlearn.wording.standard_items import ANALYSIS_PLAN, AUTHOR, PLACE, REGISTERED, WHO, Item


def _consort(number: str, item: str, where: str = AUTHOR) -> Item:
    return Item("CONSORT 2025", number, item, where)


RANDOMISED = (
    _consort("1", "title that says randomised; structured abstract"),
    _consort("2", REGISTERED),
    _consort("3", ANALYSIS_PLAN),
    _consort("4", "where data, their dictionary, code and materials can be had"),
    _consort("5", "funding, the funder's part in the work, conflicts of interest"),
    _consort("6–7", "background, reasons, and objectives with what might do harm"),
    _consort("8", "part of learners, coaches or the public in planning the study"),
    _consort("9", "kind of design, ratio of the groups, aim (difference, equivalence)", "Method"),
    _consort("10", "what was changed after the start, with reasons", "Deviations"),
    _consort("11", PLACE),
    _consort("12a", WHO),
    _consort("12b", "which places and teachers could take part"),
    _consort("13", "the programme of every group, so that others can repeat it", "Programme"),
    _consort("14", "each outcome: what is measured, how averaged, at which test", "Method"),
    _consort("15", "how harm and unintended effects were looked for"),
    _consort("16a", "how the number of people was decided, with its assumptions"),
    _consort("17a", "who made the order of allocation, and how"),
    _consort("17b", "kind of allocation: blocks, strata", "Method"),
    _consort("18", "how the order was concealed until people were assigned"),
    _consort("19", "whether those who enrolled and assigned could see the order"),
    _consort("20", "who was blind to the group, and how"),
    _consort("21a", "how groups were compared, for every outcome", "Method"),
    _consort("21b", "who is in each analysis, and in which group", "Results"),
    _consort("21c", "how missing data were handled", "Missing data"),
    _consort("21d", "further analyses, those planned told from the others", "Results"),
    _consort("22", "numbers allocated, practised, lost with reasons, analysed", "Participants"),
    _consort("23", "days on which recruiting and tests began and ended; why it ended"),
    _consort("24a", "the programme as it was given: who taught, who came, what was kept"),
    _consort("24b", "what else people practised or were taught meanwhile"),
    _consort("25", "people at the start, by group", "Participants"),
    _consort("26", "numbers analysed, results by group, estimate with interval", "Results"),
    _consort("27", "harm and unintended effects in every group"),
    _consort("28", "other analyses, sensitivity among them", "Assumptions"),
    _consort("29", "interpretation in the light of other work, harm against benefit"),
    _consort("30", "limitations: bias, precision, to whom it may apply, many tests", "Limitations"),
)  # fmt: skip
"""Items for people allocated by chance."""

LOOKS = _consort("16b", "interim looks, and the rule for stopping", "Method")
NO_LOOKS = _consort("16b", "interim looks and a rule for stopping, or that there were none")
HITS = _consort("26", "for hits: the difference of rates as well as their ratio")


def _clusters(number: str, item: str, where: str = AUTHOR) -> Item:
    return Item("CONSORT, clusters", number, item, where)


CLUSTERS = (
    _clusters("1–2", "title that says so; why whole units were allocated"),
    _clusters("3–4", "what a unit is, which could take part, how they were found"),
    _clusters("5–6", "whether programme, aims and outcomes are of units or of people", "Method"),
    _clusters("7", "numbers and sizes of units, with the ICC, in the number of people planned"),
    _clusters("8–10b", "how units were allocated and concealed; how people in them were chosen"),
    _clusters("10c", "who agreed for the unit and who for each person, before or after allocation"),
    _clusters("12", "how the analysis takes the units into account, with the ICC", "Results"),
    _clusters("13", "numbers of units and of people at each stage, by group", "Participants"),
)
"""Items where whole classes or teams were allocated."""
