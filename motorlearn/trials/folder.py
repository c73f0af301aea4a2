"""Read a study: the plan and the files it names, checked one by one and against each other."""

from dataclasses import replace
from pathlib import Path

import pandas as pd

from motorlearn.design import Design, read_design
from motorlearn.exceptions import ColumnError, FileError
from motorlearn.trials.checking.belonging import check_belonging
from motorlearn.trials.checking.clips import clips_as_rated
from motorlearn.trials.checking.clusters import check_clusters
from motorlearn.trials.checking.conditions import (
    check_conditions,
    condition_by_condition,
    conditions_as_groups,
)
from motorlearn.trials.checking.dates_of_tests import tests_on_their_day
from motorlearn.trials.checking.orders import orders_as_planned
from motorlearn.trials.checking.people import add_groups, check_people, check_same_people
from motorlearn.trials.checking.planned import check_plan, practice_in_the_log
from motorlearn.trials.checking.problems import gather, problem_frame
from motorlearn.trials.checking.rules import (
    DUPLICATE,
    check_rules,
    near_duplicate_identifiers,
)
from motorlearn.trials.checking.signs import labels_too_long, labels_with_unseen_signs
from motorlearn.trials.checking.single_case import in_one_phase
from motorlearn.trials.checking.suspicions import suspicions
from motorlearn.trials.containers.opening import open_grid
from motorlearn.trials.containers.safety import alike, inside
from motorlearn.trials.counted import counted_rows
from motorlearn.trials.handedness import check_hands
from motorlearn.trials.importing.blocks import number_blocks
from motorlearn.trials.importing.replay import replay, replay_files, settle
from motorlearn.trials.importing.sources import is_many, is_pattern, source_files
from motorlearn.trials.kind_problems import kind_problems
from motorlearn.trials.named_files import recipe_of
from motorlearn.trials.reading.answers_file import answers_of
from motorlearn.trials.reading.blinded import find_key, names_clips_only, read_blind
from motorlearn.trials.reading.days_of_tests import TWO_LINES, read_test_days
from motorlearn.trials.reading.field_pages import field_pages
from motorlearn.trials.reading.not_yet import set_aside_blank
from motorlearn.trials.reading.session_log import read_sessions
from motorlearn.trials.reading.sheet import Sheet
from motorlearn.trials.reading.standard import Standard
from motorlearn.trials.reading.trials_file import read_grid, trials_of
from motorlearn.trials.ruled import Ruled, apply_rules, declared_values
from motorlearn.trials.study import Study, Trials
from motorlearn.trials.time_rules import time_problems
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


def read_study(folder: str | Path, *, begun: bool = True) -> Study:
    """Read a study folder: ``study.toml`` and the files it names, all problems together.

    Parameters
    ----------
    folder : path-like
        The folder, or its ``study.toml``.
    begun : bool
        Whether the file of trials must be there. With False a study whose file of trials is still
        to come is read as one without trials, and a doubt names the file.

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
    if not begun and _not_there(root, design):
        return _to_come(root, design)
    trials = _trials(root, design)
    if design.recipe is None:
        trials = set_aside_blank(trials)
    people = _read(root, design.files.participants, design)
    ratings = _ratings(root, design.files.ratings, design)
    trials = _in_groups(trials, people, design)
    ruled = apply_rules(_with_blocks(trials, design), design)
    trials = ruled.standard
    sessions, doubts = _sessions(root, design.files.sessions)
    doubts = gather([doubts, tests_on_their_day(trials.sheet, design, sessions)])
    clips = clips_as_rated(design, root, None if ratings is None else ratings.sheet.table)
    found = _problems(design, ruled, people, ratings)
    timed = time_problems(trials.sheet.table, design, trials.sheet.file)
    kinds = kind_problems(trials.sheet.table, design, trials.sheet.file)
    problems = gather([*found, ruled.problems, doubts, clips, timed, kinds])
    problems = practice_in_the_log(problems, sessions)
    if design.recipe is not None:
        trials = settle(trials, problems, design.recipe.mode)
    own = problems[problems["file"] == trials.sheet.file].reset_index(drop=True)
    read = replace(trials_of(trials, own), excluded=ruled.excluded, replaced=ruled.replaced)
    return Study(
        design,
        read,
        None if people is None else people.sheet.table,
        None if ratings is None else ratings.sheet.table,
        problems,
        root,
        sessions,
        _questionnaires(root, design),
    )


def _in_groups(trials: Standard, people: Standard | None, design: Design) -> Standard:
    """Trials with the group or condition of every row, those of a single case in one phase."""
    trials = replace(trials, sheet=_with_conditions(trials.sheet, design))
    known = design.within is None and people is not None and people.sheet.has("group")
    if known and people is not None and not trials.sheet.has("group"):
        trials = _with_groups(trials, people)
    table = in_one_phase(trials.sheet.table, design)
    return replace(trials, sheet=replace(trials.sheet, table=table))


def _questionnaires(root: Path, design: Design) -> dict[str, pd.DataFrame]:
    """Answers of the questionnaires whose files are there; the others are told by the analysis."""
    return {
        entry.name: answers_of(entry, inside(root, entry.file))
        for entry in design.questionnaires
        if inside(root, entry.file).is_file()
    }


def _not_there(root: Path, design: Design) -> bool:
    """Whether the file of trials is still to come; one under a name much like it is not."""
    names = design.recipe.sources if design.recipe is not None else (design.files.trials,)
    return not any(_is_there(root, name) for name in names)


def has_data(folder: str | Path, design: Design) -> bool:
    """Whether the trials that a plan names are there already, one file or many.

    Examples
    --------
    >>> import motorlearn as ml
    >>> place = shipped_study()
    >>> has_data(place, ml.read_design(place))
    True
    """
    return not _not_there(Path(folder), design)


def _is_there(root: Path, name: str) -> bool:
    place = inside(root, name)
    if is_pattern(name) and not place.exists():
        return bool(source_files(root, (name,), needed=False))
    return place.exists() or bool(alike(root / name))


def _to_come(root: Path, design: Design) -> Study:
    """A study that has a plan and no file of trials; who takes part may be known already."""
    name = design.recipe.label if design.recipe is not None else design.files.trials
    people = design.files.participants
    there = people is not None and inside(root, people).is_file()
    listed = _read(root, people, design) if there else None
    doubt = problem_frame(
        "no file of trials yet",
        severity="doubt",
        file=name,
        advice="'motorlearn sheets' writes it to be filled in; or name another one under [files]",
    )
    words = {column: pd.Series(dtype="str") for column in ("participant", "group", "phase")}
    return Study(
        design,
        Trials(pd.DataFrame(words), units=dict(design.units)),
        None if listed is None else listed.sheet.table,
        None,
        gather([doubt, *([] if listed is None else [listed.problems])]),
        root,
    )


def _sessions(root: Path, name: str | None) -> tuple[pd.DataFrame | None, pd.DataFrame]:
    if not name or not inside(root, name).is_file():
        return None, gather([])
    return read_sessions(inside(root, name))


def _trials(root: Path, design: Design) -> Standard:
    recipe = recipe_of(root, design)
    if recipe is not None and is_many(root, recipe):
        return replay_files(root, recipe, units=design.units)
    if recipe is not None:
        return replay(inside(root, recipe.file), recipe, units=design.units)
    name = design.files.trials
    if name and not inside(root, name).exists() and not alike(root / name):
        raise FileError(
            "the study has no file of trials there yet",
            [str(root / name)],
            "put it there, name another one under [files] in study.toml, or bring a foreign file "
            "in with 'motorlearn import FILE --study FOLDER'",
        )
    if name and (pages := field_pages(inside(root, name))):
        return read_test_days(pages, design)
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


def _with_blocks(trials: Standard, design: Design) -> Standard:
    how = "" if design.recipe is None else design.recipe.blocks
    return number_blocks(trials, how, design) if how else trials


def _problems(
    design: Design, ruled: Ruled, people: Standard | None, ratings: Standard | None
) -> list[pd.DataFrame]:
    trials = ruled.standard
    found = [trials.problems]
    if trials.sheet.table.empty:
        found.append(_nothing_yet(trials.sheet.file))
    else:
        found.append(_once(gather(_problems_of_trials(design, ruled)), trials.problems))
    if not trials.sheet.table.empty:
        listed = None if people is None else people.sheet
        found.append(check_clusters(trials.sheet, listed, design))
        found.append(check_belonging(trials.sheet, listed, design))
    if people is not None:
        found += [people.problems, check_people(people.sheet, design)]
        found += [near_duplicate_identifiers(people.sheet)]
        found += [labels_with_unseen_signs(people.sheet), labels_too_long(people.sheet)]
        found.append(check_hands(people.sheet, trials.sheet))
    if people is not None and not trials.sheet.table.empty:
        within = design.within is not None
        found.append(check_same_people(trials.sheet, people.sheet, within=within))
    if ratings is not None:
        _require(ratings, "rater", "score")
        found.append(ratings.problems)
    if ratings is not None and ratings.sheet.table["score"].isna().all():
        found.append(_nothing_yet(ratings.sheet.file))
    elif ratings is not None:
        found.append(_without_rater(ratings.sheet))
        known = ratings.sheet.table["participant"].notna().any()
        if known:
            found.append(check_rules(ratings.sheet, phases=design.phases))
        if people is not None and known:
            found.append(check_same_people(ratings.sheet, people.sheet, source="ratings"))
    return found


def _without_rater(sheet: Sheet) -> pd.DataFrame:
    table = sheet.table.reset_index(drop=True)
    rows = table.index[table["score"].notna() & table["rater"].isna()]
    return sheet.problems(
        "rating without a rater",
        rows.to_numpy(dtype=int),
        column="rater",
        severity="doubt",
        advice="write who rated in every row; until then the agreement of raters is not computed",
    )


def _once(problems: pd.DataFrame, read: pd.DataFrame) -> pd.DataFrame:
    """Leave out each trial of a line that was named as the second of one person already."""
    twice = read[read["rule"] == TWO_LINES]
    said = set(zip(twice["sheet"], twice["row"]))
    places = zip(problems["rule"], problems["sheet"], problems["row"])
    keep = [rule != DUPLICATE or (sheet, row) not in said for rule, sheet, row in places]
    return problems[keep]


def _problems_of_trials(design: Design, ruled: Ruled) -> list[pd.DataFrame]:
    """Rules on all rows, on the planned ones, and on those that count after the plan's rules."""
    told = tuple(test.phase for test in design.tests if test.feedback)
    sheet = condition_by_condition(ruled.standard.sheet, design)
    planned = sheet.part(~ruled.beyond)
    asked = sheet.part(counted_rows(sheet.table)) if len(ruled.excluded) else sheet
    declared = declared_values(design)
    return [
        check_rules(sheet, feedback_allowed=told, phases=design.phases, by_plan=ruled.reasons),
        check_plan(planned, design),
        orders_as_planned(planned, design),
        suspicions(asked, declared=declared),
        check_conditions(ruled.standard.sheet, design),
    ]


def _with_conditions(sheet: Sheet, design: Design) -> Sheet:
    return replace(sheet, table=conditions_as_groups(sheet.table, design))


def _nothing_yet(file: str) -> pd.DataFrame:
    return problem_frame(
        "nothing recorded yet",
        severity="note",
        file=file,
        advice="the sheets are there and empty; fill them in as the study goes on",
    )


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
