"""Propose an import recipe for a foreign file: a reading to confirm, with the reason for each line.

Nothing is read by a proposal. It says what each column might be; a person confirms or corrects it.
"""

import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import pandas as pd

from motorlearn.design import Design, ImportRecipe, WideColumn
from motorlearn.design.recipe import Notation
from motorlearn.exceptions import ColumnError
from motorlearn.tables import Column, Table
from motorlearn.trials.containers.grid import Grid
from motorlearn.trials.containers.opening import open_grid
from motorlearn.trials.importing.known_headings import is_good, questionnaire_of, standard_name
from motorlearn.trials.importing.many_files import heading_of_part, part_of_heading
from motorlearn.trials.reading.headings import Headings, find_headings
from motorlearn.trials.reading.values import MISSING_WORDS
from motorlearn.vocabulary import COLUMNS

_PHASES: Final = (
    ("pretest", r"\bpre|baseline|before|\bt0\b"),
    ("transfer", r"transf"),
    (
        "retention",
        r"\bret|delayed|follow|\+\s*\d+\s*(?:w|d)?|\d+\s*(?:weeks?|days?) (?:later|after)",
    ),
    ("posttest", r"\bpost|immediate|after|\bend\b"),
    ("acquisition", r"practice|acquisition|training|session|block"),
    ("progress", r"week|\bwk|\bw\d|test|mid"),
)
_WEEK: Final = re.compile(r"(?:week|wk|w|session|day|block|test)\s*\.?\s*(\d+)", re.IGNORECASE)
_ATTEMPTS: Final = re.compile(r"\b(?:of|n|attempts|throws|shots|out of)\b\s*$", re.IGNORECASE)
_LONGEST: Final = 80  # letters of a name in a plan
_NUMBERISH: Final = re.compile(
    r"\s*[+-]?\d+(?:[.,]\d+)?(?:\s+|\s*%\s*|\s*(?:/|of|out of)\s*\d+\s*)?", re.I
)
_ENOUGH: Final = 3
_FRACTION: Final = re.compile(r"\d+\s*(?:/|of|out of)\s*(\d+)", re.IGNORECASE)


@dataclass(frozen=True)
class Proposal:
    """A recipe to confirm, why each line is there, and what a person must decide.

    Parameters
    ----------
    recipe : ImportRecipe
        What is proposed.
    reasons : DataFrame
        ``heading, reading, why``, one row per column of the file.
    questions : tuple of str
        What cannot be known from the file.
    """

    recipe: ImportRecipe
    reasons: pd.DataFrame
    questions: tuple[str, ...]

    def table(self) -> Table:
        """Show the proposal as a table."""
        columns = (
            Column("heading", "column of the file"),
            Column("reading", "read as"),
            Column("why", "because"),
        )
        title = f"Proposed reading of {self.recipe.file}"
        return Table("import-recipe", title, columns, self.reasons, self.questions)


def propose_recipe(
    path: str | Path, *, design: Design | None = None, sheet: str | int | None = None
) -> Proposal:
    """Propose how to read a file, long or wide.

    Parameters
    ----------
    path : path-like
        The file.
    design : Design, optional
        The plan, which knows groups, tests and their numbers of attempts.
    sheet : str or int, optional
        Sheet of a workbook.

    Raises
    ------
    ColumnError
        If no column could hold the participants.
    """
    source = {
        "file": Path(path).name,
        "sha256": hashlib.sha256(Path(path).read_bytes()).hexdigest(),
    }
    return proposal_for(open_grid(path, sheet=sheet), source, design)


def proposal_for(
    grid: Grid,
    source: Mapping[str, object],
    design: Design | None = None,
) -> Proposal:
    """Propose how to read cells that are open already; ``source`` says where they come from.

    Raises
    ------
    ColumnError
        If no column could hold the participants.
    """
    headings = find_headings(grid, line=heading_line(grid))
    named = _named(grid, headings)
    if "participant" not in named.values():
        raise ColumnError(
            f"{grid.file} has no column that looks like identifiers of participants",
            headings.originals,
            "give one of them the heading 'participant'",
        )
    rest = [place for place, name in enumerate(headings.originals) if name not in named]
    wide = [] if _is_long(named) else _wide(grid, headings, rest, design)
    content: dict[str, object] = {
        **source,
        "sheets": ({"name": grid.sheet},) if grid.sheet else (),
        "heading_row": int(grid.rows[headings.line]) or None,  # a Parquet file has no such row
        "separator": _evidence(grid, "separator"),
        "decimal": "" if grid.lettered else grid.decimal,
        "columns": {
            old: new for old, new in named.items() if old not in (new, heading_of_part(new))
        },
        "levels": _levels(grid, headings, named, design) | _flags(named),
        "wide": tuple(wide),
        "missing": _words(grid, headings, rest) if wide else {},
    }
    recipe = ImportRecipe.model_validate(content)
    reasons = _reasons(grid, headings, named, recipe)
    return Proposal(recipe, reasons, _questions(grid, recipe, design))


def heading_line(grid: Grid) -> int | None:
    """Prefer the row with the most headings a study would have; None leaves it to the sheet."""
    best: int | None = None
    score = 1.0
    for line in range(min(15, grid.size)):
        cells = [text.strip() for text in grid.line(line)]
        if any(_NUMBERISH.fullmatch(text) for text in cells if text):
            continue
        known = sum(bool(standard_name(text)) for text in cells if text)
        filled = sum(bool(text) for text in cells)
        if known and known + filled / 100 > score:
            best, score = line, known + filled / 100
    return best


def _named(grid: Grid, headings: Headings) -> dict[str, str]:
    named: dict[str, str] = {}
    for place, (original, present) in enumerate(
        zip(headings.originals, headings.names, strict=True)
    ):
        name = present if present in COLUMNS else standard_name(original)
        if is_good(original) and set(_filled(grid, headings, place)) <= {"0", "1"}:
            name = "void"
        if name and name not in named.values() and name not in headings.names[place + 1 :]:
            named[original] = name
    for original in headings.originals:
        part = part_of_heading(original)
        if part and part not in named.values():
            named[original] = part
    if "participant" not in named.values():
        for place, original in enumerate(headings.originals):
            if original not in named and _identifying(grid, headings, place):
                return {original: "participant", **named}
    return named


def _identifying(grid: Grid, headings: Headings, place: int) -> bool:
    texts = _filled(grid, headings, place)
    numeric = sum(bool(_NUMBERISH.fullmatch(text)) for text in texts)
    return len(texts) > 1 and len(set(texts)) > 0.8 * len(texts) and numeric < 0.2 * len(texts)


def _is_long(named: dict[str, str]) -> bool:
    names = set(named.values())
    return bool(names & {"phase", "trial"}) or "hit" in names


def _wide(
    grid: Grid, headings: Headings, rest: Sequence[int], design: Design | None
) -> list[WideColumn]:
    columns, pending = [], {}
    for place in rest:
        heading = headings.originals[place]
        if _ATTEMPTS.search(heading):
            pending[_stem(heading)] = heading
    for place in rest:
        heading = headings.originals[place]
        texts = [text for text in _filled(grid, headings, place) if not _missing(text)]
        if heading in pending.values() or not texts or len(heading) > _LONGEST:
            continue
        if sum(bool(_NUMBERISH.fullmatch(text)) for text in texts) < 0.5 * len(texts):
            continue
        phase, session = _phase(heading, design)
        if not phase:
            continue
        beside = pending.get(_stem(heading), "")
        notation = _notation(texts)
        attempts = None if beside else _planned(phase, session, texts, design)
        columns.append(
            WideColumn(
                heading=heading,
                phase=phase,
                session=session,
                notation=notation,
                score="score" if notation == "number" else "hits",
                attempts=None if notation == "number" else attempts,
                attempts_in=beside,
            )
        )
    return columns


def _stem(heading: str) -> str:
    return " ".join(
        re.sub(r"\b(of|n|attempts|throws|shots|hits|score)\b", "", heading.lower()).split()
    )


def _phase(heading: str, design: Design | None) -> tuple[str, int | None]:
    text = heading.lower()
    found = _WEEK.search(text)
    number = int(found[1]) if found else None
    if number is not None and design is not None:
        planned = [test for test in design.tests if number in (test.week, test.session)]
        if len(planned) == 1:
            return planned[0].phase, planned[0].session or number
    for phase, pattern in _PHASES:
        if re.search(pattern, text):
            return phase, number or None
    return "", None


def _notation(texts: Sequence[str]) -> Notation:
    fractions = sum(bool(_FRACTION.fullmatch(text)) for text in texts)
    percents = sum("%" in text for text in texts)
    numbers = [float(t.replace(",", ".")) for t in texts if re.fullmatch(r"\d+(?:[.,]\d+)?", t)]
    shares = sum(not number.is_integer() for number in numbers)
    if fractions > 0.5 * len(texts):
        return "fraction"
    if percents > 0.5 * len(texts):
        return "percent"
    if shares < 0.5 * len(numbers) or len(numbers) < _ENOUGH:
        return "count"
    return "share" if all(number <= 1 for number in numbers) else "number"


def _planned(
    phase: str, session: int | None, texts: Sequence[str], design: Design | None
) -> int | None:
    of = {int(found[1]) for text in texts if (found := _FRACTION.fullmatch(text))}
    if len(of) == 1:
        return of.pop()
    tests = [test for test in design.tests if test.phase == phase] if design else []
    same = [test for test in tests if session in (test.week, test.session)] or tests
    counts = {test.trials for test in same}
    return counts.pop() if len(counts) == 1 else None


def _levels(
    grid: Grid, headings: Headings, named: dict[str, str], design: Design | None
) -> dict[str, dict[str, str]]:
    original = next((old for old, new in named.items() if new == "group"), "")
    if not original or design is None:
        return {}
    codes = set(_filled(grid, headings, headings.originals.index(original)))
    found: dict[str, str] = {}
    for code in sorted(codes - set(design.group_names)):
        like = [name for name in design.group_names if name.lower().startswith(code.lower())]
        if len(like) == 1:
            found[code] = like[0]
    return {"group": found} if found else {}


def _flags(named: dict[str, str]) -> dict[str, dict[str, str]]:
    """A column that says which trials are good becomes the reason why others are not."""
    original = next((old for old, new in named.items() if new == "void"), "")
    if not is_good(original):
        return {}
    return {"void": {"0": f"{original.strip('? ')} is 0", "1": ""}}


def _words(grid: Grid, headings: Headings, rest: Sequence[int]) -> dict[str, str]:
    found: dict[str, str] = {}
    for place in rest:
        for text in _filled(grid, headings, place):
            if _missing(text):
                absent = text.lower() in ("abs", "absent")
                found[text.lower()] = "absent" if absent else f"recorded as {text!r}"
    return found


def _missing(text: str) -> bool:
    return text.lower() in MISSING_WORDS


def _filled(grid: Grid, headings: Headings, place: int) -> list[str]:
    texts = grid.columns[place].slice(headings.line + 1, 2000).to_pylist()
    return [text.strip() for text in texts if text.strip()]


def _evidence(grid: Grid, what: str) -> str:
    said = grid.evidence.get(what, "")
    signs = {"comma": ",", "semicolon": ";", "tab": "\t", "vertical bar": "|"}
    return signs.get(said.partition(":")[0], "")


def _reasons(
    grid: Grid, headings: Headings, named: dict[str, str], recipe: ImportRecipe
) -> pd.DataFrame:
    wide = {entry.heading: entry for entry in recipe.wide}
    beside = {entry.attempts_in for entry in recipe.wide if entry.attempts_in}
    rows = []
    for place, heading in enumerate(headings.originals):
        sample = ", ".join(dict.fromkeys(_filled(grid, headings, place)[:3]))
        part = part_of_heading(heading)
        if part and heading not in named:
            rows.append((heading, f"compared with {part}", f"names such as {sample}"))
        elif heading in named:
            rows.append((heading, named[heading], f"its heading; cells such as {sample}"))
        elif heading in wide:
            rows.append((heading, _said(wide[heading]), f"cells such as {sample}"))
        elif heading in beside:
            rows.append((heading, "attempts", "stands beside a column of hits"))
        elif told := questionnaire_of(heading):
            rows.append((heading, "kept as it is", f"looks like {told}"))
        else:
            rows.append((heading, "kept as it is", "nothing in the heading says what it is"))
    return pd.DataFrame(rows, columns=["heading", "reading", "why"])


def _said(entry: WideColumn) -> str:
    when = entry.phase + (f", session {entry.session}" if entry.session else "")
    if entry.score != "hits":
        return f"{entry.score} at {when}"
    of = entry.attempts_in or entry.attempts or "? attempts"
    return f"hits ({entry.notation}) of {of} at {when}"


def _questions(grid: Grid, recipe: ImportRecipe, design: Design | None) -> tuple[str, ...]:
    asked = [f"Detected: {what}: {why}." for what, why in grid.evidence.items()]
    open_ended = [
        entry.heading
        for entry in recipe.wide
        if entry.score == "hits" and not (entry.attempts or entry.attempts_in)
    ]
    if open_ended:
        asked.append(f"How many attempts stand behind {', '.join(open_ended)}?")
    inside = [entry.heading for entry in recipe.wide if entry.phase == "progress"]
    if inside:
        asked.append(
            f"{', '.join(inside)}: tests inside the programme are 'progress'; only a test after a "
            "gap without practice is 'retention'. Is that right?"
        )
    if any(entry.notation == "share" for entry in recipe.wide):
        asked.append("Are numbers up to 1 shares of the attempts?")
    if design is not None and not design.study.ethics_approval:
        asked.append(
            "The plan names no ethics approval (study.ethics_approval): name it before data of "
            "people are taken in."
        )
    return tuple(asked)
