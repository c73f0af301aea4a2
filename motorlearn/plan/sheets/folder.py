"""A folder of blank sheets for a plan: to print, to fill in, and to be read back as it is."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import pandas as pd

from motorlearn import files
from motorlearn.design import Design
from motorlearn.exceptions import InputError
from motorlearn.plan.allocation.enrolled import people_frame
from motorlearn.plan.arguments import a_plan, share, whole_number
from motorlearn.plan.sheets.field_books import field_book
from motorlearn.plan.sheets.field_forms import learner_forms, session_forms, test_day_forms
from motorlearn.plan.sheets.field_print import drill_cards, printed_forms, skill_sheet
from motorlearn.plan.sheets.kept import (
    CLIPS,
    CONCEALED,
    LOG,
    MARK,
    PEOPLE,
    earlier_sheets,
    keep_touched,
    sums_of,
)
from motorlearn.plan.sheets.people import who_gets_sheets
from motorlearn.plan.sheets.rows import (
    SESSION_LOG,
    clip_list,
    outcome_columns,
    planned_trials,
    rating_rows,
    session_log,
)
from motorlearn.plan.sheets.workbooks import Rule, SheetForm, workbook_bytes
from motorlearn.plan.single_case import with_conditions
from motorlearn.trials import table_bytes, unit_of
from motorlearn.trials.handedness import HAND
from motorlearn.vocabulary import COLUMNS

PRINT: Final = "print"
VOID_REASONS: Final = ("outside the lane", "line fault", "disturbance", "equipment", "other")
_SCORE: Final = ("0", "1", "2")
_CLIPS: Final = 6
_OWN_MEANINGS: Final = {
    "void": "reason why the trial does not count; leave empty where it does",
    "date": "date of the trial, year-month-day (2026-03-31)",
    "clip": "number on the video clip; it tells neither person nor test",
    "position": "place of the clip in your order of work",
    "score": "0 not shown, 1 partly shown, 2 fully shown",
    "tester": "who tested",
    "warm_up_done": "yes or no",
    "pain_before": "pain before the session, 0 none to 10 worst; above 0: stop and ask",
    "pain_after": "pain after the session, 0 none to 10 worst",
    "fatigue_before": "fatigue before the session, 0 none to 10 worst",
    "fatigue_after": "fatigue after the session, 0 none to 10 worst",
    "stopped_because": "why the session was stopped early; leave empty where it was not",
    "note": "anything else; no names",
}


def write_sheets(
    design: Design,
    folder: str | Path,
    *,
    seed: int,
    participants: pd.DataFrame | Sequence[str] | None = None,
    items: tuple[str, ...] = (),
    raters: tuple[str, ...] = (),
    clips_per_test: int | None = None,
    double: float = 0.2,
    redraw: bool = False,
) -> Path:
    """Write the blank sheets of a plan into a folder of their own.

    A second run keeps, byte for byte, every file that was filled in or put there by somebody, and
    the allocation that was drawn; what was not touched is written anew.

    ``trials`` (CSV and XLSX), ``sessions`` (pain, fatigue, stopping), ``trial_sheets.xlsx`` (one
    page set per participant, to print) and ``codebook.csv``; with `items` also ``ratings``. The
    folder ``concealed`` holds what those who test, rate and enter data must not see:
    ``participants.csv`` with the groups, the audit log, and the key of the clips. Copied beside
    ``study.toml``, the filled-in files are read by ``read_study`` without a mapping.

    Parameters
    ----------
    design : Design
        The plan.
    folder : path-like
        New folder, or one that this function made before.
    seed : int
        Seed of allocation, orders and clip numbers; an earlier run's is kept.
    participants : DataFrame or sequence of str, optional
        Identifiers, or a table: ``participant``, the strata, and ``group`` where people were
        allocated already.
    items : tuple of str
        Items of the technique checklist; by default those of the plan's checklist.
    raters : tuple of str
        Raters; the first rates everything. By default those of the plan's checklist, else A and B.
    clips_per_test : int, optional
        Clips of each filmed test of a person; by default the plan's, else 6.
    double : float
        Share of clips the other raters rate too.
    redraw : bool
        Whether the groups are drawn anew although an earlier run drew them; the earlier draw stays
        in the audit log.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    InputError
        If people or sizes are missing, a share is out of range, or a new draw is asked for after
        something was filled in.
    FileError
        If the folder is somebody else's.
    """
    design = a_plan(design)
    rating = _rating(design, items, raters, clips_per_test, double)
    earlier = earlier_sheets(folder)
    if redraw and earlier.touched:
        raise InputError(
            "sheets of this allocation have been filled in already",
            earlier.touched,
            "keep the allocation, or write sheets of a new draw into a new folder",
        )
    listed = None if participants is None else people_frame(participants)
    people, log = who_gets_sheets(design, listed, seed, earlier, redraw=redraw)
    if design.programme is not None and HAND not in people:
        people = people.assign(**{HAND: ""})
    seed = seed if earlier.seed is None or redraw else earlier.seed
    trials, drawn = with_conditions(planned_trials(design, people, seed=seed), design, people, seed)
    shown = {
        "trials": trials,
        "sessions": session_log(design, people),
    }
    with files.new_folder(folder, mark=MARK) as work:
        (work / CONCEALED).mkdir()
        if rating.items:
            key = clip_list(design, people, clips_per_test=rating.clips, seed=seed)
            key = _numbered_on(earlier.clips, key)
            shown["ratings"] = rating_rows(
                key, list(rating.items), list(rating.raters), double=double, seed=seed
            )
            files.write_bytes(work / CLIPS, table_bytes(key))
        _tables(work, design, shown)
        if design.programme is not None or design.drills:
            _field_sheets(work, design, people)
        if drawn is not None:
            files.write_bytes(work / CONCEALED / "conditions.csv", table_bytes(drawn.table))
            files.write_text(work / CONCEALED / "draw.json", drawn.to_json() + "\n")
        files.write_bytes(work / PEOPLE, table_bytes(people))
        files.write_text(work / LOG, json.dumps(log, indent=1) + "\n")
        mark = {"seed": seed, "rows": len(shown["trials"]), "files": sums_of(work)}
        keep_touched(earlier, work)
        files.write_text(work / MARK, json.dumps(mark, indent=1) + "\n")
    return Path(folder)


@dataclass(frozen=True)
class _Rating:
    """What is rated, by whom, on how many clips of a test."""

    items: tuple[str, ...]
    raters: tuple[str, ...]
    clips: int


def _rating(
    design: Design,
    items: tuple[str, ...],
    raters: tuple[str, ...],
    clips: int | None,
    double: float,
) -> _Rating:
    """Take what was given, else the plan's checklist, else the usual."""
    own = design.checklist
    if own is not None:
        items = items or tuple(item.name for item in own.items)
        raters, clips = raters or own.raters, clips or own.clips_per_test
    if design.within is not None and items:
        raise InputError(
            "sheets of ratings are not written where each person meets every condition",
            list(items),
            "leave the checklist out and number the clips yourself",
        )
    clips = _CLIPS if clips is None else clips
    share("double", double)
    whole_number("clips_per_test", clips)
    return _Rating(items, raters or ("A", "B"), clips)


def _tables(work: Path, design: Design, shown: dict[str, pd.DataFrame]) -> None:
    """Write the long sheets, a row for each trial, rating or session, and their code book."""
    for name, rows in shown.items():
        form = _form(name, rows, design)
        files.write_bytes(work / f"{name}.csv", table_bytes(rows))
        files.write_bytes(work / f"{name}.xlsx", workbook_bytes([form]))
    files.write_bytes(work / "trial_sheets.xlsx", _trial_sheets(design, shown["trials"]))
    files.write_bytes(work / "codebook.csv", table_bytes(codebook(design, shown)))


def _field_sheets(work: Path, design: Design, people: pd.DataFrame) -> None:
    """Write what a practitioner carries: grids to type in, and pages to print."""
    tests = test_day_forms(design, people)
    sessions = session_forms(design, people)
    learners = learner_forms(design, people)
    title = design.study.title
    files.write_bytes(work / "tests.xlsx", field_book(tests))
    files.write_bytes(work / "learners.xlsx", field_book(learners))
    (work / PRINT).mkdir()
    pages = {"test_days": printed_forms(tests, title), "learners": printed_forms(learners, title)}
    if sessions:
        files.write_bytes(work / "sessions.xlsx", field_book(sessions))
        pages["sessions"] = printed_forms(sessions, title)
    if design.skill.phases or design.skill.faults or design.checklist:
        pages["skill_sheet"] = skill_sheet(design)
    if design.drills:
        pages["drill_cards"] = drill_cards(design)
    for name, page in pages.items():
        files.write_text(work / PRINT / f"{name}.html", page)


def codebook(design: Design, sheets: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Explain every column of the sheets: file, column, meaning, unit, what may be typed."""
    rows = []
    told = dict(_OWN_MEANINGS)
    if design.checklist is not None:
        told["score"] = design.checklist.meaning
    for name, frame in sheets.items():
        rules = _rating_rules(design) if name == "ratings" else _rules(design)
        for column in map(str, frame.columns):
            known = COLUMNS.get(column)
            rows.append(
                {
                    "file": name,
                    "column": column,
                    "meaning": told.get(column) or (known.meaning if known else ""),
                    "unit": unit_of(column, design.units),
                    "values": _allowed(rules.get(column)),
                }
            )
    return pd.DataFrame(rows)


def _numbered_on(kept: pd.DataFrame | None, drawn: pd.DataFrame) -> pd.DataFrame:
    """Keep the numbers clips have already; give further clips the numbers that follow."""
    if kept is None:
        return drawn
    what = [n for n in ("participant", "phase", "session", "test", "number") if n in kept]
    known = pd.MultiIndex.from_frame(kept[what].astype("str"))
    new = drawn[~pd.MultiIndex.from_frame(drawn[what].astype("str")).isin(known)]
    width = len(str(kept["clip"].iloc[0])) - 1 if len(kept) else 4
    codes = [f"C{len(kept) + i + 1:0{width}d}" for i in range(len(new))]
    return pd.concat([kept, new.assign(clip=codes)], ignore_index=True)


def _form(name: str, rows: pd.DataFrame, design: Design) -> SheetForm:
    entry = {
        "trials": (*outcome_columns(design), "feedback", "void", "date"),
        "sessions": SESSION_LOG,
        "ratings": ("score",),
    }[name]
    rules = _rating_rules(design) if name == "ratings" else _rules(design)
    units = f"   {_in_units(design)}" if name == "trials" else ""
    return SheetForm(name, rows, entry, rules, f"{design.study.title}: {name}{units}")


def _in_units(design: Design) -> str:
    """Units of what is written down; the headings themselves are names that are read back."""
    named: dict[str, list[str]] = {}
    for name in outcome_columns(design):
        named.setdefault(unit_of(name, design.units), []).append(name)
    return "; ".join(f"{', '.join(names)} in {unit}" for unit, names in named.items() if unit)


def _rating_rules(design: Design) -> dict[str, Rule]:
    own = design.checklist
    return {"score": Rule(_SCORE if own is None else tuple(map(str, own.scores)))}


def _rules(design: Design) -> dict[str, Rule]:
    flag, tenths = Rule(("0", "1")), Rule(low=0, high=10, whole=True)
    outcomes = {
        o.name: Rule(low=o.low, high=o.high)
        for o in design.outcomes
        if (o.low is not None or o.high is not None) and not o.has_target
    }
    rules: dict[str, Rule] = {
        name: Rule(low=COLUMNS[name].lower, high=COLUMNS[name].upper)
        for name in ("radial_error", "time", "speed")
    }
    rules |= {name: rule for name, rule in outcomes.items() if name not in ("hit", "hits")}
    rules |= {
        "hit": flag,
        "feedback": flag,
        "phase": Rule(design.phases),
        "task": Rule(tuple(task.name for task in design.tasks)),
        "void": Rule(VOID_REASONS, hint="Only where the trial does not count: choose the reason."),
        "warm_up_done": Rule(("yes", "no")),
    }
    moments = ("before", "after")
    return rules | {f"{what}_{when}": tenths for what in ("pain", "fatigue") for when in moments}


def _allowed(rule: Rule | None) -> str:
    if rule is None:
        return ""
    return " / ".join(rule.choices) if rule.choices else rule.limits


def _trial_sheets(design: Design, trials: pd.DataFrame) -> bytes:
    columns = [name for name in trials.columns if name not in ("participant", "date")]
    entry = (*outcome_columns(design), "void")
    blank = "date:            tester:            "
    stop = "; ".join(f"{rule.rule}: {rule.action}" for rule in design.stopping)
    rules, units = _rules(design), _in_units(design)
    forms = [
        SheetForm(
            str(person),
            rows[columns],
            entry,
            rules,
            f"{design.study.title}   {person}   {units}   {blank}{stop}",
        )
        for person, rows in trials.groupby("participant", sort=False)
    ]
    return workbook_bytes(forms)
