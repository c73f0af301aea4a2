"""The page that a supervisor signs: one A4 sheet from the analysis of a study."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from motorlearn import digits
from motorlearn.analysis import StudyAnalysis, page_analysis
from motorlearn.audit import Audit, Sensitivity
from motorlearn.compare import pair_in_words
from motorlearn.compare.crossing import JOINT
from motorlearn.digits import count, decimal_sign
from motorlearn.exceptions import InputError
from motorlearn.files import write_bytes, write_text
from motorlearn.report import writers
from motorlearn.report.sections.declared import multiverse_line, shown_looks
from motorlearn.report.sections.primary import (
    estimate_in_words,
    missing_sentence,
    primary_sentences,
)
from motorlearn.report.sections.registered import registered_and_now
from motorlearn.report.sections.single_case import is_single_case
from motorlearn.report.sections.spreads import spread_sentences
from motorlearn.report.study_page import HASH, StudyAudit, audit_study
from motorlearn.report.view import StudyView, view_of
from motorlearn.report.writers.sheet import MADE_HERE, to_sheet_html, to_sheet_text
from motorlearn.results import Refused
from motorlearn.trials import Study
from motorlearn.wording import summary
from motorlearn.wording.voice import listed

SHOWN = 4
"""Open assumptions told one by one; of more, the rest is counted."""
LONG = 420
"""Longest text of one entry; what is cut ends in an ellipsis and stands whole in the report."""


@dataclass(frozen=True)
class SupervisorPage:
    """One page on a study, to be read, signed and kept.

    Parameters
    ----------
    title : str
        Title of the study.
    headline : str
        Estimate of the primary comparison with its interval.
    entries : tuple of (str, tuple of str)
        Topic, and the sentences on it.
    made : tuple of (str, str)
        Versions of the software and checksums of plan and data.
    """

    title: str
    headline: str
    entries: tuple[tuple[str, tuple[str, ...]], ...]
    made: tuple[tuple[str, str], ...]

    def __str__(self) -> str:
        return to_sheet_text(self.title, self.headline, self.entries, self.made)

    def to_html(self) -> str:
        """The page as HTML that prints on one sheet of A4."""
        return to_sheet_html(self.title, self.headline, self.entries, self.made)

    def to_pdf(self) -> bytes:
        """The page as a PDF of one sheet of A4."""
        return writers.to_sheet_pdf(self.title, self.headline, self.entries, self.made)

    def write(self, file: str | Path) -> Path:
        """Write the page as ``.html`` or ``.pdf``, over an earlier one or nothing.

        Raises
        ------
        InputError
            If the name ends otherwise.
        FileError
            If the file holds somebody's other work, or cannot be written.
        """
        place = Path(file)
        if place.suffix.lower() not in (".html", ".pdf"):
            raise InputError(
                "the page is written as HTML or PDF", [place.name], "end the name in .html or .pdf"
            )
        if place.suffix.lower() == ".pdf":
            return write_bytes(place, self.to_pdf(), only_over=_beginning_of(place))
        return write_text(place, self.to_html(), only_over=MADE_HERE)


def _beginning_of(place: Path) -> bytes:
    """What a PDF has to begin with to be written over: one of these pages as any PDF does."""
    mine = place.is_file() and MADE_HERE.encode() in place.read_bytes()
    return b"%PDF-" if mine else MADE_HERE.encode()


def supervisor_page(
    study: Study | StudyAnalysis,
    *,
    audit: StudyAudit | None = None,
    seed: int = 0,
    decimal: str = ".",
) -> SupervisorPage:
    """Put a study on the one page that a supervisor signs.

    Primary result with its interval, unit of analysis, assumptions that stay open with what their
    remedy gave, sensitivity, who is missing and what they could change, departures from the plan,
    how many tests were exploratory, and checksums. Nothing is computed here: the page shows what
    :func:`motorlearn.analyse_study` answers.

    Parameters
    ----------
    study : Study or StudyAnalysis
        A study that was read, or its analysis.
    audit : StudyAudit, optional
        Every test and fact of this analysis, where they are at hand.
    seed : int
        Seed of remedies and variants that draw numbers, where a study is given.
    decimal : {".", ","}
        Decimal sign.

    Raises
    ------
    InputError
        If the plan does not fit the data, as :func:`motorlearn.analyse_study` says.

    Examples
    --------
    >>> import motorlearn as ml
    >>> page = supervisor_page(ml.read_study(ml.trials.shipped_study()))
    >>> page.headline
    'random / blocked, Delayed retention: ratio 0.92 (95 % CI 0.84 to 1.01), p = .082'
    """
    if isinstance(study, StudyAnalysis):
        analysis = study
    else:
        analysis = page_analysis(study, seed=seed, mixed=False)
    with decimal_sign(decimal):
        found = view_of(analysis, decimal=decimal)
        audit = audit_study(analysis) if audit is None else audit
        entries = tuple(
            (topic, tuple(_cut(t) for t in told)) for topic, told in _entries(found, audit)
        )
        return SupervisorPage(
            analysis.design.study.title, _headline(found), entries, tuple(_made(audit))
        )


def _cut(text: str) -> str:
    return text if len(text) <= LONG else f"{text[: LONG - 2].rsplit(' ', 1)[0]} …"


def _headline(found: StudyView) -> str:
    row, voice = found.analysis.primary.iloc[0], found.outcomes[0].voice
    if row["effect"] == JOINT and pd.notna(row["p"]):
        f = f"F = {voice.number(row['statistic'], 2)}, {digits.p_clause(row['p'])}"
        return f"{row['group']}, {row['test']}: {JOINT}, {f}"
    if pd.isna(row["estimate"]):
        return "not computed"
    p = f", {digits.p_clause(row['p'])}" if pd.notna(row["p"]) else ""
    several = len(found.groups) > 1
    pair = pair_in_words(*row[["group", "reference", "effect"]]) if several else row["group"]
    effect = "change" if not several and row["effect"] == "difference" else row["effect"]
    said = f"{effect} {estimate_in_words(row, voice)}{p}{shown_looks(found)}"
    return f"{pair}, {row['test']}: {said}"


def _entries(found: StudyView, audit: StudyAudit) -> Iterator[tuple[str, list[str]]]:
    facts = audit.facts.set_index("topic")["finding"]
    analysis = found.analysis
    if found.design.study.question:
        yield "question", [found.design.study.question]
    yield "primary result", primary_sentences(found, found.outcomes[0])
    if analysis.spreads:
        refused = [one.reason for one in analysis.spreads.values() if isinstance(one, Refused)]
        told = [*spread_sentences(found), *(f"Not computed: {reason}" for reason in refused)]
        yield "spread of trials", told
    yield "unit", [f"Allocated: {facts['unit allocated']}. Analysed: {facts['unit analysed']}."]
    yield "assumptions", _open(analysis.audit)
    if analysis.sensitivity is not None:
        beside = [line] if (line := multiverse_line(found)) else []
        yield "sensitivity", [*_other_ways(analysis.sensitivity), *beside]
    if not is_single_case(found):
        yield "missing", [missing_sentence(found), *_tipping(analysis.sensitivity)]
    yield "departures", [summary.departures(audit.deviations)]
    registered, _ = registered_and_now(found)
    yield "registration", [registered or "This plan was not registered with 'motorlearn register'."]
    yield "tests run", [_counted(audit.tests)]
    yield "data problems", [f"{facts['problems in the data']}."]


def _open(audit: Audit | Refused) -> list[str]:
    if isinstance(audit, Refused):
        return [f"Not checked: {audit.told}"]
    gravest = summary.flagged_assumptions(audit.table)
    said = [
        f"{row.assumption} ({row.grade}): {row.remedied or row.finding}"
        for row in gravest.head(SHOWN).itertuples()
    ]
    if len(gravest) > SHOWN:
        said.append(f"and {len(gravest) - SHOWN} more, which the report lists")
    return [f"{summary.counted_assumptions(audit.table)}.", *said]


def _other_ways(result: Sensitivity | Refused) -> list[str]:
    if isinstance(result, Refused):
        return [f"Not computed: {result.told}"]
    return [summary.sensitivity_words(result.table, result.original)]


def _tipping(result: Sensitivity | Refused | None) -> list[str]:
    """How far the missing would have to lie to change the conclusion."""
    if not isinstance(result, Sensitivity) or result.tipping.empty:
        return []
    said = []
    for row in result.tipping.itertuples():
        if pd.isna(row.shift):
            said.append(
                "No shift of the missing up to four residual SDs changes the conclusion on "
                f"{row.contrast}."
            )
        else:
            said.append(
                f"The conclusion on {row.contrast} changes where the missing lie "
                f"{digits.number(row.shift, 2)} residual SDs from what their baseline predicts."
            )
    return said


def _counted(tests: pd.DataFrame) -> str:
    counts = tests["label"].value_counts()
    parts = [
        f"{counts[label]} {label}"
        for label in ("primary", "secondary", "exploratory")
        if label in counts
    ]
    return f"{count(len(tests), 'test')} of scores: {listed(parts)}." if parts else "None."


def _made(audit: StudyAudit) -> Iterator[tuple[str, str]]:
    for row in audit.facts.itertuples():
        if row.topic.startswith(HASH) or row.topic in ("motorlearn", "python", "seeds"):
            yield str(row.topic), str(row.finding)
