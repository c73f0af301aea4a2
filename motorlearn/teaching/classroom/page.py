"""The class experiment as one HTML file, with what the lecturer needs beside it."""

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final

from motorlearn.exceptions import FileError, InputError
from motorlearn.files import ensured_folder, parsed_json, write_text
from motorlearn.teaching.aiming.floor import BAR, BOARD, GLIDE, HOP, SPEEDS, WALL, target
from motorlearn.teaching.aiming.programme import (
    GAP_MINUTES,
    SEATS,
    Programme,
    class_plan,
    make_programme,
    plan_text,
    target_radius,
)
from motorlearn.teaching.aiming.sitting import COLUMNS, DEVICES, TASK_HELP, TOLD, UNTOLD, WORDS
from motorlearn.teaching.classroom.codes import ALPHABET, class_mark
from motorlearn.teaching.pages import page_of
from motorlearn.vocabulary import PHASE_LABELS

PAGE: Final = "class-experiment.html"
RESULTS: Final = "results"
_CLASS: Final = "class.json"
_MADE_HERE: Final = "motorlearn class experiment"
_HERE: Final = Path(__file__).parent
_FACE: Final = _HERE.parent / "aiming"
_EARLY_DAYS: Final = 0.5
"""How much earlier than planned a delayed test opens by itself: lectures shift by some hours."""

CAUTIONS: Final = (
    "Only your seat number, your pushes and the seconds since your start are kept, by this browser "
    "on this device. Type no name anywhere.",
    "Nothing is sent anywhere. You hand in a file or a code yourself, or you do not.",
    "Taking part is free and not graded; you may stop at any time, and Withdraw deletes everything "
    "kept here.",
    "If you are under age, take part only as the rules of your school or country allow, with the "
    "consent they ask for.",
    "Stop if your hand or arm hurts.",
)
_SENDS: Final = (
    "Nothing is sent unless you press Send: then your file goes to the lecturer's computer in this "
    "room, without a name."
)
_CONSENT: Final = (
    "You are invited to take part in a class demonstration of motor learning. You will push a "
    "drawn ring towards a disc about a hundred times, which takes 12 to 15 minutes. Only the "
    "number of your seat, the pushes and the seconds since the start are kept, by this browser on "
    "this device; no name, no date of birth, no address, no picture. {sent} Taking part is free, "
    "it is not graded, and you may stop at any time without giving a reason; 'Withdraw' deletes "
    "what was kept here. It changes no mark, and who only watches loses nothing. Once handed in, "
    "your pushes are still deleted if you give your seat number before the results of the class "
    "are shown. If you are under age, the rules of your school or country for consent "
    "apply. Stop if your hand or arm hurts."
)
_HALL_WORDS: Final = {
    "pause": "Pause: put the device down and listen to the lecture. The retention test opens after "
    "the pause; nobody practises in it.",
    "end": "That was the last push. Thank you.",
    "elsewhere": "This seat went on in another tab or window. Close one of them. Nothing is lost.",
    "forgetful": "This browser keeps nothing: do not reload or close this page before you have "
    "saved your file or given your code.",
    "result": "The file holds every push; the code holds the means of each block and test.",
}
_LATER_PAUSE: Final = (
    "That is all for today. The retention test comes {days:g} days after practice: open this page "
    "again then, on this device and in this browser; it knows your seat. Save your file too, in "
    "case the browser forgets."
)


@dataclass(frozen=True)
class Classroom:
    """A class: how many seats, whose seed, and when its retention test comes.

    Parameters
    ----------
    class_seed : int
        Seed that the whole class shares.
    seats : int
        Number of seats, 1 to 200.
    retention_days : float or None
        Days from practice to the retention test; None for a pause of four minutes.
    """

    class_seed: int
    seats: int
    retention_days: float | None = None

    def __post_init__(self) -> None:
        if not 1 <= self.seats <= SEATS or int(self.seats) != self.seats:
            raise InputError("a class has whole seats", [self.seats], f"give 1 to {SEATS}")
        if not 0 <= self.class_seed < 2**53 or int(self.class_seed) != self.class_seed:
            raise InputError("a class seed is a whole number from 0", [self.class_seed])
        plan_text(self.retention_days)

    @property
    def gap_minutes(self) -> float:
        """Minutes until the retention test opens by itself."""
        if self.retention_days is None:
            return GAP_MINUTES
        return max(GAP_MINUTES, (self.retention_days - _EARLY_DAYS) * 1440)

    def programmes(self) -> dict[int, Programme]:
        """Give the programme of each seat."""
        plan = class_plan(self.retention_days)
        return {
            seat: make_programme(seat, class_seed=self.class_seed, plan=plan)
            for seat in range(1, self.seats + 1)
        }


def classroom_page(room: Classroom, *, sends: bool = False) -> str:
    """Write the page of a class: every programme, the floor, and no connection to anywhere.

    Parameters
    ----------
    room : Classroom
        The class.
    sends : bool
        Whether a student may send the result to the server that the page came from.

    Returns
    -------
    str
        HTML.
    """
    return page_of(
        "Class experiment: push a ring",
        _text(_HERE / "hall.html"),
        styles=[_text(_FACE / "face.css"), _text(_HERE / "classroom.css")],
        scripts=[
            _text(_FACE / "face.js"),
            _text(_HERE / "sitting.js"),
            _text(_HERE / "classroom.js"),
        ],
        data=_data(room, sends=sends),
        sends=sends,
    )


def write_classroom(
    folder: str | Path, *, seats: int, class_seed: int, retention_days: float | None = None
) -> Path:
    """Write the class experiment as one offline HTML file, with plan, slips and a results folder.

    ``class-experiment.html`` goes to the students, by any way files go; it needs no network and no
    installation. ``seats.html`` has slips with seat numbers to draw from a bag, ``study.toml`` the
    plan, ``class.json`` seed and seats for the merging, ``results`` is where files are collected.

    Parameters
    ----------
    folder : path-like
        Folder to make, or one of this class made earlier; what lies in ``results`` stays.
    seats : int
        Number of seats, 1 to 200.
    class_seed : int
        Seed that the whole class shares.
    retention_days : float, optional
        Days from practice to the retention test; by default a pause of four minutes.

    Returns
    -------
    Path
        The page.

    Raises
    ------
    InputError
        If seats, seed or days are outside their ranges.
    FileError
        If the folder belongs to another class, or cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> page = write_classroom(tempfile.mkdtemp() + "/monday", seats=4, class_seed=7)
    >>> sorted(file.name for file in page.parent.iterdir())
    ['class-experiment.html', 'class.json', 'results', 'seats.html', 'study.toml']
    """
    room = Classroom(class_seed, seats, retention_days)
    place = ensured_folder(folder)
    begun = (place / _CLASS).exists()
    if any(place.iterdir()) and not (begun and read_classroom(place) == room):
        whose = "belongs to a class with other seats, seed or days" if begun else "is in use"
        raise FileError(f"the folder {whose}", [str(folder)], "name a new folder")
    page = write_text(place / PAGE, classroom_page(room))
    write_text(place / "study.toml", plan_text(retention_days))
    write_text(place / "seats.html", seat_slips(room))
    kept = {"made_by": _MADE_HERE, **asdict(room)}
    write_text(place / _CLASS, json.dumps(kept, indent=1) + "\n")
    ensured_folder(place / RESULTS)
    return page


def read_classroom(folder: str | Path) -> Classroom:
    """Read which class a folder belongs to.

    Raises
    ------
    FileError
        If the folder holds no class, or ``class.json`` was damaged.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     page = write_classroom(f"{folder}/monday", seats=4, class_seed=7)
    ...     read_classroom(page.parent)
    ...
    Classroom(class_seed=7, seats=4, retention_days=None)
    """
    file = Path(folder) / _CLASS
    if not file.is_file():
        raise FileError(
            "the folder holds no class experiment",
            [str(folder)],
            "make one with  motorlearn classroom FOLDER --seats 30 --seed 1",
        )
    kept = parsed_json(file.read_bytes(), str(file))
    kept = kept if isinstance(kept, dict) else {}
    seed, seats, days = (kept.get(name) for name in ("class_seed", "seats", "retention_days"))
    whole = all(isinstance(value, int) and value is not True for value in (seed, seats))
    timed = days is None or (isinstance(days, int | float) and days is not True)
    if kept.get("made_by") != _MADE_HERE or not (whole and timed):
        raise FileError("class.json was changed", [str(file)], "make the class again, as it was")
    return Classroom(int(seed or 0), int(seats or 0), days)


def seat_slips(room: Classroom) -> str:
    """Write a sheet of slips to cut and to draw from a bag: a seat each, and nothing else."""
    slips = "".join(
        f"<li><b>Seat {seat}</b><small>Open the page and type in your seat, or put "
        f"#seat={seat} behind its address.</small></li>"
        for seat in range(1, room.seats + 1)
    )
    body = (
        '<main><h1>Seats of the class experiment</h1><p class="note">Cut, fold, and let everybody '
        "draw one. Nobody writes down who has which. Whoever takes part again in some days keeps "
        f'the slip.</p><ul class="slips">{slips}</ul></main>'
    )
    return page_of("Seats of the class experiment", body, styles=[_text(_HERE / "slips.css")])


def _data(room: Classroom, *, sends: bool) -> dict[str, Any]:
    """Everything the page must know, in the words and numbers of the notebook's sitting."""
    programmes = room.programmes()
    plan = class_plan(room.retention_days)
    tasks, groups = [task.name for task in plan.tasks], list(plan.group_names)
    first = programmes[1].pushes
    parts = list(dict.fromkeys((p.phase, p.session, p.feedback, p.farther) for p in first))
    return {
        "class_seed": room.class_seed,
        "mark": class_mark(room.class_seed),
        "alphabet": ALPHABET,
        "devices": DEVICES,
        "columns": COLUMNS,
        "groups": groups,
        "tasks": tasks,
        "parts": [
            {"phase": p, "label": PHASE_LABELS[p], "session": s, "feedback": f, "farther": far}
            for p, s, f, far in parts
        ],
        "steps": [
            [parts.index((p.phase, p.session, p.feedback, p.farther)), p.block, p.trial]
            for p in first
        ],
        "programmes": [
            [groups.index(each.group), "".join(str(tasks.index(p.task)) for p in each.pushes)]
            for each in programmes.values()
        ],
        "targets": {task: target(task) for task in tasks},
        "radius": target_radius(),
        "floor": {"board": BOARD, "wall": WALL, "bar": BAR, "glide": GLIDE, "hop": HOP}
        | {"speeds": SPEEDS},
        "gap": room.gap_minutes,
        "shortest": GAP_MINUTES,
        "help": TASK_HELP,
        "told": TOLD,
        "untold": UNTOLD,
        "words": _words(room, sends=sends),
        "cautions": [CAUTIONS[0], _SENDS if sends else CAUTIONS[1], *CAUTIONS[2:]],
        "sends": sends,
    }


def _words(room: Classroom, *, sends: bool) -> dict[str, str]:
    sent = _SENDS if sends else "Nothing is sent anywhere."
    words = {**WORDS, **_HALL_WORDS, "consent": _CONSENT.format(sent=sent)}
    if room.retention_days is not None:
        words["pause"] = _LATER_PAUSE.format(days=room.retention_days)
    return words


def _text(file: Path) -> str:
    return file.read_text(encoding="utf-8")
