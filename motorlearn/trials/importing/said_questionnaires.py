"""Questionnaires that come in with an import: which column is what, scales and answers as said."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pandas as pd

from motorlearn.exceptions import FileError, InputError
from motorlearn.trials.importing.known_headings import holds_time, standard_name, times_in
from motorlearn.trials.importing.recipe_text import toml_key, toml_value
from motorlearn.trials.importing.sources import fitted
from motorlearn.trials.importing.started_rules import Ask
from motorlearn.trials.reading.answers_file import read_answers, taken_apart

_ID: Final = r"(?:[ _.]?(?:id|no|nr|code|name))?"
_TIME: Final = re.compile(
    r"(?:time|time.?point|occasion|phase|test|wave|session|visit|day)" + _ID, re.I
)
_ITEM: Final = re.compile(r"(?:item|question|statement|scale|subscale)" + _ID, re.I)
_RESPONSE: Final = re.compile(r"(?:response|answer|rating|score|value|reply)", re.I)
_RANGE: Final = re.compile(r"\s*(-?\d+(?:\.\d+)?)\s*(?:-|to|\.\.)\s*(-?\d+(?:\.\d+)?)\s*")
_NOT_ITEMS: Final = frozenset({"index", "row", "age", "group", "condition", "gender", "sex"})


@dataclass(frozen=True)
class AskedQuestionnaires:
    """What is said of questionnaires with an import.

    Parameters
    ----------
    files : sequence of path-like
        A file for each questionnaire.
    scales : str
        Items of each scale, reversed ones behind a minus: ``interest=fun+again-dull``.
    answers : str
        Lowest and highest answer: ``1-7``; for several files in their order: ``1-7,0-10``.
    score : str
        ``mean`` or ``sum`` of the answers.
    minimum_answered : int, optional
        Answers a scale needs; by default all of its items.
    headings : str
        How headings hold an item and its time, where they do: ``{item}_{time}``. Those such as
        ``t1_fun`` are seen without it.

    Examples
    --------
    >>> told = AskedQuestionnaires(["mood.csv"], scales="joy=fun+again-dull", answers="1-7")
    >>> told.score
    'mean'
    """

    files: Sequence[str | Path] = ()
    scales: str = ""
    answers: str = ""
    score: str = "mean"
    minimum_answered: int | None = None
    headings: str = ""


@dataclass(frozen=True)
class Started:
    """Entries of a plan for questionnaires, what to copy into the study, and what is asked."""

    text: str
    files: dict[str, Path]
    questions: tuple[str, ...]


def started_questionnaires(told: AskedQuestionnaires, ask: Ask | None) -> Started:
    """Write ``[[questionnaires]]`` from what files show and what was said.

    Raises
    ------
    InputError
        If answers or scales are not said as they must be, or a scale names no item.
    FileError
        If two files have one name, or a file cannot be read.
    """
    files = [Path(name) for name in told.files]
    _refuse(told, files)
    read = [_read(file, told.headings) for file in files]
    scales = _scales(told.scales, [item for entry in read for item in entry.items])
    ranges = [part for part in told.answers.split(",") if part.strip()]
    written: list[str] = []
    questions: list[str] = []
    used: set[str] = set()
    for place, entry in enumerate(read):
        mine = _own_scales(entry, scales)
        used |= set(mine)
        seen = _seen(entry, [_bare(item) for own in mine.values() for item in own])
        said = ranges[min(place, len(ranges) - 1)] if ranges else ""
        written.append(_entry(entry, mine, _range(said, seen, entry.file, ask), told))
        questions += _on_times(entry)
        if not scales:
            questions.append(
                f"Every item of {entry.file.name} was taken as a scale of its own "
                f"({', '.join(entry.items[:6])}): is that right? (--scales)"
            )
    left = sorted(set(scales) - used)
    if left:
        raise InputError(
            "no item of a scale is a column of numbers in the files of questionnaires",
            left,
            "correct the items, or the cells of their columns that hold words",
        )
    return Started("\n".join(written), {file.name: file for file in files}, tuple(questions))


def _refuse(told: AskedQuestionnaires, files: Sequence[Path]) -> None:
    names = [file.name for file in files]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise FileError("two files of questionnaires have one name", twice, "rename one of them")
    missing = [str(file) for file in files if not file.is_file()]
    if missing:
        raise FileError("there is no such file of a questionnaire", missing, "check the spelling")
    if told.score not in ("mean", "sum"):
        raise InputError("answers are summed or averaged", [told.score], "say mean or sum")
    if told.headings and any(told.headings.count(part) != 1 for part in ("{time}", "{item}")):
        raise InputError(
            "headings hold {time} and {item}, once each",
            [told.headings],
            "for example t{time}_{item}",
        )
    if not files and (
        told.headings or told.scales or told.answers or told.minimum_answered is not None
    ):
        raise InputError(
            "scales and answers belong to a questionnaire, and no file of one is named",
            remedy="name it with --questionnaire",
        )


def _scales(said: str, items: Sequence[str]) -> dict[str, list[str]]:
    """Items of each scale as they were said; a reversed one keeps its minus."""
    known = sorted({item for item in items if set(item) & set("+-")}, key=len, reverse=True)
    signed = re.compile(rf"([+-]?)\s*({'|'.join([*map(re.escape, known), '[^+-]+'])})")
    found: dict[str, list[str]] = {}
    for part in said.split(","):
        name, sign, listed = (piece.strip() for piece in part.partition("="))
        if not part.strip():
            continue
        own = [("-" if s == "-" else "") + i.strip() for s, i in signed.findall(listed)]
        if not sign or not name or not own or name in found or not all(map(_bare, own)):
            raise InputError(
                "a scale has a name and items, reversed ones behind a minus",
                [part.strip()],
                "for example interest=fun+again-dull,effort=tried+worked",
            )
        found[name] = own
    return found


def _bare(item: str) -> str:
    return item.removeprefix("-")


@dataclass(frozen=True)
class _Read:
    """A file of answers: which column holds the person, time, item and answer; its items."""

    file: Path
    table: pd.DataFrame
    columns: dict[str, str]
    items: list[str]
    headings: str


def _read(file: Path, said: str) -> _Read:
    table = read_answers(file, participant="")
    people = [str(name) for name in table if standard_name(str(name)) == "participant"]
    if not people:
        raise InputError(
            f"{file.name} has no column that looks like identifiers of participants",
            list(map(str, table)),
            "give one of them the heading 'participant'",
        )
    table, headings = _apart(table, said, file)
    found = {"participant": people[0]}
    for what, pattern in (("item", _ITEM), ("response", _RESPONSE), ("time", _TIME)):
        names = [str(name) for name in table if pattern.fullmatch(str(name).strip())]
        found |= {what: names[0]} if names else {}
    if headings or not {"item", "response"} <= set(found):
        found.pop("item", None)
        found.pop("response", None)
    again = table.duplicated([found["participant"], *([found["time"]] if "time" in found else []),
                              *([found["item"]] if "item" in found else [])])  # fmt: skip
    if again.any():
        raise InputError(
            f"{file.name} has two rows for one person where nothing tells them apart",
            sorted(set(table.loc[again, found["participant"]].astype("str")))[:6],
            "give columns 'time', and 'item' with 'response', these headings",
        )
    return _Read(file, table, found, _items(table, found, file), headings)


def _apart(table: pd.DataFrame, said: str, file: Path) -> tuple[pd.DataFrame, str]:
    """The table with a row for each time where headings hold it, and how they do."""
    candidates = [
        str(name)
        for name in table
        if pd.api.types.is_numeric_dtype(table[name])
        and not standard_name(str(name))
        and str(name).strip().lower() not in _NOT_ITEMS
    ]
    within = [name for name in candidates if holds_time(name)]
    headings = said or times_in(within)
    parts = [told for name in candidates if (told := fitted(name, headings))] if headings else []
    timed = any(_TIME.fullmatch(str(name).strip()) for name in table)
    if ((said or within) and not parts) or (parts and timed):
        raise InputError(
            f"{file.name} tells the time of an answer in headings and in a column"
            if timed
            else f"headings of {file.name} do not all hold the time of an answer in one way",
            within[:6] or candidates[:6],
            "keep one of the two"
            if timed
            else "say how they hold it with --headings, for example t{time}_{item}",
        )
    if not parts:
        return table, ""
    times = list(dict.fromkeys(told["time"] for told in parts))
    if all(map(str.isdigit, times)):
        times.sort(key=int)
    return taken_apart(table, headings, "time", times, file.name), headings


def _on_times(entry: _Read) -> tuple[str, ...]:
    times = _times(entry)
    if len(times) < 2 or pd.api.types.is_numeric_dtype(entry.table[entry.columns["time"]]):
        return ()
    order = ", ".join(map(str, times))
    return (f"Times of {entry.file.name} were read in the order {order}: is that right? (times of "
            "[[questionnaires]])",)  # fmt: skip


def _times(entry: _Read) -> list[Any]:
    if "time" not in entry.columns:
        return []
    known = entry.table[entry.columns["time"]].dropna()
    if pd.api.types.is_numeric_dtype(known):
        return [int(t) if t == round(t) else str(t) for t in sorted(known.unique())]
    return [str(time) for time in dict.fromkeys(known)]


def _items(table: pd.DataFrame, columns: dict[str, str], file: Path) -> list[str]:
    if "item" in columns:
        return list(dict.fromkeys(table[columns["item"]].dropna().astype("str")))
    known = set(columns.values())
    items = [
        str(name)
        for name in table
        if str(name) not in known
        and pd.api.types.is_numeric_dtype(table[name])
        and standard_name(str(name)) not in ("group", "block", "trial")
        and str(name).strip().lower() not in _NOT_ITEMS
    ]
    if not items:
        raise InputError(
            f"{file.name} has no column of answers",
            list(map(str, table)),
            "give each item a column of numbers, or columns 'item' and 'response'",
        )
    return items


def _own_scales(entry: _Read, scales: dict[str, list[str]]) -> dict[str, list[str]]:
    """Scales that a file has items of; every item is one where none were said."""
    if not scales:
        return {item: [item] for item in entry.items}
    items = set(entry.items)
    mine = {name: own for name, own in scales.items() if set(map(_bare, own)) & items}
    strange = [_bare(item) for own in mine.values() for item in own if _bare(item) not in items]
    if strange:
        raise InputError(
            f"a scale names items that {entry.file.name} does not have",
            strange,
            f"it has {', '.join(entry.items[:20])}",
        )
    if not mine:
        raise InputError(
            f"no scale has an item of {entry.file.name}", list(scales), "name its scales"
        )
    return mine


def _seen(entry: _Read, items: list[str]) -> pd.Series:
    if "item" not in entry.columns:
        return entry.table[items].stack().dropna()
    mine = entry.table[entry.columns["item"]].astype("str").isin(items)
    return entry.table.loc[mine, entry.columns["response"]].dropna()


def _range(said: str, seen: pd.Series, file: Path, ask: Ask | None) -> tuple[float, float]:
    """Lowest and highest answer as said; what was seen is told and never taken."""
    numbers = pd.to_numeric(seen, errors="coerce")
    if numbers.isna().any() or numbers.empty:
        raise InputError(
            f"answers of {file.name} are no numbers",
            sorted(set(seen[numbers.isna()].astype("str")))[:6],
            "code them as numbers",
        )
    there = f"{numbers.min():g} to {numbers.max():g} were given"
    if not said and ask is not None:
        said = ask(f"Lowest and highest answer of {file.name}, as in 1-7 ({there})", "")
    found = _RANGE.fullmatch(said)
    if found is None or not float(found[1]) < float(found[2]):
        raise InputError(
            f"the lowest and the highest answer that {file.name} allows are not said",
            [said] if said else [],
            f"say them with --answers 1-7; {there}",
        )
    low, high = float(found[1]), float(found[2])
    if numbers.min() < low or numbers.max() > high:
        raise InputError(
            f"{file.name} has answers outside {low:g} to {high:g}", [there], "correct --answers"
        )
    return low, high


def _entry(
    entry: _Read,
    scales: dict[str, list[str]],
    answers: tuple[float, float],
    told: AskedQuestionnaires,
) -> str:
    file, columns = entry.file, entry.columns
    named = ", ".join(
        f"{toml_key(name)} = {toml_value(tuple(map(_bare, own)))}" for name, own in scales.items()
    )
    turned = tuple(_bare(i) for own in scales.values() for i in own if i.startswith("-"))
    times = _times(entry)
    lines = [
        "[[questionnaires]]",
        f"name = {toml_value(file.stem)}",
        f"file = {toml_value(file.name)}",
        f"participant = {toml_value(columns['participant'])}",
        f"item = {toml_value(columns.get('item', ''))}",
        *([f"response = {toml_value(columns['response'])}"] if "item" in columns else []),
        f"answers = [{answers[0]:g}, {answers[1]:g}]",
        f"scales = {{{named}}}",
        *([f"reversed = {toml_value(turned)}"] if turned else []),
        *([f"score = {toml_value(told.score)}"] if told.score != "mean" else []),
        *(
            [f"minimum_answered = {told.minimum_answered}"]
            if told.minimum_answered is not None
            else []
        ),
    ]
    if len(times) > 1:
        lines += [f"headings = {toml_value(entry.headings)}"] if entry.headings else []
        lines += [f"time = {toml_value(columns['time'])}", f"times = {toml_value(tuple(times))}"]
    return "\n".join([*lines, ""])
