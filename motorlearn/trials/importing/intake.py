"""Take a foreign file into a study: copy the original, propose a recipe, write it into the plan."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

import pandas as pd

from motorlearn.design import ImportRecipe, read_design
from motorlearn.exceptions import FileError, InputError
from motorlearn.files import locked, write_bytes, write_text
from motorlearn.tables import Column, Table
from motorlearn.trials.checking.problem_page import problem_page
from motorlearn.trials.containers.safety import inside, read_bytes
from motorlearn.trials.folder import has_data, read_study
from motorlearn.trials.importing.additions import additions
from motorlearn.trials.importing.beginning import propose_gathered, start, sums_of
from motorlearn.trials.importing.gathering import Gathered, gather_files
from motorlearn.trials.importing.proposing import Proposal
from motorlearn.trials.importing.recipe_text import recipe_text, write_recipe
from motorlearn.trials.importing.started_rules import Ask
from motorlearn.trials.importing.starting import Asked
from motorlearn.trials.sharing.data_package import table_bytes
from motorlearn.trials.study import Study

Mode = Literal["report", "strict", "lenient"]


@dataclass(frozen=True)
class Intake:
    """What taking a file in did.

    Parameters
    ----------
    recipe : ImportRecipe
        The recipe that was used.
    proposal : Proposal or None
        What was proposed; None where the plan already had a recipe for this file.
    study : Study
        The study as it reads now.
    """

    recipe: ImportRecipe
    proposal: Proposal | None
    study: Study


def take_in(
    file: str | Path | Sequence[str | Path],
    folder: str | Path,
    *,
    sheet: str | None = None,
    mode: str = "report",
    name_parts: str = "",
    asked: Asked | None = None,
    ask: Ask | None = None,
) -> Intake:
    """Take a file, or many, into a study folder and read the study with it.

    Originals are copied into the folder and never altered; several go into a folder of their own.
    If the plan has a recipe for this file or folder it is used again, otherwise one is proposed and
    written into ``study.toml``. Where there is no plan, one is started from what the files show.
    The changes with the sum of the original, the rows set aside and the problems are written beside
    it (``import_changes.csv``, ``import_set_aside.csv``, ``import_problems.html``).

    Parameters
    ----------
    file : path-like, or sequence of path-like
        A file, several, a folder, or a pattern such as ``data/*.txt``.
    folder : path-like
        Folder of the study; it is made where there is none.
    sheet : str, optional
        Sheet of a workbook.
    mode : str
        ``report``, ``strict`` or ``lenient``.
    name_parts : str
        What the names of the files hold, as in ``s{participant}session{session}data``; guessed
        where it is not said.
    asked : Asked, optional
        What is known of a study whose plan is started: title, outcome, names of codes. Rules,
        the smallest effect of interest and questionnaires are added to a plan that is there.
    ask : callable, optional
        Asks a person: takes a question and the answer to expect, gives the answer.

    Raises
    ------
    FileError
        If the folder holds another file of the same name, or another run is importing into it.
    ColumnError
        If no column could hold the participants.
    InputError
        If the mode is ``strict`` and the file has an error; the recipe is written all the same.
    """
    if mode not in get_args(Mode):
        raise InputError("there is no such mode", [mode], "use " + ", ".join(get_args(Mode)))
    root = Path(folder)
    there = (root / "study.toml").is_file()
    if there:
        read_design(root)  # says what is amiss before anything waits
    named = [file] if isinstance(file, str | Path) else list(file)
    gathered = gather_files(named)
    asked = asked or Asked()
    started, added = None, None
    answers = {name.name: name for name in map(Path, asked.questionnaires.files)}
    if not there:
        if root.exists() and not root.is_dir():
            raise FileError("the study is no folder", [str(root)], "name a folder")
        started = start(gathered, sheet, name_parts, named_as(asked, root), ask)
    elif asked != Asked():
        added = additions(root / "study.toml", asked, _trials_there(root), ask)
    root.mkdir(parents=True, exist_ok=True)
    with locked(root / "import"):
        _copy(answers, root)
        if added is not None:
            write_text(root / "study.toml", added)
        return _taken_in(gathered, root, sheet, mode, name_parts, started)


def named_as(asked: Asked, root: Path) -> Asked:
    """What was said, where nothing was with the name of the folder as title."""
    return asked if asked != Asked() else Asked(title=root.resolve().name)


def _trials_there(root: Path) -> pd.DataFrame | None:
    """Trials of a study that has some already."""
    design = read_design(root)
    return read_study(root).trials.table if has_data(root, design) else None


def _taken_in(
    gathered: Gathered,
    root: Path,
    sheet: str | None,
    mode: str,
    parts: str,
    started: tuple[str, Proposal] | None,
) -> Intake:
    """Do the work while no other run imports into this study."""
    proposal, recipe = (None, None) if started is None else (started[1], started[1].recipe)
    if recipe is None:
        recipe = read_design(root).recipe
    _copy(gathered.files, root)
    if recipe is None or recipe.file != gathered.source:
        proposal = propose_gathered(gathered, read_design(root), sheet, parts)
        recipe = proposal.recipe
    elif gathered.many and started is None:
        recipe = recipe.model_copy(update=sums_of(gathered))
    recipe = recipe.model_copy(update={"mode": mode})
    if started is not None:
        write_text(root / "study.toml", f"{started[0]}\n{recipe_text(recipe)}")
    else:
        write_recipe(root / "study.toml", recipe)
    study = read_study(root)
    _write_record(root, study)
    return Intake(recipe, proposal, study)


def _copy(files: Mapping[str, Path], root: Path) -> None:
    """Copy originals into the study, unless another file of that name is there."""
    contents = {name: read_bytes(path) for name, path in files.items()}
    targets = {name: inside(root, name) for name in contents}
    other = [n for n, at in targets.items() if at.exists() and at.read_bytes() != contents[n]]
    if other:
        raise FileError(
            "the study already holds another file of this name",
            other,
            "give the new file another name; the earlier original stays",
        )
    for name, target in targets.items():
        if not target.exists():
            target.parent.mkdir(parents=True, exist_ok=True)
            write_bytes(target, contents[name])


def _write_record(root: Path, study: Study) -> None:
    """Write beside the plan what was changed, what was set aside and what is doubtful."""
    write_bytes(root / "import_changes.csv", table_bytes(study.trials.changes))
    write_bytes(root / "import_set_aside.csv", table_bytes(study.trials.set_aside))
    write_text(root / "import_problems.html", problem_page(study.problems))


def change_table(study: Study) -> Table:
    """Show every change that was made to the values of the file."""
    names = ("file", "sheet", "row", "column", "before", "after", "rule")
    columns = tuple(Column(name) for name in names)
    title = "Changes made on the way from the file to the table"
    return Table("changes", title, columns, study.trials.changes)
