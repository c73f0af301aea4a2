"""Take a foreign file into a study: copy the original, propose a recipe, write it into the plan."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

from motorlearn.design import ImportRecipe, read_design
from motorlearn.exceptions import FileError, InputError
from motorlearn.files import locked, write_bytes, write_text
from motorlearn.tables import Column, Table
from motorlearn.trials.checking.problem_page import problem_page
from motorlearn.trials.containers.safety import inside, read_bytes
from motorlearn.trials.folder import read_study
from motorlearn.trials.importing.proposing import Proposal, propose_recipe
from motorlearn.trials.importing.recipe_text import write_recipe
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
    file: str | Path, folder: str | Path, *, sheet: str | None = None, mode: str = "report"
) -> Intake:
    """Take a file into a study folder and read the study with it.

    The original is copied into the folder and never altered. If the plan has a recipe for a file
    of this name it is used again, otherwise one is proposed and written into ``study.toml``. The
    changes with the sum of the original, the rows set aside and the problems are written beside
    it (``import_changes.csv``, ``import_set_aside.csv``, ``import_problems.html``).

    Raises
    ------
    FileError
        If there is no plan, the folder holds another file of the same name, or another run is
        importing into it.
    ColumnError
        If no column could hold the participants.
    InputError
        If the mode is ``strict`` and the file has an error; the recipe is written all the same.
    """
    if mode not in get_args(Mode):
        raise InputError("there is no such mode", [mode], "use " + ", ".join(get_args(Mode)))
    read_design(folder)  # says what is amiss before anything waits
    with locked(Path(folder) / "import"):
        return _taken_in(Path(file), Path(folder), sheet, mode)


def _taken_in(source: Path, root: Path, sheet: str | None, mode: str) -> Intake:
    """Do the work while no other run imports into this study."""
    design = read_design(root)
    content = read_bytes(source)
    target = inside(root, source.name)
    if target.exists() and target.read_bytes() != content:
        raise FileError(
            "the study already holds another file of this name",
            [source.name],
            "give the new file another name; the earlier original stays",
        )
    proposal, recipe = None, design.recipe
    if recipe is None or recipe.file != source.name:
        proposal = propose_recipe(source, design=design, sheet=sheet)
        recipe = proposal.recipe
    if not target.exists():
        write_bytes(target, content)
    recipe = recipe.model_copy(update={"mode": mode})
    write_recipe(root / "study.toml", recipe)
    study = read_study(root)
    _write_record(root, study)
    return Intake(recipe, proposal, study)


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
