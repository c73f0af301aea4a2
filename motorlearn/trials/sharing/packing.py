"""Make a package to give away: de-identified, described, with sums, and honest about what is left
out."""

import contextlib
import hashlib
import json
import platform
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from itertools import chain
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
import pyarrow as pa

from motorlearn.design import AlternativeExclusion, Design, Exclusion, Replacement
from motorlearn.digits import count
from motorlearn.exceptions import FileError, InputError
from motorlearn.files import new_folder, real_place
from motorlearn.trials.folder import read_study
from motorlearn.trials.reading.dates import read_dates
from motorlearn.trials.ruled import as_recorded
from motorlearn.trials.sharing.behaviour_standard import (
    DESCRIPTION,
    dataset_description,
    place_of,
)
from motorlearn.trials.sharing.data_package import data_package, table_bytes, table_schema
from motorlearn.trials.sharing.plan_text import shared_plan, without_identifiers
from motorlearn.trials.sharing.privacy import SET_ASIDE, look_like_names, personal_columns
from motorlearn.trials.sharing.pseudonyms import new_key, people_of, renamed, study_identifiers
from motorlearn.trials.sharing.questionnaires import shared_answers
from motorlearn.trials.sharing.small_cells import (
    CHARACTERISTICS,
    SMALLEST_CELL,
    small_cells,
    told_of_few,
)
from motorlearn.trials.sharing.texts import citation_text, licence_text, readme_text
from motorlearn.trials.study import Study
from motorlearn.vocabulary import COLUMNS

_MARK: Final = "datapackage.json"
_ORDINARY: Final = (
    *(*CHARACTERISTICS, "day", "date", "task_order", "test_order", "status"),
    *("clip", "position"),
)
_FREE_TEXT: Final = ("note", "notes", "comment", "comments", "remark", "remarks", "observation")
_PACKAGES: Final = ("motorlearn", "numpy", "scipy", "pandas", "pyarrow", "statsmodels")


@dataclass(frozen=True)
class Shared:
    """What was packed.

    Parameters
    ----------
    folder : Path
        The package.
    left_out : tuple of str
        What is not in it, and why, one sentence each.
    warnings : tuple of str
        What a person should look at before giving it away.
    """

    folder: Path
    left_out: tuple[str, ...]
    warnings: tuple[str, ...]


def share_study(
    folder: str | Path,
    out: str | Path,
    *,
    include: Sequence[str] = (),
    key_file: str | Path | None = None,
    seed: int | None = None,
) -> Shared:
    """Write a de-identified package of a study: Data Package, codebook, README, licence, sums.

    Only the tables are packed, and of these the standard columns, those the plan names and a few
    ordinary ones (age, sex, hand); of questionnaires the person, the time and the answers to items
    of scales. Values that rules of the plan replace are packed as they were recorded. Any other
    column, free text, and a characteristic with a value that fewer than five people share stay out
    unless named in ``include``; dates become days since each person's first date; originals, videos
    and every other file of the folder stay out. The folder follows the rules of Psych-DS: tables
    lie in ``data/``.

    Parameters
    ----------
    folder : path-like
        The study.
    out : path-like
        Folder of the package; made anew each time, as a whole or not at all.
    include : sequence of str
        Columns to pack all the same; ``participant`` lets identifiers that look like names pass.
    key_file : path-like, optional
        If given, participants get new random identifiers and the key is written to this new file,
        which must lie outside the study and the package. Old identifiers go out of the plan and of
        every other column too, and rows stand in the order of the new ones.
    seed : int, optional
        Seed of the draw of identifiers; leave it out for real people.

    Raises
    ------
    FileError
        If ``out`` is somebody's work or lies inside the study folder, or the key file would lie
        beside the data.
    InputError
        If the identifiers look like names and no key file is given.
    """
    root, target = Path(folder), real_place(out)
    study = read_study(root)
    home = study.folder or root
    if home.resolve().is_relative_to(target):
        raise FileError("the package would replace the study", [str(out)], "name another folder")
    names: dict[str, str] = {}
    study = as_recorded(study)
    if key_file is not None:
        names = _drawn(study, seed)
        study = renamed(study, names)
    else:
        _refuse_names(study, include)
    frames, left_out = _cleaned(study, include)
    answers, places, kept_back = shared_answers(study)
    left_out += kept_back
    left_out += [
        f"column {row.column} of {row.file}: it looks personal"
        for row in study.problems[study.problems["rule"] == SET_ASIDE].itertuples()
    ]
    left_out += [*_files_left(home, study), *(_seeds(study.design) if names else ())]
    warnings = [*_warnings(study.design), *small_cells(frames.get("participants"))]
    with contextlib.ExitStack() as stack:
        # The key takes its place after the package: a run stopped between the two can be repeated.
        if key_file is not None:
            stack.enter_context(new_key(names, key_file, apart_from=[home, target]))
        work = stack.enter_context(new_folder(target, mark=_MARK))
        plan = shared_plan(
            (home / "study.toml").read_text(encoding="utf-8-sig"),
            study.design,
            files={name: place_of(name) for name in frames},
            answers={name: place_of(table) for name, table in places.items()},
            names=names,
        )
        tables = {
            name: without_identifiers(table, study.design, names)
            for name, table in (frames | answers).items()
        }
        _fill(work, study.design, plan, tables, left_out, warnings)
    return Shared(Path(out), tuple(left_out), tuple(warnings))


def _drawn(study: Study, seed: int | None) -> dict[str, str]:
    people = people_of(study)
    return dict(zip(people, study_identifiers(len(people), seed=seed), strict=True))


def _cleaned(study: Study, include: Sequence[str]) -> tuple[dict[str, pd.DataFrame], list[str]]:
    tables = {
        "trials": study.trials.table,
        "participants": study.participants,
        "ratings": study.ratings,
    }
    frames, left_out = {}, []
    known_of_people = {*study.design.allocation.strata, *_covariates(study.design)}
    characteristics = [*CHARACTERISTICS, *sorted(known_of_people - {*CHARACTERISTICS})]
    for label, table in tables.items():
        if table is None:
            continue
        known = {*COLUMNS, *_ORDINARY, *include, *_named_by(study.design)}
        free = [name for name in table.columns if name not in include and _free(name, table[name])]
        strange = [name for name in table.columns if name not in {*known, *free}]
        left_out += [f"{label}.{name}: free text can name people" for name in free]
        left_out += [
            f"{label}.{name}: neither a standard column nor named in the plan; name it with "
            "include where nobody can be known by it"
            for name in strange
        ]
        kept = _numbered(table.drop(columns=[*free, *strange]), label, include, left_out)
        kept = _without_few(kept, label, characteristics, include, left_out)
        if "date" in kept.columns:
            kept = _days(kept)
            left_out.append(f"{label}.date: replaced by days since the person's first date")
        frames[label] = kept
    return frames, left_out


def _named_by(design: Design) -> set[str]:
    """Columns that the plan itself speaks of."""
    drawn, several = design.allocation, design.multiverse
    rules: list[Exclusion | Replacement | AlternativeExclusion] = [
        *design.exclusions,
        *design.replacements,
        *(several.exclusions if several else ()),
    ]
    named = {
        drawn.unit,
        *drawn.strata,
        *_covariates(design),
        *(factor.name for factor in design.factors),
        *(rule.column for rule in rules),
    }
    for outcome in design.outcomes:
        named |= {outcome.recorded, *(outcome.times.columns if outcome.times else ())}
    if design.within is not None:
        named.add(design.within.by)
    if design.single_case is not None:
        named.add(design.single_case.column)
    return named


def _covariates(design: Design) -> set[str]:
    primary, several = design.primary, design.multiverse
    others = several.covariates if several is not None else ()
    return {*(primary.covariates if primary is not None else ()), *chain.from_iterable(others)}


def _numbered(
    table: pd.DataFrame, label: str, include: Sequence[str], left_out: list[str]
) -> pd.DataFrame:
    """Number raters and clips whose labels look like names."""
    for name in ("rater", "clip"):
        if name not in table or name in include:
            continue
        labels = sorted(str(entry) for entry in table[name].dropna().unique())
        if look_like_names(pa.chunked_array([labels], pa.string())):
            left_out.append(f"{label}.{name}: names replaced by numbers")
            numbers = {text: f"{name} {number}" for number, text in enumerate(labels, start=1)}
            numbered = table[name].map(lambda entry, numbers=numbers: numbers.get(str(entry)))
            table = table.assign(**{name: numbered})
    return table


def _without_few(
    table: pd.DataFrame,
    label: str,
    characteristics: Sequence[str],
    include: Sequence[str],
    left_out: list[str],
) -> pd.DataFrame:
    """Leave out characteristics by which a person may be known."""
    few = [name for name in told_of_few(table, characteristics) if name not in include]
    left_out += [
        f"{label}.{name}: fewer than {SMALLEST_CELL} people share a value; name it with include "
        "where nobody can be known by it"
        for name in few
    ]
    return table.drop(columns=few)


def _refuse_names(study: Study, include: Sequence[str]) -> None:
    people = people_of(study)
    found = personal_columns(
        ["participant"], ["participant"], [pa.chunked_array([people], pa.string())]
    )
    if found and "participant" not in include:
        raise InputError(
            f"the identifiers of the participants look like {found['participant']}",
            remedy="draw new ones with --key FILE, or name participant with --include if they "
            "are code names",
        )


def _free(name: str, values: pd.Series) -> bool:
    if name.lower() in _FREE_TEXT:
        return True
    if name in ("participant", "date") or pd.api.types.is_numeric_dtype(values):
        return False
    texts = values.dropna().astype("str")
    texts = texts[texts != ""]
    if texts.empty:
        return False
    distinct = texts.unique()
    many = len(distinct) > 20 and len(distinct) > 0.1 * len(texts)
    wordy = np.mean([text.count(" ") for text in distinct]) > 2
    return bool(wordy and many) or bool(np.max([len(text) for text in distinct]) > 80)


def _days(table: pd.DataFrame) -> pd.DataFrame:
    dates = pd.Series(read_dates(table["date"]).values, index=table.index)
    first = dates.groupby(table["participant"]).transform("min")
    days = (dates.dt.normalize() - first.dt.normalize()).dt.days
    place = list(table.columns).index("date")
    result = table.drop(columns="date")
    result.insert(place, "day", days.astype("Int64"))
    return result


def _files_left(home: Path, study: Study) -> list[str]:
    files = study.design.files
    answers = [entry.file for entry in study.design.questionnaires]
    packed = {"study.toml", files.trials, files.participants, files.ratings, *answers}
    others = sorted(str(path.relative_to(home)) for path in home.rglob("*") if path.is_file())
    further = len([name for name in others if name not in packed])
    if not further:
        return []
    return [f"{count(further, 'further file')} of the study folder: only tables are packed"]


def _seeds(design: Design) -> list[str]:
    if design.study.seed is None and design.allocation.seed is None:
        return []
    return ["seeds of study.toml: with a list of people they tell who had which group and order"]


def _warnings(design: Design) -> list[str]:
    said = ["read study.toml before you give it away: it holds what people wrote into it"]
    if not design.study.data_licence:
        said.append("no licence is named (study.data_licence): nobody may use the data again")
    if not design.study.ethics_approval:
        said.append("no ethics approval is named (study.ethics_approval)")
    return said


def _fill(
    work: Path,
    design: Design,
    plan: str,
    frames: dict[str, pd.DataFrame],
    left_out: Sequence[str],
    warnings: Sequence[str],
) -> None:
    (work / "data").mkdir()
    for label, frame in frames.items():
        (work / place_of(label)).write_bytes(table_bytes(frame))
    meanings = {"day": "days since the person's first date"}
    package = data_package(
        frames,
        name="study",
        title=design.study.title,
        description=design.study.question,
        units=design.units,
        meanings=meanings,
        licence=design.study.data_licence,
        folder=work,
        paths={label: place_of(label) for label in frames},
    )
    texts = {
        DESCRIPTION: _json(dataset_description(package)),
        _MARK: _json(package),
        "README.md": readme_text(design, frames, left_out, warnings),
        "LICENSE.txt": licence_text(design),
        "CITATION.cff": citation_text(design),
        "environment.txt": _environment(),
        "study.toml": plan,
    }
    for name, text in texts.items():
        (work / name).write_text(text, encoding="utf-8")
    (work / "codebook.csv").write_bytes(table_bytes(_codebook(frames, design, meanings)))
    sums = [
        f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {path.relative_to(work).as_posix()}"
        for path in sorted(work.rglob("*"))
        if path.is_file()
    ]
    (work / "SHA256SUMS").write_text("\n".join(sums) + "\n", encoding="utf-8")


def _json(described: Mapping[str, Any]) -> str:
    return json.dumps(described, indent=2, ensure_ascii=False) + "\n"


def _codebook(
    frames: dict[str, pd.DataFrame], design: Design, meanings: dict[str, str]
) -> pd.DataFrame:
    rows = []
    for label, frame in frames.items():
        fields = table_schema(frame, units=design.units, meanings=meanings)["fields"]
        for field in fields:
            values = frame[field["name"]]
            levels = "" if pd.api.types.is_numeric_dtype(values) else _levels(values)
            told = (field.get("description", ""), field["type"], field.get("unit", ""))
            rows.append((label, field["name"], *told, levels, int(values.isna().sum())))
    names = ["table", "column", "meaning", "type", "unit", "levels", "missing"]
    return pd.DataFrame(rows, columns=names)


def _levels(values: pd.Series) -> str:
    distinct = sorted(str(value) for value in values.dropna().unique())
    return ", ".join(distinct) if len(distinct) <= 12 else f"{len(distinct)} different values"


def _environment() -> str:
    lines = [f"Python {platform.python_version()}", *(f"{n} {version(n)}" for n in _PACKAGES)]
    return "\n".join(lines) + "\n"
