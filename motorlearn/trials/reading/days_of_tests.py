"""Test days typed into our own grids: a line per person, a box per trial, the total by hand."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import pandas as pd

from motorlearn.design import Design, Test
from motorlearn.trials.checking.problems import gather, problem_frame
from motorlearn.trials.reading.field_pages import Page
from motorlearn.trials.reading.notation import read_score
from motorlearn.trials.reading.sheet import Sheet
from motorlearn.trials.reading.standard import Standard, ordered_columns
from motorlearn.trials.reading.values import MISSING_WORDS, RULES, read_flag, read_number
from motorlearn.vocabulary import CHANGE_COLUMNS

TOTAL: Final = "total"
OF: Final = "of"
REASON: Final = "why missing"
TWO_LINES: Final = "two lines of one person"
_KEYS: Final = ("participant", "phase", "session", "test", "trial")
_COMMA: Final = "other decimal mark"
_MANY: Final = 5
_OWN_LAYOUT: Final = ("merged cells", "number stored as text")
_COLUMNS: Final = (*_KEYS, "date", "outcome", "value", "attempts", "file_row", "sheet", "column")
_ADVICE: Final = {
    "illegible value": "read as missing; look at the paper sheet, or leave the box empty",
    "total differs from the boxes": "count the boxes again; the boxes were used",
    "only a total": "no box is filled, so the order of hits and misses is lost; the total counts",
    "total without attempts": "write how many attempts it is out of, such as 15 of 17",
    "test not in the plan": "a sheet of an older plan? write the name the plan has",
    "typed twice, differently": "two people typed this sheet; look at the paper, the first counts",
    TWO_LINES: "two people with one name, or one person typed twice? give each an "
    "identifier of its own; both lines are kept",
    "learner did not take the test": "kept apart, not scored as 0",
    "no reason given": "write why, such as absent, left or pain, in the last column",
}


@dataclass
class _Found:
    """Rows and findings gathered from all pages."""

    rows: list[tuple[Any, ...]] = field(default_factory=list)
    problems: list[pd.DataFrame] = field(default_factory=list)
    changes: list[tuple[Any, ...]] = field(default_factory=list)
    aside: list[tuple[Any, ...]] = field(default_factory=list)

    def say(
        self, rule: str, page: Page, line: int, column: str, value: str, severity: str, advice: str
    ) -> None:
        """Note a finding with its cell."""
        self.problems.append(
            problem_frame(
                rule,
                severity=severity,
                file=page.grid.file,
                sheet=page.grid.sheet,
                row=page.row(line),
                column=page.column(column) if column in page.headings else column,
                value=value,
                advice=advice or _ADVICE[rule],
            )
        )


def read_test_days(pages: list[Page], design: Design) -> Standard:
    """Bring filled test days into standard columns, one row per trial; every doubt by its cell.

    Empty boxes of somebody who threw some are no trials; a person without any is set aside with the
    reason given, and not scored as nothing of nothing.

    Parameters
    ----------
    pages : list of Page
        Pages about tests or learners; others are passed over.
    design : Design
        The plan, which names the tests.
    """
    found = _Found()
    for page in pages:
        if page.boxes:
            _read_page(page, design, found)
    _one_finding_for_commas(found)
    rows = pd.DataFrame(found.rows, columns=list(_COLUMNS))
    file = pages[0].grid.file if pages else ""
    rows = _summed(_typed_once(rows, found, file), found)
    table, sheet_rows, titles, origins = _wide(rows, design)
    sheet = Sheet(table, sheet_rows, file, titles, {}, origins)
    changes = pd.DataFrame(found.changes, columns=list(CHANGE_COLUMNS)).astype({"row": "Int64"})
    aside = pd.DataFrame(found.aside, columns=["file", "sheet", "row", "reason", "content"])
    marks = [page.grid.marks[~page.grid.marks["rule"].isin(_OWN_LAYOUT)] for page in pages]
    return Standard(sheet, gather([*marks, *found.problems]), changes, aside, dict(design.units))


def _one_finding_for_commas(found: _Found) -> None:
    """Say once, and not for each box, that decimals are written with a comma."""
    commas = [p for p in found.problems if p["rule"].iloc[0] == _COMMA]
    if len(commas) > _MANY:
        rest = [p for p in found.problems if p["rule"].iloc[0] != _COMMA]
        once = commas[0].assign(
            severity="note", value=f"{commas[0]['value'].iloc[0]} and {len(commas) - 1} more"
        )
        found.problems = [*rest, once]


def _read_page(page: Page, design: Design, found: _Found) -> None:
    seen: dict[tuple[str, ...], int] = {}
    strange: set[str] = set()
    for line, cells in page.lines:
        told = {**page.facts, **cells}
        who, label = told.get("participant", ""), told.get("test", "")
        outcome = told.get("outcome") or "hit"
        if not who or not any(name in cells for name in ("participant", "test")):
            continue
        test = _test_of(label, told.get("phase", ""), design)
        if test is None and label not in strange:
            strange.add(label)
            named = ", ".join(entry.label for entry in design.tests)
            advice = f"{_ADVICE['test not in the plan']}: {named}; all lines of it are kept"
            found.say("test not in the plan", page, line, "test", label, "error", advice)
        key = (who, label, outcome)
        if key in seen:
            found.say(TWO_LINES, page, line, "participant", who, "error", "")
        seen[key] = line
        place = (
            who,
            told.get("phase", "") or (test.phase if test else ""),
            _whole(told.get("session", "")),
            label,
        )
        _read_line(page, line, cells, place, told.get("date", ""), outcome, found)


def _test_of(label: str, phase: str, design: Design) -> Test | None:
    alike = [test for test in design.tests if test.label.lower() == label.lower()]
    same = [test for test in alike if not phase or test.phase == phase]
    return next(iter(same or alike), None)


def _read_line(
    page: Page,
    line: int,
    cells: dict[str, str],
    place: tuple[Any, ...],
    date: str,
    outcome: str,
    found: _Found,
) -> None:
    filled = [box for box in page.boxes if box in cells]
    if not filled:
        _total_alone(page, line, cells, place, date, outcome, found)
        return
    values = []
    for box in filled:
        value = _read_box(page, line, box, cells[box], outcome, found)
        values.append(value)
        found.rows.append(
            (
                *place,
                int(box),
                date,
                outcome,
                value,
                np.nan,
                page.row(line),
                page.grid.sheet,
                page.column(box),
            )
        )
    if outcome == "hit" and TOTAL in cells:
        _compare_total(page, line, cells[TOTAL], values, found)


def _read_box(page: Page, line: int, box: str, text: str, outcome: str, found: _Found) -> float:
    read = read_flag if outcome == "hit" else read_number
    value, rule = (float("nan"), "illegible value") if text in ("?", "??") else read(text, ".")
    if text.replace("-", "").replace(".", "", 1).isdigit():
        return value
    severity, advice = RULES.get(rule, ("doubt", ""))
    if text.lower() in MISSING_WORDS and rule != "illegible value":
        severity, advice = RULES["word read as missing"]
    found.say(rule, page, line, box, text, severity, advice)
    if not np.isnan(value):
        found.changes.append(
            (
                page.grid.file,
                page.grid.sheet,
                page.row(line),
                page.column(box),
                text,
                f"{value:g}",
                rule,
            )
        )
    return value


def _compare_total(page: Page, line: int, text: str, values: list[float], found: _Found) -> None:
    said = read_score(text, "count").value
    counted = float(np.nansum(values))
    if said == said and said != counted:
        shown = f"{said:g} written, {counted:g} in the boxes"
        found.say("total differs from the boxes", page, line, TOTAL, shown, "error", "")


def _total_alone(
    page: Page,
    line: int,
    cells: dict[str, str],
    place: tuple[Any, ...],
    date: str,
    outcome: str,
    found: _Found,
) -> None:
    reason = cells.get(REASON, "")
    if TOTAL not in cells:
        if reason or _any_filled(page):
            content = " | ".join(cells.values())
            found.aside.append(
                (page.grid.file, page.grid.sheet, page.row(line), reason or "not there", content)
            )
            rule = "learner did not take the test"
            advice = _ADVICE[rule] + ("" if reason else f"; {_ADVICE['no reason given']}")
            shown = f"{place[0]}: {reason}" if reason else str(place[0])
            found.say(rule, page, line, REASON, shown, "note" if reason else "doubt", advice)
        return
    score = read_score(cells[TOTAL], "count")
    attempts = score.attempts
    if attempts != attempts and OF in cells:
        attempts = read_score(cells[OF], "count").value
    if score.value != score.value:
        rule = score.rule or "illegible value"
        severity, advice = RULES.get(rule, ("error", ""))
        found.say(rule, page, line, TOTAL, cells[TOTAL], severity, advice)
        return
    if attempts != attempts:
        found.say("total without attempts", page, line, TOTAL, cells[TOTAL], "error", "")
        return
    found.say("only a total", page, line, TOTAL, cells[TOTAL], "note", "")
    where = (page.row(line), page.grid.sheet, page.column(TOTAL))
    found.rows.append((*place, np.nan, date, outcome + "s", score.value, attempts, *where))


def _any_filled(page: Page) -> bool:
    return any(name in cells for _, cells in page.lines for name in (*page.boxes, TOTAL, REASON))


def _whole(text: str) -> float:
    return float(text) if text.isdigit() else np.nan


def _typed_once(rows: pd.DataFrame, found: _Found, file: str) -> pd.DataFrame:
    """Keep the first of two sheets of one test, and name the boxes in which they differ."""
    keys = [*_KEYS, "outcome"]
    first = rows.groupby(keys, dropna=False, sort=False)["sheet"].transform("first")
    second = rows["sheet"] != first
    if not second.any():
        return rows
    both = rows[second].merge(rows[~second], on=keys, how="left", suffixes=("", "_first"))
    for entry in _differing(both, file):
        found.problems.append(entry)
    return rows[~second].reset_index(drop=True)


def _differing(both: pd.DataFrame, file: str) -> Iterator[pd.DataFrame]:
    a, b = both["value"], both["value_first"]
    wrong = both[(a != b) & ~(a.isna() & b.isna())]
    for row in wrong.itertuples():
        yield problem_frame(
            "typed twice, differently",
            severity="error",
            file=file,
            sheet=row.sheet,
            row=row.file_row,
            column=row.column,
            value=f"{row.value:g} here, {row.value_first:g} on sheet {row.sheet_first}",
            advice=_ADVICE["typed twice, differently"],
        )


def _wide(
    rows: pd.DataFrame, design: Design
) -> tuple[pd.DataFrame, np.ndarray, np.ndarray, dict[str, np.ndarray]]:
    """One row per trial with a column per outcome, and the cell each value stood in."""
    if rows.empty:
        outcome = "hit" if _hits(design) else design.outcomes[0].name
        words = {name: pd.Series(dtype="str") for name in ("participant", "phase", "test")}
        numbers = {name: pd.Series(dtype="float") for name in ("session", "trial", outcome)}
        table = pd.DataFrame({**words, **numbers})
        return table[ordered_columns(list(table))], np.empty(0, int), np.empty(0, object), {}
    rows = rows.assign(line=rows.groupby([*_KEYS, "outcome"], dropna=False).cumcount())
    keys = [*_KEYS, "line"]
    joined = rows.drop_duplicates(keys)[[*keys, "date", "file_row", "sheet"]]
    origins = {}
    for name in dict.fromkeys(rows["outcome"]):
        part = rows[rows["outcome"] == name].rename(columns={"value": name})
        more = ["attempts"] if name == "hits" else []
        joined = joined.merge(part[[*keys, name, "column", *more]], on=keys, how="left")
        origins[name] = joined.pop("column").fillna("").to_numpy(object)
    places = joined["file_row"].to_numpy(int), joined["sheet"].to_numpy(object)
    table = joined.drop(columns=["line", "file_row", "sheet"])
    for name in ("participant", "phase", "test", "date"):
        table[name] = table[name].replace("", pd.NA).astype("str")
    table = table[ordered_columns(list(table))].dropna(axis="columns", how="all")
    return table.reset_index(drop=True), *places, origins


def _summed(rows: pd.DataFrame, found: _Found) -> pd.DataFrame:
    """Where a person has only a total, write every test as hits of attempts, so that all agree."""
    if not (rows["outcome"] == "hits").any():
        return rows
    single = rows[(rows["outcome"] == "hit") & rows["value"].notna()]
    keys = ["participant", "phase", "session", "test", "file_row", "sheet"]
    sums = single.groupby(keys, dropna=False, sort=False, as_index=False).agg(
        date=("date", "first"),
        value=("value", "sum"),
        attempts=("value", "count"),
        column=("column", "first"),
    )
    sums = sums.assign(outcome="hits", trial=np.nan)
    found.changes.append(("", "", pd.NA, "hit", "", "", "boxes summed to hits of attempts"))
    rest = rows[rows["outcome"] != "hit"]
    return pd.concat([rest, sums[list(_COLUMNS)]], ignore_index=True)


def _hits(design: Design) -> bool:
    return bool({"hit", "hits", "hit_rate"} & {outcome.name for outcome in design.outcomes})
