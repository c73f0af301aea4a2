"""What reporting standards ask for: covered where, and what the author must still write.

The items are put in our own words after JARS-Quant (Appelbaum et al. 2018), CONSORT (2025
revision) where people were randomised, and TIDieR (Hoffmann et al. 2014) for the programme. Read in
stored copies: the twelve items of TIDieR (doi:10.1136/bmj.g1687, names in its abstract), items 1 to
12 of CONSORT 2025 (doi:10.1371/journal.pmed.1004587, table 1), and JARS-Quant from the title to the
participants (doi:10.1037/amp0000191, its table 1). The rest is from memory, so check the wording of
your journal's own form.
"""

import pandas as pd

from motorlearn.design import Design
from motorlearn.wording.single_case_standards import SCRIBE

AUTHOR = "author"

_WHO, _WHERE = "who could take part", "how and where: alone or in groups, place"
_REGISTERED = "registration and protocol"
_ETHICS = "approval of an ethics committee, or why none was needed"
_ANALYSIS_PLAN = "statistical analysis plan: what was fixed before the data, and when"
_CLUSTER = (
    ("CONSORT, cluster", "why whole units were allocated, and how they were found", AUTHOR),
    ("CONSORT, cluster", "numbers of units and of people, by group", "Participants"),
    ("CONSORT, cluster", "how the analysis takes the units into account, with the ICC", "Results"),
    ("CONSORT, cluster", "who agreed for the unit, and who for each person", AUTHOR),
)
_ALWAYS = (
    ("JARS-Quant", "design named in title or abstract", AUTHOR),
    ("JARS-Quant", "problem, earlier work and hypotheses", AUTHOR),
    ("JARS-Quant", _WHO, AUTHOR),
    ("JARS-Quant", "where and how they were recruited", AUTHOR),
    ("JARS-Quant", "characteristics of the participants", "Participants"),
    ("JARS-Quant", "how the number of participants was decided", AUTHOR),
    ("JARS-Quant", _ETHICS, AUTHOR),
    ("JARS-Quant", "consent: who gave it, how, and for what (data, video, sharing)", AUTHOR),
    ("JARS-Quant", "conflicts of interest and funding", AUTHOR),
    ("JARS-Quant", _ANALYSIS_PLAN, AUTHOR),
    ("JARS-Quant", "definition of every outcome, unit and direction", "Method"),
    ("JARS-Quant", "quality of measurement: raters, agreement, precision", "Measurement"),
    ("JARS-Quant", "flow of participants through the study", "Participants"),
    ("JARS-Quant", "missing data: how much, why, how handled", "Missing data"),
    ("JARS-Quant", "descriptive statistics of every group and test", "Results"),
    ("JARS-Quant", "estimates with intervals, exact p, degrees of freedom and method", "Results"),
    ("JARS-Quant", "primary and further analyses told apart", "Results"),
    ("JARS-Quant", "assumptions checked, with what was found", "Assumptions"),
    ("JARS-Quant", "departures from the plan", "Deviations"),
    ("JARS-Quant", "limitations, and what can be generalised", "Limitations"),
    ("JARS-Quant", "interpretation in the light of earlier work", AUTHOR),
    ("JARS-Quant", "where data, materials and code can be had", AUTHOR),
    ("TIDieR", "name and aim of the programme", "Programme"),
    ("TIDieR", "materials, and where others can find them", AUTHOR),
    ("TIDieR", "what was done: tasks, order, feedback", "Programme"),
    ("TIDieR", "who taught or tested, and their training", AUTHOR),
    ("TIDieR", _WHERE, AUTHOR),
    ("TIDieR", "how much: sessions, trials, intervals", "Programme"),
    ("TIDieR", "tailoring and modifications", AUTHOR),
    ("TIDieR", "how well the programme was followed", "Deviations"),
)
_RANDOMISED = (
    ("CONSORT", "how the allocation sequence was made", "Method"),
    ("CONSORT", "how it was concealed, who enrolled and who assigned", AUTHOR),
    ("CONSORT", "who was blind to the group", AUTHOR),
    ("CONSORT", "numbers allocated, practised, analysed, by group", "Participants"),
    ("CONSORT", "baseline data by group, without tests", "Participants"),
    ("CONSORT", "harms and unintended effects", AUTHOR),
    ("CONSORT", _REGISTERED, AUTHOR),
)


def standards_checklist(design: Design, sections: set[str]) -> pd.DataFrame:
    """List the items with the section that covers each, or what the author must write.

    Parameters
    ----------
    design : Design
        The plan; CONSORT items are asked for where people were allocated.
    sections : set of str
        Sections that this report has.

    Returns
    -------
    DataFrame
        ``standard, item, covered, where``.
    """
    randomised = len(design.groups) > 1 and design.allocation.by_chance
    clusters = randomised and design.allocation.unit != "participant"
    items = _ALWAYS + (_RANDOMISED if randomised else ()) + (_CLUSTER if clusters else ())
    if design.single_case is not None:
        items = SCRIBE
    rows = []
    said = _said(design)
    for standard, item, where in items:
        where = said.get(item, where)
        covered = where in sections
        rows.append((standard, item, covered, f"section {where}" if covered else "by the author"))
    if design.study.registration:
        rows = [
            (s, i, True, design.study.registration) if i == _REGISTERED else (s, i, c, w)
            for s, i, c, w in rows
        ]
    return pd.DataFrame(rows, columns=["standard", "item", "covered", "where"])


def _said(design: Design) -> dict[str, str]:
    """Items that a section covers only where the plan says something on them."""
    sample, frame = design.sample, design.programme
    found = {}
    if sample.include or sample.exclude or sample.age_low is not None:
        found[_WHO] = "Participants"
    if frame is not None and frame.place:
        found[_WHERE] = "Programme"
    if design.study.ethics_approval:
        found[_ETHICS] = "Participants"
    if design.primary is not None:
        found[_ANALYSIS_PLAN] = "Method"
    return found
