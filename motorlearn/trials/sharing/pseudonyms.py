"""Study identifiers instead of names: drawn at random, the key kept in a file elsewhere."""

import contextlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.exceptions import FileError, InputError
from motorlearn.files import new_file, real_place
from motorlearn.trials.sharing.data_package import table_bytes
from motorlearn.trials.study import Study

_SIGNS: Final = "ABCDEFGHJKLMNPQRTUVWXY"
_DIGITS: Final = "2346789"


def study_identifiers(count: int, *, seed: int | None = None) -> list[str]:
    """Draw distinct identifiers of two letters and three digits that cannot be misread.

    Parameters
    ----------
    count : int
        How many.
    seed : int, optional
        Seed; without one they are drawn from the system's randomness, as they should be.

    Examples
    --------
    >>> len(set(study_identifiers(500, seed=1)))
    500
    """
    size = len(_SIGNS) ** 2 * len(_DIGITS) ** 3
    if not 0 < count <= size // 2:
        raise InputError(
            "so many identifiers cannot be drawn", [count], f"ask for 1 to {size // 2}"
        )
    numbers = np.random.default_rng(seed).choice(size, size=count, replace=False)
    return [_spelled(int(number)) for number in numbers]


def replace_identifiers(study: Study, *, key_file: str | Path, seed: int | None = None) -> Study:
    """Give every participant a study identifier and write the key to a file outside the study.

    Parameters
    ----------
    study : Study
        The study; it is not altered.
    key_file : path-like
        New CSV file with the old and the new identifier of each person; only its owner may read
        it. Keep it apart from the data, as your ethics committee demands.
    seed : int, optional
        Seed of the draw; leave it out for real people.

    Raises
    ------
    FileError
        If the key file lies inside the study folder or exists already.
    """
    names = people_of(study)
    new = dict(zip(names, study_identifiers(len(names), seed=seed), strict=True))
    write_key(new, key_file, apart_from=[study.folder] if study.folder else [])
    return renamed(study, new)


def renamed(study: Study, names: Mapping[str, str]) -> Study:
    """Replace the identifiers of a study; problems and changes are emptied, they name people."""
    trials = replace(
        study.trials,
        table=_mapped(study.trials.table, names),
        problems=study.trials.problems.head(0),
        changes=study.trials.changes.head(0),
        set_aside=study.trials.set_aside.head(0),
    )
    return replace(
        study,
        trials=trials,
        participants=None if study.participants is None else _mapped(study.participants, names),
        ratings=None if study.ratings is None else _mapped(study.ratings, names),
        questionnaires={
            name: _mapped(table, names) if "participant" in table else table
            for name, table in study.questionnaires.items()
        },
        problems=study.problems.head(0),
    )


def write_key(
    names: Mapping[str, str], key_file: str | Path, *, apart_from: Sequence[Path] = ()
) -> Path:
    """Write the key, readable by its owner alone, outside the folders named."""
    with new_key(names, key_file, apart_from=apart_from) as target:
        pass
    return target


@contextlib.contextmanager
def new_key(
    names: Mapping[str, str], key_file: str | Path, *, apart_from: Sequence[Path] = ()
) -> Iterator[Path]:
    """Write the key under another name; it takes its own name when the block ends well."""
    target = real_place(key_file)
    for folder in apart_from:
        if target.is_relative_to(Path(folder).resolve()):
            raise FileError(
                "the key file would lie beside the data it protects",
                [str(key_file)],
                "keep it in another, protected place",
            )
    if target.exists():
        raise FileError("the key file exists already", [str(key_file)], "name a new file")
    key = pd.DataFrame({"participant": list(names), "study_identifier": list(names.values())})
    with new_file(target, mode=0o600) as temporary:
        temporary.write_bytes(table_bytes(key.sort_values("study_identifier")))
        yield target


def people_of(study: Study) -> list[str]:
    """Identifiers in all tables of a study, sorted."""
    tables = [study.trials.table, study.participants, study.ratings, *study.questionnaires.values()]
    known = [t["participant"] for t in tables if t is not None and "participant" in t]
    return sorted(str(name) for name in pd.concat(known).dropna().unique())


def _mapped(table: pd.DataFrame, names: Mapping[str, str]) -> pd.DataFrame:
    return table.assign(participant=table["participant"].map(names).astype("str"))


def _spelled(number: int) -> str:
    letters, digits = "", ""
    for _ in range(3):
        number, place = divmod(number, len(_DIGITS))
        digits += _DIGITS[place]
    for _ in range(2):
        number, place = divmod(number, len(_SIGNS))
        letters += _SIGNS[place]
    return letters + digits
