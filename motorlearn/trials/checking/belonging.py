"""Whether the files hold what the plan's comparison goes by: groups, and covariates of people."""

import numpy as np
import pandas as pd

from motorlearn.design import Design
from motorlearn.trials.checking.problems import gather, problem_frame
from motorlearn.trials.reading.identifiers import near_duplicates, plain_identifier
from motorlearn.trials.reading.sheet import Sheet

LIST = 'participants = "participants.csv"'
"""Line of ``[files]`` that names the list of people."""


def check_belonging(trials: Sheet, people: Sheet | None, design: Design) -> pd.DataFrame:
    """Find what the planned comparison needs and no file holds.

    A plan of several groups needs each person's group (or level of both factors), among the
    trials or the participants; covariates of the primary comparison likewise.
    """
    sheets = [trials] if people is None else [trials, people]
    return gather(
        [
            _groups(sheets, people, design),
            _covariates(sheets, people, design),
            _alone(trials, design),
            *(alike_groups(sheet) for sheet in sheets),
        ]
    )


def _groups(sheets: list[Sheet], people: Sheet | None, design: Design) -> pd.DataFrame:
    alone = len(design.groups) < 2 or design.within is not None or design.single_case is not None
    named = [factor.name for factor in design.factors]
    told = any(sheet.has("group") for sheet in sheets)
    crossed = bool(named) and all(sheets[0].has(name) for name in named)
    if alone or told or crossed:
        return gather([])
    return problem_frame(
        "no file says who is in which group",
        severity="error",
        file=sheets[0].file,
        column="group",
        value=", ".join(design.group_names),
        advice=_where("'group' with the groups of the plan", people),
    )


def _alone(trials: Sheet, design: Design) -> pd.DataFrame:
    """Groups of one person while others have several: their spread cannot be told."""
    if len(design.groups) < 2 or design.within is not None or not trials.has("group"):
        return gather([])
    people = trials.table.reset_index(drop=True).drop_duplicates(["participant", "group"])
    sizes = people["group"].value_counts()
    few = [group for group, n in sizes.items() if n == 1 and sizes.max() > 2]
    first = people[people["group"].isin(few)]
    return trials.problems(
        "one person in a group",
        np.asarray(first.index, dtype=int),
        column="group",
        values=[f"{a} alone in {b}" for a, b in zip(first["participant"], first["group"])],
        severity="doubt",
        advice="nothing can be said about the spread of that group, and its mean is one person's; "
        "add people, or compare the groups that have some",
    )


def alike_groups(sheet: Sheet) -> pd.DataFrame:
    """Groups that may be one, written differently: ``random`` and ``Random``, or ``rndom``.

    A letter more, less or other makes two names alike only where one group has less than half the
    people of the other: a slip touches few rows, and plans may compare typical and atypical.
    """
    if not sheet.has("group"):
        return gather([])
    people = sheet.table.reset_index(drop=True).drop_duplicates(["participant", "group"])
    people = people[people["group"].notna()]
    sizes = people["group"].astype("str").value_counts()
    names = [str(name) for name in sizes.index]
    found = {
        names[place]: like
        for place, others in near_duplicates(names)
        if (like := [names[n] for n in others if _one_group(names[place], names[n], sizes)])
    }
    first = people.drop_duplicates("group")
    first = first[first["group"].astype("str").isin(list(found))]
    return sheet.problems(
        "groups of much the same name",
        np.asarray(first.index, dtype=int),
        column="group",
        values=[f"{name} (n = {sizes[name]})" for name in first["group"].astype("str")],
        severity="doubt",
        advice=[
            f"resembles {', '.join(repr(other) for other in found[name])}: one group or two? "
            "Nothing was merged; where it is one, give both the same name in import.levels.group "
            "(motorlearn import --groups), or in the file"
            for name in first["group"].astype("str")
        ],
    )


def _one_group(small: str, large: str, sizes: pd.Series) -> bool:
    """Whether the first, rarer name may be a slip of the second."""
    if sizes[small] > sizes[large] or (sizes[small] == sizes[large] and small < large):
        return False
    return plain_identifier(small) == plain_identifier(large) or 2 * sizes[small] < sizes[large]


def _covariates(sheets: list[Sheet], people: Sheet | None, design: Design) -> pd.DataFrame:
    wanted = design.primary.covariates if design.primary is not None else ()
    absent = [name for name in wanted if not any(sheet.has(name) for sheet in sheets)]
    return gather(
        [
            problem_frame(
                "covariate of the plan in no file",
                severity="error",
                file=sheets[-1].file,
                column=name,
                value=name,
                advice=f"{_where(f'{name!r}', people)}, or correct primary.covariates",
            )
            for name in absent
        ]
    )


def _where(column: str, people: Sheet | None) -> str:
    if people is not None:
        return f"add a column {column} to {people.file}"
    return f"name the list of people in study.toml ([files] {LIST}), or add a column {column}"
