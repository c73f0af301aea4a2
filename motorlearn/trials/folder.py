"""Read a study: the plan and the files it names, checked one by one and against each other."""

from dataclasses import replace
from pathlib import Path

import pandas as pd

from motorlearn.design import Design, read_design
from motorlearn.exceptions import ColumnError, FileError
from motorlearn.trials.checking.orders import orders_as_planned
from motorlearn.trials.checking.people import add_groups, check_people, check_same_people
from motorlearn.trials.checking.planned import check_plan
from motorlearn.trials.checking.problems import gather
from motorlearn.trials.checking.rules import check_rules, near_duplicate_identifiers
from motorlearn.trials.checking.suspicions import suspicions
from motorlearn.trials.containers.opening import open_grid
from motorlearn.trials.containers.safety import alike, inside
from motorlearn.trials.importing.replay import replay, settle
from motorlearn.trials.reading.blinded import find_key, names_clips_only, read_blind
from motorlearn.trials.reading.standard import Standard
from motorlearn.trials.reading.trials_file import read_grid, trials_of
from motorlearn.trials.study import Study
from motorlearn.vocabulary import CHANGE_COLUMNS

_PACKAGE = Path(__file__).parents[1]


def shipped_study() -> Path:
    """Find the folder of the ring-push study that comes with the package.

    Returns
    -------
    Path
        ``data/ring-push`` beside the package in a clone, inside the package once installed.

    Raises
    ------
    FileError
        If this copy of the package came without the study.

    Examples
    --------
    >>> import motorlearn as ml
    >>> ml.read_study(ml.trials.shipped_study()).design.groups[0].name
    'blocked'
    """
    for root in (_PACKAGE / "shipped", _PACKAGE.parent):
        if (root / "data" / "ring-push" / "study.toml").is_file():
            return root / "data" / "ring-push"
    raise FileError(
        "the ring-push study did not come with this copy", remedy="install the package anew"
    )


def read_study(folder: str | Path) -> Study:
    """Read a study folder: ``study.toml`` and the files it names, all problems together.

    Parameters
    ----------
    folder : path-like
        The folder, or its ``study.toml``.

    Returns
    -------
    Study
        Plan, trials, participants, ratings and the problems of all files.

    Raises
    ------
    FileError
        If there is no plan, or a file it names is missing or lies outside the folder.
    DesignError
        If the plan contradicts itself.
    ColumnError
        If a file has no participant column.
    """
    path = Path(folder)
    design = read_design(path)
    root = path if path.is_dir() else path.parent
    trials = _trials(root, design)
    people = _read(root, design.files.participants, design)
    ratings = _ratings(root, design.files.ratings, design)
    if people is not None and people.sheet.has("group") and not trials.sheet.has("group"):
        trials = _with_groups(trials, people)
    problems = gather(_problems(design, trials, people, ratings))
    if design.recipe is not None:
        trials = settle(trials, problems, design.recipe.mode)
    return Study(
        design,
        trials_of(trials, problems[problems["file"] == trials.sheet.file].reset_index(drop=True)),
        None if people is None else people.sheet.table,
        None if ratings is None else ratings.sheet.table,
        problems,
        root,
    )


def _trials(root: Path, design: Design) -> Standard:
    if design.recipe is not None:
        return replay(inside(root, design.recipe.file), design.recipe, units=design.units)
    name = design.files.trials
    if name and not inside(root, name).exists() and not alike(root / name):
        raise FileError(
            "the study has no file of trials there yet",
            [str(root / name)],
            "put it there, name another one under [files] in study.toml, or bring a foreign file "
            "in with 'motorlearn import FILE --study FOLDER'",
        )
    trials = _read(root, name, design)
    if trials is None:
        raise FileError("the plan names no file of trials", remedy="set files.trials")
    return trials


def _read(root: Path, name: str | None, design: Design) -> Standard | None:
    if not name:
        return None
    return read_grid(open_grid(inside(root, name)), units=design.units)


def _ratings(root: Path, name: str | None, design: Design) -> Standard | None:
    if not name:
        return None
    grid = open_grid(inside(root, name))
    if names_clips_only(grid):
        return read_blind(grid, find_key(root, name))
    return read_grid(grid, units=design.units)


def _problems(
    design: Design, trials: Standard, people: Standard | None, ratings: Standard | None
) -> list[pd.DataFrame]:
    told = tuple(test.phase for test in design.tests if test.feedback)
    found = [
        trials.problems,
        check_rules(trials.sheet, feedback_allowed=told, phases=design.phases),
        check_plan(trials.sheet, design),
        orders_as_planned(trials.sheet, design),
        suspicions(trials.sheet),
    ]
    if people is not None:
        found += [people.problems, check_people(people.sheet, design)]
        found += [near_duplicate_identifiers(people.sheet)]
        found.append(check_same_people(trials.sheet, people.sheet))
    if ratings is not None:
        _require(ratings, "rater", "score")
        found.append(ratings.problems)
        known = ratings.sheet.table["participant"].notna().any()
        if known:
            found.append(check_rules(ratings.sheet, phases=design.phases))
        if people is not None and known:
            found.append(check_same_people(ratings.sheet, people.sheet, source="ratings"))
    return found


def _require(standard: Standard, *names: str) -> None:
    absent = [name for name in names if not standard.sheet.has(name)]
    if absent:
        raise ColumnError(
            f"{standard.sheet.file} lacks columns a file of ratings needs", absent, "add them"
        )


def _with_groups(trials: Standard, people: Standard) -> Standard:
    table = add_groups(trials.sheet.table, people.sheet.table)
    change = pd.DataFrame(
        [(trials.sheet.file, "", pd.NA, "group", "", "", f"group taken from {people.sheet.file}")],
        columns=list(CHANGE_COLUMNS),
    ).astype({"row": "Int64"})
    return replace(
        trials,
        sheet=replace(trials.sheet, table=table),
        changes=pd.concat([trials.changes, change], ignore_index=True),
    )
