"""The files a plan names: what a study is made of, and what no output may take the place of."""

import hashlib
from pathlib import Path

from motorlearn.design import Design, ImportRecipe, read_design
from motorlearn.exceptions import FileError
from motorlearn.files import real_place
from motorlearn.trials.containers.safety import inside
from motorlearn.trials.importing.sources import is_many, is_pattern, source_files, sum_of
from motorlearn.trials.study import Study


def study_files(design: Design, folder: str | Path) -> dict[str, Path]:
    """Find the files a plan names that are there: the plan, the original, tables of the study.

    Nothing else in the folder is looked at; no link out of the folder is followed and no pipe is
    opened.

    Parameters
    ----------
    design : Design
        The plan.
    folder : path-like
        Folder of the study.

    Returns
    -------
    dict of str to Path
        Name as the plan has it, and the ordinary file there.

    Examples
    --------
    >>> import motorlearn as ml
    >>> folder = ml.trials.shipped_study()
    >>> list(study_files(ml.read_design(folder), folder))[:2]
    ['study.toml', 'trials.csv']
    """
    source = design.recipe.file if design.recipe is not None else None
    answers = [entry.file for entry in design.questionnaires]
    names = dict.fromkeys(("study.toml", source, *design.files.model_dump().values(), *answers))
    found = {}
    for name in names:
        if isinstance(name, str) and name:
            path = _inside_or_none(Path(folder), name)
            if path is not None and path.is_file():
                found[name] = path
    found |= many_files(design, folder)
    return found | {
        path.relative_to(Path(folder).resolve()).as_posix(): path
        for path in clip_files(design, folder).values()
    }


def many_files(design: Design, folder: str | Path) -> dict[str, Path]:
    """Find the files of trials where the plan names a folder, a pattern or a list of them.

    Parameters
    ----------
    design : Design
        The plan.
    folder : path-like
        Folder of the study.

    Returns
    -------
    dict of str to Path
        Empty where the trials are in one file, or none is there yet.
    """
    root = Path(folder)
    recipe = recipe_of(root, design)
    if recipe is None or not is_many(root, recipe):
        return {}
    return source_files(root, recipe.sources, needed=False)


def recipe_of(root: Path, design: Design) -> ImportRecipe | None:
    """The recipe of the plan; for many files in standard columns an empty one."""
    name = design.files.trials
    if design.recipe is not None or not name:
        return design.recipe
    place = inside(root, name)
    several = place.is_dir() or (is_pattern(name) and not place.exists())
    return ImportRecipe(file=name) if several else None


def clip_files(design: Design, folder: str | Path) -> dict[str, Path]:
    """Find the files of coordinates that ``[landmarks]`` names, by the name of the clip.

    Parameters
    ----------
    design : Design
        The plan.
    folder : path-like
        Folder of the study.

    Returns
    -------
    dict of str to Path
        Every ordinary CSV in the folder of clips, in the order of names.

    Examples
    --------
    >>> import tempfile
    >>> import motorlearn as ml
    >>> elbow = {"name": "elbow", "kind": "joint angle", "at": "release",
    ...          "landmarks": ["shoulder", "elbow", "wrist"]}
    >>> straight = {"item": "arm straight", "quantity": "elbow", "bands": [[150, 180, 1]]}
    >>> plan = ml.design.design_from_mapping({
    ...     "study": {"title": "Ring push"},
    ...     "groups": [{"name": "random"}],
    ...     "tests": [{"phase": "retention", "trials": 20, "interval_days": 7}],
    ...     "outcomes": [{"name": "hits", "better": "higher"}],
    ...     "landmarks": {"rate": 100, "release": "wrist", "quantities": [elbow],
    ...                   "items": [straight]},
    ... })
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     Path(folder, "clips").mkdir()
    ...     Path(folder, "clips", "P01-retention.csv").touch()
    ...     list(clip_files(plan, folder))
    ...
    ['P01-retention']
    """
    if design.landmarks is None:
        return {}
    place = _inside_or_none(Path(folder), design.landmarks.folder)
    if place is None or not place.is_dir():
        return {}
    inner = (_inside_or_none(place, path.name) for path in sorted(place.glob("*.csv")))
    return {path.stem: path for path in inner if path is not None and path.is_file()}


def study_sums(study: Study) -> dict[str, str]:
    """SHA-256 sums of the files a study was read from; none where it was read from no folder."""
    if study.folder is None:
        return {}
    named = study_files(study.design, study.folder)
    many = many_files(study.design, study.folder)
    sums = {name: _sum(path) for name, path in named.items() if name not in many}
    recipe = recipe_of(Path(study.folder), study.design)
    if many and recipe is not None:
        sums[f"{recipe.label} ({len(many)} files)"] = sum_of(many)
    return sums


def refuse_inputs(output: str | Path, study: str | Path) -> None:
    """Refuse an output that would take the place of a file of the study.

    Raises
    ------
    FileError
        If the output is the plan or a file it names, whichever way its path is written.
    """
    place = real_place(output)
    root = Path(study) if Path(study).is_dir() else Path(study).parent
    for name, path in study_files(read_design(study), root).items():
        if place == path.resolve() or (place.exists() and place.samefile(path)):
            raise FileError(
                f"the output would take the place of {name}, a file of the study",
                [str(output)],
                "name another file",
            )


def _inside_or_none(folder: Path, name: str) -> Path | None:
    try:
        return inside(folder, name)
    except FileError:
        return None


def _sum(path: Path) -> str:
    with path.open("rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()
