"""Class data sets: every student number gets its own invented study, the lecturer the answers."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from tqdm import tqdm

from motorlearn import digits
from motorlearn.analysis import primary_comparison
from motorlearn.design import Design, Primary, read_design
from motorlearn.exceptions import DesignError, InputError
from motorlearn.files import new_folder, real_place, write_bytes, write_text
from motorlearn.plan import simulate_study
from motorlearn.plan.simulation.presets import find_preset
from motorlearn.results import Recipe, Result
from motorlearn.tables import Column, Table
from motorlearn.teaching.marking import marking_sheet
from motorlearn.trials import Study, counted_rows
from motorlearn.trials.sharing.data_package import table_bytes

PRESETS = ("laboratory", "applied", "null")
MARK = ".class-data-sets"
_NUMBERS = {
    "true_effect": "true ratio",
    "estimate": "estimate",
    "conf_low": "lower",
    "conf_high": "upper",
}


@dataclass(frozen=True)
class StudentStudy:
    """The study of one student number, and what is true in it."""

    student: int
    seed: int
    preset: str
    study: Study


@dataclass(frozen=True)
class AnswerKey(Result):
    """What the lecturer needs to mark a class, one row per student number.

    Parameters
    ----------
    key : DataFrame
        ``student, folder, seed, preset, true_effect, estimate, conf_low, conf_high, df, p,
        n_group, n_reference, n_allocated, void_trials, answer``. The estimate is the primary
        comparison of the plan; the true effect is the ratio of landing spreads the generator used.
    recipe : Recipe
        How the key was made.
    """

    key: pd.DataFrame
    recipe: Recipe

    def tables(self) -> list[Table]:
        """The key."""
        columns = (
            Column("student", kind="count"),
            Column("preset", "what is true"),
            *(Column(name, label, "number", decimals=3) for name, label in _NUMBERS.items()),
            Column("p", kind="p"),
            Column("n_group", "n", "count"),
            Column("n_reference", "n reference", "count"),
        )
        return [Table("answer-key", "Answer key, not for students", columns, self.key)]


def student_study(
    plan: Design,
    student: int,
    *,
    class_seed: int,
    presets: Sequence[str] = PRESETS,
    missing: bool = True,
) -> StudentStudy:
    """Make the study of one student number; the same number and class seed give the same study.

    Parameters
    ----------
    plan : Design
        Plan with group sizes.
    student : int
        Student number, 1 or more.
    class_seed : int
        Seed of the class; whoever knows it can make the key, so keep it.
    presets : sequence of str
        What may be true; one of them is drawn for each student.
    missing : bool
        Whether people withdraw and trials are void.

    Raises
    ------
    InputError
        If the student number is not a whole number from 1, or a preset is unknown.
    DesignError
        If the plan has no group sizes.
    """
    if int(student) != student or student < 1:
        raise InputError("a student number is a whole number from 1", [student])
    if not presets:
        raise InputError("no preset was named, so nothing can be true", None, "name at least one")
    for preset in presets:
        find_preset(preset)
    words = np.random.SeedSequence(class_seed, spawn_key=(int(student),)).generate_state(2)
    seed, preset = int(words[0]), presets[int(words[1]) % len(presets)]
    study = simulate_study(plan, seed=seed, preset=preset, missing=missing)
    return StudentStudy(int(student), seed, preset, study)


def class_data_sets(
    plan: str | Path,
    folder: str | Path,
    key_folder: str | Path,
    *,
    students: int,
    class_seed: int,
    presets: Sequence[str] = PRESETS,
    missing: bool = True,
) -> AnswerKey:
    """Write a study folder for each student number, and the answer key somewhere else.

    ``folder/student-01`` and the like hold ``study.toml`` and the data in the standard columns,
    ready for ``motorlearn report``. ``key_folder`` gets ``answer_key.csv``, ``answer_key.json`` and
    ``marking_sheet.html`` to print.
    Both folders are written whole or not at all.

    Parameters
    ----------
    plan : path-like
        Folder with ``study.toml``, or that file: the plan all students share, with group sizes and
        a primary comparison.
    folder, key_folder : path-like
        New folders, or folders this function made earlier; the key must not lie within `folder`.
    students : int
        Number of students, 1 to 1000.
    class_seed : int
        Seed of the class.
    presets : sequence of str
        What may be true; one of them is drawn for each student.
    missing : bool
        Whether people withdraw and trials are void.

    Returns
    -------
    AnswerKey

    Raises
    ------
    InputError
        If the key would lie among the data, or the number of students is outside its range.
    DesignError
        If the plan has no primary comparison of two groups.
    """
    if not 1 <= students <= 1000 or int(students) != students:
        raise InputError("the number of students is outside its range", [students], "1 to 1000")
    if real_place(key_folder).is_relative_to(real_place(folder)):
        raise InputError(
            "the answer key would lie among the students' folders",
            [str(key_folder)],
            "name a key folder elsewhere",
        )
    source = Path(plan) / "study.toml" if Path(plan).is_dir() else Path(plan)
    design = read_design(source)
    primary = _primary(design)
    rows = []
    with new_folder(folder, mark=MARK) as work, new_folder(key_folder, mark=MARK) as key_work:
        for number in tqdm(range(1, students + 1), desc="class data sets", disable=None):
            issued = student_study(
                design, number, class_seed=class_seed, presets=presets, missing=missing
            )
            name = f"student-{number:02d}"
            _write_study(work / name, source, design, issued.study)
            rows.append({"student": number, "folder": name, **_answers(issued, primary)})
        key = AnswerKey(pd.DataFrame(rows), _recipe(source, students, class_seed, presets, missing))
        write_bytes(key_work / "answer_key.csv", table_bytes(key.key))
        write_text(key_work / "answer_key.json", key.to_json())
        write_text(key_work / "marking_sheet.html", marking_sheet(key.key))
    return key


def _primary(design: Design) -> Primary:
    primary = design.primary
    if primary is None or len(primary.groups) != 2:
        raise DesignError(
            "the plan has no primary comparison of two groups, so there is no answer to key",
            None,
            "add a [primary] section that names two groups",
        )
    return primary


def _write_study(folder: Path, source: Path, design: Design, study: Study) -> None:
    folder.mkdir()
    write_text(folder / "study.toml", source.read_text(encoding="utf-8-sig"))
    write_bytes(folder / design.files.trials, table_bytes(study.trials.table))
    for name, table in (
        (design.files.participants, study.participants),
        (design.files.ratings, study.ratings),
    ):
        if name is not None and table is not None:
            write_bytes(folder / name, table_bytes(table))


def _answers(issued: StudentStudy, primary: Primary) -> dict[str, object]:
    design, table = issued.study.design, issued.study.trials.table
    answer = primary_comparison(issued.study)
    if answer.refused:
        raise DesignError(
            "the primary comparison of a student's data could not be computed",
            [answer.refused],
            "plan more people in each group",
        )
    row = answer.primary.iloc[0]
    kept = ("estimate", "conf_low", "conf_high", "df", "p", "n_group", "n_reference")
    return {
        "seed": issued.seed,
        "preset": issued.preset,
        "true_effect": _true_ratio(issued, primary),
        **{name: row[name] for name in kept},
        "n_allocated": sum(entry.size or 0 for entry in design.groups),
        "void_trials": int((~counted_rows(table)).sum()),
        "answer": _answer(row, primary),
    }


def _true_ratio(issued: StudentStudy, primary: Primary) -> float:
    """Ratio of the true landing spreads of the two groups in the phase that is compared."""
    schedule = {entry.name: entry.schedule for entry in issued.study.design.groups}
    preset = find_preset(issued.preset)
    first, second = (preset.shift(primary.phase, schedule[name]) for name in primary.groups)
    return math.exp(first - second)


def _answer(row: pd.Series, primary: Primary) -> str:
    neutral = 1.0 if primary.effect == "ratio" else 0.0
    span = digits.interval(row["conf_low"], row["conf_high"], 2)
    group, reference = primary.groups
    start = (
        f"{primary.phase}, {group} against {reference}, {primary.effect} of {primary.outcome}: "
        f"{digits.number(row['estimate'], 2)} (95 % CI {span}; {digits.p_clause(row['p'])})"
    )
    if row["conf_low"] <= neutral <= row["conf_high"]:
        return f"{start}. The interval holds {neutral:g}: the data leave the direction open."
    side = "below" if row["estimate"] < neutral else "above"
    return f"{start}. The interval lies {side} {neutral:g}."


def _recipe(
    source: Path, students: int, class_seed: int, presets: Sequence[str], missing: bool
) -> Recipe:
    options = {"students": students, "presets": tuple(presets), "missing": missing}
    return Recipe(
        "class_data_sets",
        columns={"plan": source.name},
        options=options,
        n=students,
        seed=class_seed,
        engine="motorlearn.simulate_study",
    )
