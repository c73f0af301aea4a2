"""Files and codes of a class become one study folder; nothing that was handed in gets lost."""

from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final

import pandas as pd

from motorlearn.exceptions import FileError, InputError
from motorlearn.teaching.aiming.merging import (
    CELLS,
    ClassTrials,
    Entry,
    merge_files,
    write_class_study,
)
from motorlearn.teaching.aiming.programme import Programme
from motorlearn.teaching.aiming.pushes import LARGEST, ClassFrame, Fault, delay_faults, fault
from motorlearn.teaching.classroom.codes import CodedSitting, read_code
from motorlearn.teaching.classroom.page import RESULTS, read_classroom
from motorlearn.trials.sharing.data_package import table_bytes

STUDY: Final = "study"
_MANY: Final = 2000
_CODE_GAP_SLACK: Final = 0.1
"""A code keeps the minutes before the retention test to about a tenth."""


def collect_class(
    folder: str | Path,
    files: Iterable[str | Path] = (),
    *,
    codes: Sequence[str] = (),
    out: str | Path | None = None,
    both: bool = False,
) -> ClassTrials:
    """Merge what a class handed in, files and codes, into a study folder.

    The study reads as any other: ``motorlearn check``, ``ml.analyse_study``, ``motorlearn report``.
    What does not fit is set aside and named; it stays where it was, and a copy is put into
    ``set-aside`` of the study, beside ``problems.csv``.

    Parameters
    ----------
    folder : path-like
        Folder of the class, as :func:`write_classroom` made it.
    files : iterable of path-like
        Files of seats (``.csv``), lists of codes (``.txt``, one a line, ``#`` begins a remark), or
        folders of them; by default everything in ``results`` of the class's folder.
    codes : sequence of str
        Codes that were read aloud or typed.
    out : path-like, optional
        Folder for the study; by default ``study`` in the class's folder.
    both : bool
        Whether two people on one seat are both kept, the second as ``S007-2``.

    Returns
    -------
    ClassTrials
        Seats, and everything that was found.

    Raises
    ------
    FileError
        If the folder holds no class, a named file does not exist, or nothing was handed in.
    InputError
        If nothing of what was handed in could be kept.

    Examples
    --------
    >>> import tempfile
    >>> from motorlearn.teaching import rehearse_class, write_classroom
    >>> room = write_classroom(tempfile.mkdtemp() + "/monday", seats=4, class_seed=7).parent
    >>> _ = rehearse_class(room / "results", seats=4, class_seed=7)
    >>> collect_class(room).participants["group"].value_counts().sort_index().to_dict()
    {'blocked': 2, 'random': 2}
    """
    room = read_classroom(folder)
    frame = ClassFrame(room.class_seed, room.seats, room.retention_days)
    named, listed = _handed_in(Path(folder), list(files), codes)
    programmes = {seat: frame.programme(seat) for seat in range(1, room.seats + 1)}
    coded: dict[str, pd.DataFrame] = {}
    found: list[Entry] = []
    for name, code in listed.items():
        cells, faults = _from_code(code, programmes, frame)
        found += [(name, *each) for each in faults]
        if cells is not None:
            coded[name] = cells
    merged = merge_files(named, frame, both=both, coded=coded, found=found)
    write_class_study(
        merged,
        Path(folder) / STUDY if out is None else out,
        retention_days=room.retention_days,
        beside=_beside(merged, named, listed),
    )
    return merged


def _handed_in(
    folder: Path, files: Sequence[str | Path], codes: Sequence[str]
) -> tuple[dict[str, Path], dict[str, str]]:
    """Give files of pushes and codes, each by the name it is called in what is found."""
    given = [Path(file) for file in files] or ([] if codes else [folder / RESULTS])
    absent = [str(file) for file in given if not file.exists()]
    if absent:
        raise FileError("there is no such file", absent, "look at the name again")
    found = [
        inside
        for file in given
        for inside in (sorted(file.rglob("*")) if file.is_dir() else [file])
        if inside.is_file() and (inside.suffix.lower() in (".csv", ".txt") or inside == file)
    ]
    if len(found) > _MANY:
        raise FileError("these are too many files for one class", [len(found)], f"at most {_MANY}")
    pushes = _named([file for file in found if file.suffix.lower() != ".txt"])
    listed = {f"code {number}": code for number, code in enumerate(codes, 1)}
    for name, file in _named([file for file in found if file.suffix.lower() == ".txt"]).items():
        listed |= {f"{name} line {line}": code for line, code in _lines(file)}
    if not pushes and not listed:
        remedy = f"put the files of the seats into {folder / RESULTS}, or name them"
        raise FileError("nothing was handed in", [str(file) for file in given], remedy)
    return pushes, listed


def _named(files: Sequence[Path]) -> dict[str, Path]:
    """Call files by their names, and by their whole place where two have the same."""
    unique = list(dict.fromkeys(file.resolve() for file in files))
    names = Counter(file.name for file in unique)
    return {file.name if names[file.name] == 1 else str(file): file for file in unique}


def _lines(file: Path) -> list[tuple[int, str]]:
    """Read a list of codes: one a line, with a seat and a colon before it or not."""
    if file.stat().st_size > LARGEST:
        raise FileError("a list of codes is too large", [str(file)], "put one code on each line")
    text = file.read_text(encoding="utf-8-sig", errors="replace")
    lines = ((n, line.partition("#")[0].strip()) for n, line in enumerate(text.splitlines(), 1))
    return [(number, line.rpartition(":")[2].strip()) for number, line in lines if line]


def _from_code(
    code: str, programmes: dict[int, Programme], room: ClassFrame
) -> tuple[pd.DataFrame | None, list[Fault]]:
    """Give the cells of a code, or None, and what is wrong with it."""
    try:
        said = read_code(code, programmes, class_seed=room.class_seed)
    except InputError as problem:
        return None, [fault(problem.cause, "error", problem.remedy or "ask again", value=code[:60])]
    programme = programmes[said.seat]
    if not said.cells:
        return None, [fault("no pushes", "error", "ask whether the seat took part", value=code)]
    who = (programme.participant, programme.group)
    rows = [
        (*who, c.phase, c.session, c.block, c.radial_error, c.hits, c.attempts, said.device)
        for c in said.cells
    ]
    return pd.DataFrame(rows, columns=list(CELLS)), _about(said, programme, room)


def _about(said: CodedSitting, programme: Programme, room: ClassFrame) -> list[Fault]:
    found = []
    missing = len(programme.pushes) - said.made
    if missing:
        advice = "tests not made count as missing"
        found.append(fault("not finished", "note", advice, value=f"{missing} pushes"))
    if said.back:
        advice = "the clock of the device was put back; errors and hits stand"
        found.append(fault("times that jump", "doubt", advice))
    if any(cell.phase == "retention" for cell in said.cells):
        found += delay_faults(said.gap_minutes, room, slack=_CODE_GAP_SLACK)
    return found


def _beside(merged: ClassTrials, files: dict[str, Path], codes: dict[str, str]) -> dict[str, bytes]:
    """What lies beside the study: the problems, and copies of what was set aside."""
    if merged.problems.empty:
        return {}
    aside = list(dict.fromkeys(merged.problems.query("severity == 'error'")["file"]))
    kept = {"problems.csv": table_bytes(merged.problems)}
    for number, name in enumerate((name for name in aside if name in files), 1):
        if files[name].stat().st_size <= LARGEST:
            kept[f"set-aside/{number:02d} {files[name].name}"] = files[name].read_bytes()
    lines = [f"{codes[name]}  # {name}" for name in aside if name in codes]
    if lines:
        kept["set-aside/codes.txt"] = ("\n".join(lines) + "\n").encode()
    return kept
