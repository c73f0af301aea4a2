"""A data set that was tampered with, and the list of what was done to it, for a class to find."""

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.design import read_design
from motorlearn.exceptions import DesignError, InputError
from motorlearn.files import new_folder, real_place, write_bytes, write_text
from motorlearn.plan import simulate_study
from motorlearn.results import Result
from motorlearn.tables import Column, Table
from motorlearn.trials import Study, read_study
from motorlearn.trials.sharing.data_package import table_bytes

_MARK: Final = ".tampered-study"
_NEEDED: Final = ("participant", "group", "phase", "x", "y", "radial_error", "hit", "feedback")
_VALUES: Final = ["x", "y", "radial_error", "hit"]

Rows = np.ndarray
"""Whole numbers, shape (rows,): which rows of the table were touched."""
Tamper = Callable[[pd.DataFrame, Sequence[str]], tuple[pd.DataFrame, Rows]]


@dataclass(frozen=True)
class TamperedStudy(Result):
    """What was done to a data set.

    Parameters
    ----------
    key : DataFrame
        ``fault, participant, rows, how_to_find, found_by``: each fault, whose data it is in, how
        many rows it touched, how a reader finds it, and the rules of ``motorlearn check`` that
        name it (empty where only a reader can).
    """

    key: pd.DataFrame

    def tables(self) -> list[Table]:
        """The key."""
        names = ("fault", "participant", "how_to_find", "found_by")
        columns = (*(Column(name) for name in names), Column("rows", kind="count"))
        return [Table("tampered", "What was done, not for students", columns, self.key)]


def tampered_study(
    plan: str | Path, folder: str | Path, key_folder: str | Path, *, seed: int
) -> TamperedStudy:
    """Write a simulated study with faults in it, and the list of the faults somewhere else.

    The study comes from the generator of :func:`motorlearn.plan.simulate_study`; each fault is put
    into the data of another person. Which of them ``motorlearn check`` finds is tried, one fault at
    a time, and not assumed.

    Parameters
    ----------
    plan : path-like
        Folder with ``study.toml``, or that file; a plan with landing points and a retention test.
    folder, key_folder : path-like
        New folders, or folders this function made earlier; the key must not lie within `folder`.
    seed : int
        Seed of the study and of the people who are chosen.

    Returns
    -------
    TamperedStudy

    Raises
    ------
    InputError
        If the key would lie among the data.
    DesignError
        If the plan has no landing points, no retention test, or too few people.
    """
    if real_place(key_folder).is_relative_to(real_place(folder)):
        remedy = "name a key folder elsewhere"
        raise InputError("the key would lie among the data", [str(key_folder)], remedy)
    source = Path(plan) / "study.toml" if Path(plan).is_dir() else Path(plan)
    design = read_design(source)
    study = simulate_study(design, seed=seed, missing=False)
    clean = _with_landings(study.trials.table)
    chosen = _chosen(clean, seed)
    table, rows, before = clean, [], _rules(source, study, clean)
    for (name, (how, tamper)), pair in zip(FAULTS.items(), chosen, strict=True):
        alone = tamper(clean, pair)[0]
        found = _rules(source, study, alone) - before
        table, touched = tamper(table, pair)
        rows.append((name, pair[0], len(touched), how, ", ".join(sorted(found))))
    columns = ["fault", "participant", "rows", "how_to_find", "found_by"]
    made = TamperedStudy(pd.DataFrame(rows, columns=columns))
    with new_folder(folder, mark=_MARK) as work, new_folder(key_folder, mark=_MARK) as key:
        _write(work, source, study, table)
        write_bytes(key / "faults.csv", table_bytes(made.key))
    return made


def _with_landings(table: pd.DataFrame) -> pd.DataFrame:
    absent = [name for name in _NEEDED if name not in table]
    if absent or not (table["phase"] == "retention").any():
        cause = "the plan gives no landing points at a retention test to tamper with"
        raise DesignError(cause, absent or None, "add a target, and a retention test")
    return table.reset_index(drop=True)


def _chosen(table: pd.DataFrame, seed: int) -> list[list[str]]:
    """Choose two people for each fault, nobody twice."""
    people = table["participant"].unique()
    if len(people) < 2 * len(FAULTS):
        raise DesignError(
            "too few people to hide the faults among", [len(people)], f"plan {2 * len(FAULTS)}"
        )
    order = np.random.default_rng([seed, 24]).permutation(people)
    return [[str(name) for name in pair] for pair in order[: 2 * len(FAULTS)].reshape(-1, 2)]


def _rules(source: Path, study: Study, table: pd.DataFrame) -> set[str]:
    """Give the rules by which checking complains of a study."""
    with tempfile.TemporaryDirectory() as place:
        _write(Path(place), source, study, table)
        problems = read_study(place).problems
    return set(problems.loc[problems["severity"] != "note", "rule"])


def _write(folder: Path, source: Path, study: Study, table: pd.DataFrame) -> None:
    files = study.design.files
    write_text(folder / "study.toml", source.read_text(encoding="utf-8-sig"))
    beside = ((files.participants, study.participants), (files.ratings, study.ratings))
    for name, written in ((files.trials, table), *beside):
        if name is not None and written is not None:
            write_bytes(folder / name, table_bytes(written))


def _of(table: pd.DataFrame, person: str, phase: str = "retention") -> Rows:
    return np.flatnonzero((table["participant"] == person) & (table["phase"] == phase))


def _set(table: pd.DataFrame, rows: Rows, **values: object) -> tuple[pd.DataFrame, Rows]:
    changed = table.copy()
    for name, value in values.items():
        changed.loc[changed.index[rows], name] = value
    return changed, rows


def _copied(table: pd.DataFrame, pair: Sequence[str]) -> tuple[pd.DataFrame, Rows]:
    here, there = (_of(table, person) for person in pair)
    size = min(len(here), len(there))
    values = {name: table[name].to_numpy()[there[:size]] for name in _VALUES}
    return _set(table, here[:size], **values)


def _millimetres(table: pd.DataFrame, pair: Sequence[str]) -> tuple[pd.DataFrame, Rows]:
    rows = _of(table, pair[0])
    names = ("x", "y", "radial_error")
    return _set(table, rows, **{name: table[name].to_numpy()[rows] * 10 for name in names})


def _moved(table: pd.DataFrame, pair: Sequence[str]) -> tuple[pd.DataFrame, Rows]:
    rows = _of(table, pair[0])
    own = table["group"].iloc[rows[0]]
    other = next(name for name in table["group"].unique() if name != own)
    return _set(table, rows, group=other)


def _twice(table: pd.DataFrame, pair: Sequence[str]) -> tuple[pd.DataFrame, Rows]:
    rows = _of(table, pair[0])[:3]
    whole = pd.concat([table, table.iloc[rows]], ignore_index=True)
    return whole, np.arange(len(table), len(whole))


def _shown(table: pd.DataFrame, pair: Sequence[str]) -> tuple[pd.DataFrame, Rows]:
    return _set(table, _of(table, pair[0]), feedback=1)


def _hits_added(table: pd.DataFrame, pair: Sequence[str]) -> tuple[pd.DataFrame, Rows]:
    rows = _of(table, pair[0])
    missed = rows[table["hit"].to_numpy()[rows] == 0][:5]
    return _set(table, missed, hit=1)


def _improved(table: pd.DataFrame, pair: Sequence[str]) -> tuple[pd.DataFrame, Rows]:
    rows = _of(table, pair[0])
    better = (table["radial_error"].to_numpy()[rows] * 0.7).round(1)
    return _set(table, rows, radial_error=better)


def _worst_away(table: pd.DataFrame, pair: Sequence[str]) -> tuple[pd.DataFrame, Rows]:
    rows = _of(table, pair[0])
    worst = rows[np.argsort(table["radial_error"].to_numpy()[rows])[-5:]]
    return table.drop(index=table.index[worst]).reset_index(drop=True), worst


FAULTS: Final[dict[str, tuple[str, Tamper]]] = {
    "retention copied from another person": ("look for landing points that occur twice", _copied),
    "centimetres became millimetres": ("compare each person's values with the rest", _millimetres),
    "moved to the other group for one test": ("one person, one group", _moved),
    "rows entered twice": ("one row for each trial", _twice),
    "feedback given in the retention test": ("a test without feedback has 0 there", _shown),
    "misses turned into hits": ("hits follow from the landing point and the target", _hits_added),
    "errors made smaller": ("the error follows from the landing point", _improved),
    "worst trials taken away": ("count the trials of each test; which numbers fail?", _worst_away),
}
"""Name of each fault, how it is found, and what is done; ends with what changes the rows' order."""
