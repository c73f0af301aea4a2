"""What reporting standards ask for: covered where, and what the author must still write.

The items are put in our own words after JARS-Quant (Appelbaum et al. 2018,
doi:10.1037/amp0000191), CONSORT (2025 revision and extension to clusters) where people were
randomised, TIDieR (Hoffmann et al. 2014, doi:10.1136/bmj.g1687) for the programme, and SCRIBE 2016
for single cases. Of TIDieR the twelve items were read in a stored copy; of JARS-Quant those from
the title to the participants, on numbers of people, diagnostics, analytic strategy, allocation,
tests and estimates. An item that could not be read is marked ``recalled`` and shown so: check its
wording in your journal's own form.
"""

from itertools import takewhile

import pandas as pd

from motorlearn.design import Design
from motorlearn.wording.consort import CLUSTERS, HITS, LOOKS, NO_LOOKS, RANDOMISED
from motorlearn.wording.standard_items import (
    ANALYSIS_PLAN,
    AUTHOR,
    ETHICS,
    PLACE,
    RECALLED,
    REGISTERED,
    SCRIBE,
    WHO,
    Item,
)


def _jars(item: str, where: str = AUTHOR, source: str = "read") -> Item:
    return Item("JARS-Quant", "", item, where, source)


def _tidier(number: str, item: str, where: str = AUTHOR) -> Item:
    return Item("TIDieR", number, item, where)


_ALWAYS = (
    _jars("title with variables and people; abstract with design, estimates and intervals"),
    _jars("problem, earlier work; primary, secondary and other hypotheses"),
    _jars("how people were found, and the share of those asked who took part"),
    _jars("features of the people that matter for the task", "Participants"),
    _jars(ETHICS, source=RECALLED),
    _jars("consent: who gave it, how, and for what (data, video, sharing)", source=RECALLED),
    _jars("how people were watched for pain and harm; payment or credit", source=RECALLED),
    _jars("quality of measurement: raters, agreement, precision", "Measurement", RECALLED),
    _jars("planned diagnostics: exclusions, outliers, missing, transformations", "Assumptions"),
    _jars("primary, secondary and exploratory analyses told apart; many tests", "Results"),
    _jars("exact p, degrees of freedom, estimates with intervals", "Results"),
    _jars("assumptions that fail, models that do not converge, what was done", "Assumptions"),
    _jars("means and spreads of every group and test", "Results", RECALLED),
)
_NOT_RANDOMISED = (
    _jars(REGISTERED),
    _jars("funding and conflicts of interest"),
    _jars(ANALYSIS_PLAN, source=RECALLED),
    _jars(WHO),
    _jars(PLACE, source=RECALLED),
    _jars("how the number of people was decided; interim looks, rule for stopping"),
    _jars("definition of every outcome, unit and direction", "Method", RECALLED),
    _jars("flow of participants through the study", "Participants", RECALLED),
    _jars("missing data: how much, why, how handled", "Missing data", RECALLED),
    _jars("departures from the plan", "Deviations", RECALLED),
    _jars("harm and unintended effects", source=RECALLED),
    _jars("limitations, and what can be generalised", "Limitations", RECALLED),
    _jars("interpretation in the light of earlier work", source=RECALLED),
    _jars("where data, materials and code can be had", source=RECALLED),
)
_GROUPS_AS_THEY_WERE = (
    _jars("how groups came about, and how alike they were at the start", source=RECALLED),
    _jars("unit that was assigned and unit of analysis", "Method"),
)
_PROGRAMME = (
    _tidier("1–2", "name of the programme; aim and reasons of its parts"),
    _tidier("3", "materials, and where others can find them"),
    _tidier("4", "what was done: tasks, order, feedback", "Programme"),
    _tidier("5", "who taught: background, and training for it"),
    _tidier("6–7", PLACE),
    _tidier("8", "how much: sessions, trials, over which time", "Programme"),
    _tidier("9", "whether it was fitted to the person: what, why, when, how"),
    _tidier("10", "what was changed on the way: what, why, when, how"),
    _tidier("11", "how it was planned to keep and to watch that the programme is followed"),
    _tidier("12", "how far it was followed", "Deviations"),
)


def standards_checklist(design: Design, sections: set[str]) -> pd.DataFrame:
    """List the items with the section that covers each, or what the author must write.

    Parameters
    ----------
    design : Design
        The plan. It chooses: CONSORT where people were allocated by chance, its extension where
        whole units were, JARS-Quant's items on groups as they were found, SCRIBE for single cases.
    sections : set of str
        Sections that this report has.

    Returns
    -------
    DataFrame
        ``standard, number, item, covered, where, source``; ``source`` is ``read`` where the
        standard's own wording was read, ``recalled`` where it is known from memory only.
    """
    said = _said(design)
    rows = []
    for entry in _chosen(design):
        where = said.get(entry.item, entry.where)
        covered = where in sections
        told = f"section {where}" if covered else "by the author"
        if entry.item == REGISTERED and design.study.registration:
            covered, told = True, design.study.registration
        rows.append((entry.standard, entry.number, entry.item, covered, told, entry.source))
    columns = ["standard", "number", "item", "covered", "where", "source"]
    return pd.DataFrame(rows, columns=columns)


def _chosen(design: Design) -> tuple[Item, ...]:
    if design.single_case is not None:
        return SCRIBE
    several = len(design.groups) > 1
    if not (several and design.allocation.by_chance):
        groups = _GROUPS_AS_THEY_WERE if several else ()
        return _ALWAYS + _NOT_RANDOMISED + groups + _PROGRAMME
    looks = NO_LOOKS if design.interim is None else LOOKS
    hits = (HITS,) if any(outcome.name in ("hit", "hits") for outcome in design.outcomes) else ()
    clusters = CLUSTERS if design.allocation.unit != "participant" else ()
    randomised = sorted((*RANDOMISED, looks, *hits), key=_place)
    return (*_ALWAYS, *randomised, *clusters, *_PROGRAMME)


def _place(entry: Item) -> tuple[int, str]:
    """Where an item stands in its standard."""
    return int("".join(takewhile(str.isdigit, entry.number))), entry.number


def _said(design: Design) -> dict[str, str]:
    """Items that a section covers only where the plan says something on them."""
    sample, frame = design.sample, design.programme
    found = {}
    if sample.include or sample.exclude or sample.age_low is not None:
        found[WHO] = "Participants"
    if frame is not None and frame.place:
        found[PLACE] = "Programme"
    if design.study.ethics_approval:
        found[ETHICS] = "Participants"
    if design.primary is not None:
        found[ANALYSIS_PLAN] = "Method"
    return found
