"""A folder of blank sheets for a plan: to print, to fill in, and to be read back as it is."""

import json
from pathlib import Path
from typing import Any, Final

import pandas as pd

from motorlearn import files
from motorlearn.design import Design
from motorlearn.exceptions import InputError
from motorlearn.plan.sheets.kept import (
    CONCEALED,
    LOG,
    MARK,
    PEOPLE,
    Earlier,
    earlier_sheets,
    keep_touched,
    sums_of,
)
from motorlearn.plan.sheets.rows import (
    SESSION_LOG,
    allocation_of,
    clip_list,
    outcome_columns,
    people_of,
    planned_trials,
    rating_rows,
    session_log,
)
from motorlearn.plan.sheets.workbooks import Rule, SheetForm, workbook_bytes
from motorlearn.trials import table_bytes, unit_of
from motorlearn.vocabulary import COLUMNS

VOID_REASONS: Final = ("outside the lane", "line fault", "disturbance", "equipment", "other")
_SCORE: Final = ("0", "1", "2")
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
    participants: pd.DataFrame | None = None,
    items: tuple[str, ...] = (),
    raters: tuple[str, ...] = ("A", "B"),
    clips_per_test: int = 6,
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
    participants : DataFrame, optional
        ``participant``, the strata, and ``group`` where people were allocated already.
    items : tuple of str
        Items of the technique checklist.
    raters : tuple of str
        Raters; the first rates everything.
    clips_per_test : int
        Clips of each filmed test of a person.
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
    if not 0 <= double <= 1 or clips_per_test < 1:
        raise InputError(
            "double is a share and clips_per_test at least 1", [double, clips_per_test]
        )
    earlier = earlier_sheets(folder)
    if redraw and earlier.touched:
        raise InputError(
            "sheets of this allocation have been filled in already",
            earlier.touched,
            "keep the allocation, or write sheets of a new draw into a new folder",
        )
    people, log = _people(design, participants, seed, earlier, redraw=redraw)
    if earlier.seed is not None and not redraw:
        seed = earlier.seed
    trials = planned_trials(design, people, seed=seed)
    with files.new_folder(folder, mark=MARK) as work:
        shown = {"trials": trials, "sessions": session_log(design, people)}
        (work / CONCEALED).mkdir()
        if items:
            key = clip_list(design, people, clips_per_test=clips_per_test, seed=seed)
            key = _numbered_on(earlier.clips, key)
            rated = rating_rows(key, list(items), list(raters), double=double, seed=seed)
            shown["ratings"] = rated
            files.write_bytes(work / CONCEALED / "clips.csv", table_bytes(key))
        for name, rows in shown.items():
            form = _form(name, rows, design)
            files.write_bytes(work / f"{name}.csv", table_bytes(rows))
            files.write_bytes(work / f"{name}.xlsx", workbook_bytes([form]))
        files.write_bytes(work / "trial_sheets.xlsx", _trial_sheets(design, trials))
        files.write_bytes(work / "codebook.csv", table_bytes(codebook(design, shown)))
        files.write_bytes(work / PEOPLE, table_bytes(people))
        files.write_text(work / LOG, json.dumps(log, indent=1) + "\n")
        mark = {"seed": seed, "rows": len(trials), "files": sums_of(work)}
        keep_touched(earlier, work)
        files.write_text(work / MARK, json.dumps(mark, indent=1) + "\n")
    return Path(folder)


def codebook(design: Design, sheets: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Explain every column of the sheets: file, column, meaning, unit, what may be typed."""
    rows = []
    for name, frame in sheets.items():
        rules = _rating_rules() if name == "ratings" else _rules(design)
        for column in map(str, frame.columns):
            known = COLUMNS.get(column)
            rows.append(
                {
                    "file": name,
                    "column": column,
                    "meaning": _OWN_MEANINGS.get(column) or (known.meaning if known else ""),
                    "unit": unit_of(column, design.units),
                    "values": _allowed(rules.get(column)),
                }
            )
    return pd.DataFrame(rows)


def _people(
    design: Design, given: pd.DataFrame | None, seed: int, earlier: Earlier, *, redraw: bool
) -> tuple[pd.DataFrame, dict[str, Any]]:
    settled = people_of(design, given)
    if settled is not None:
        log = {"method": "as given", "participants": len(settled)}
        return settled, dict(earlier.log) if settled.equals(earlier.people) else log
    if earlier.people is not None and not redraw:
        return _as_drawn(given, earlier.people), dict(earlier.log)
    allocated = allocation_of(design, given, seed=seed)
    log = dict(allocated.log)
    if earlier.log:
        before = dict(earlier.log)
        log["earlier"] = [*before.pop("earlier", []), before]
    return allocated.table.drop(columns="sequence"), log


def _as_drawn(given: pd.DataFrame | None, kept: pd.DataFrame) -> pd.DataFrame:
    if given is None:
        return kept
    new = sorted(set(given["participant"].astype("str")) - set(kept["participant"]))
    if new:
        raise InputError(
            "people have joined since the allocation was drawn",
            new,
            "add them to concealed/participants.csv with the group that was drawn for them, and "
            "give that list",
        )
    return kept


def _numbered_on(kept: pd.DataFrame | None, drawn: pd.DataFrame) -> pd.DataFrame:
    """Keep the numbers clips have already; give further clips the numbers that follow."""
    if kept is None:
        return drawn
    what = ["participant", "phase", "number"]
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
    rules = _rating_rules() if name == "ratings" else _rules(design)
    return SheetForm(name, rows, entry, rules, f"{design.study.title}: {name}")


def _rating_rules() -> dict[str, Rule]:
    return {"score": Rule(_SCORE)}


def _rules(design: Design) -> dict[str, Rule]:
    flag, tenths = Rule(("0", "1")), Rule(low=0, high=10, whole=True)
    outcomes = {
        o.name: Rule(low=o.low, high=o.high)
        for o in design.outcomes
        if o.low is not None or o.high is not None
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
    stop = "; ".join(f"{rule.rule}: {rule.action}" for rule in design.stopping)
    rules = _rules(design)
    forms = [
        SheetForm(
            str(person),
            rows[columns],
            entry,
            rules,
            f"{design.study.title}   {person}   date:            tester:            {stop}",
        )
        for person, rows in trials.groupby("participant", sort=False)
    ]
    return workbook_bytes(forms)
