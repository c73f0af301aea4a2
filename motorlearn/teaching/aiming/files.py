"""The file of one seat: written whole after every push, taken up again."""

from pathlib import Path

from motorlearn.exceptions import FileError
from motorlearn.files import write_bytes
from motorlearn.teaching.aiming.floor import Rest
from motorlearn.teaching.aiming.programme import make_programme
from motorlearn.teaching.aiming.pushes import ClassFrame, read_pushes
from motorlearn.teaching.aiming.sitting import Landing, Sitting
from motorlearn.trials.sharing.data_package import table_bytes


def save_sitting(sitting: Sitting, folder: str | Path) -> Path:
    """Write what a seat has done so far as CSV in the standard columns, whole or not at all.

    Raises
    ------
    FileError
        If the folder does not exist or cannot be written.
    """
    path = sitting_file(folder, sitting.programme.participant)
    if sitting.consent:
        return write_bytes(path, table_bytes(sitting.records()))
    path.unlink(missing_ok=True)
    return path


def sitting_file(folder: str | Path, participant: str) -> Path:
    """Give the path of a seat's file; its name holds the seat and nothing about the person."""
    return Path(folder) / f"class-experiment-{participant}.csv"


def resume_sitting(folder: str | Path, seat: int, *, class_seed: int, now: float) -> Sitting:
    """Take up a sitting where its file ends; the pause since then counts by the file's date.

    Parameters
    ----------
    folder : path-like
        Folder of the seat's file.
    seat, class_seed : int
        Seat and class.
    now : float
        Time in seconds since 1970.

    Raises
    ------
    FileError
        If there is no such file, or it is not what this seat was to do.
    """
    programme = make_programme(seat, class_seed=class_seed)
    file = sitting_file(folder, programme.participant)
    if not file.is_file():
        raise FileError("this seat has no file to take up", [str(file)], "start without resume")
    table, faults = read_pushes(file, ClassFrame(class_seed))
    if table is None:
        rules = ", ".join(each[4] for each in faults)
        cause = f"the file of this seat cannot be taken up: {rules}"
        raise FileError(cause, [str(file)], "ask the lecturer")
    landings = tuple(
        Landing(Rest(row.x, row.y, ((0.0, 0.0),)), row.speed, row.time, row.device, row.elapsed)
        for row in table.itertuples(index=False)
    )
    started = file.stat().st_mtime - landings[-1].elapsed
    return Sitting(programme, consent=True, started=min(started, now), landings=landings)
