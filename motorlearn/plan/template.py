"""A commented plan to begin with, from a few answers."""

import json
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from motorlearn import files
from motorlearn.design import design_from_mapping
from motorlearn.design.contradictions import UNITS
from motorlearn.exceptions import FileError, InputError

SCHEDULES: Final = ("blocked", "serial", "random", "constant", "variable", "increasing")
_BETTER: Final = {"hit": "higher", "hits": "higher", "score": "higher", "speed": "higher"}
_TARGETED: Final = ("hit", "hits", "radial_error")


@dataclass(frozen=True)
class Answers:
    """What a new plan asks; every answer has a default that can be changed in the file.

    Parameters
    ----------
    title : str
        Title of the study.
    groups : tuple of str
        Groups; one that is named like a schedule gets it.
    size : int
        People in each group.
    tasks : tuple of str
        Task variants.
    sessions, blocks, trials : int
        Practice sessions, blocks in each, trials in each block.
    test_trials : int
        Trials in each test.
    retention_days : float
        Days from the last practice to the retention test.
    outcome, unit : str
        Primary outcome and its unit.
    radius : float
        Radius of the target.
    seed : int
        Seed of the allocation: choose it before the first person is enrolled.
    """

    title: str = "My practice study"
    groups: tuple[str, ...] = ("blocked", "random")
    size: int = 24
    tasks: tuple[str, ...] = ("straight", "bank", "lob")
    sessions: int = 2
    blocks: int = 6
    trials: int = 18
    test_trials: int = 30
    retention_days: float = 7
    outcome: str = "radial_error"
    unit: str = "cm"
    radius: float = 20
    seed: int = 1


def plan_text(answers: Answers) -> str:
    """Write a plan as commented TOML.

    Raises
    ------
    InputError
        If an answer cannot stand in a plan.

    Examples
    --------
    >>> print(plan_text(Answers(title="Ring push")).splitlines()[4])
    title = "Ring push"
    """
    refuse_unusable(answers)
    parts = (
        _head(answers),
        _groups(answers),
        *(_TASK.format(name=toml_text(task)) for task in answers.tasks),
        *(_practice(answers, session) for session in range(1, answers.sessions + 1)),
        _tests(answers),
        _outcomes(answers),
        _rules(answers),
    )
    text = "\n".join(parts)
    return checked_plan(text)


def checked_plan(text: str) -> str:
    """Give back the text of a plan that can be read.

    Raises
    ------
    InputError
        If the answers do not make a plan.
    """
    design_from_mapping(tomllib.loads(text), place="study.toml")
    return text


def refuse_unusable(answers: Answers) -> None:
    """Refuse answers that no plan can hold.

    Raises
    ------
    InputError
        If a number is below 1 or there is no group.
    """
    counts = ("size", "sessions", "blocks", "trials", "test_trials")
    bad = [name for name in counts if getattr(answers, name) < 1]
    if bad or not answers.groups:
        raise InputError("an answer is not usable", bad or ["no group"], "give 1 or more")


def write_plan(
    folder: str | Path,
    answers: Answers,
    *,
    notebooks: Iterable[str | Path] = (),
    text: str | None = None,
) -> Path:
    """Write ``study.toml`` into a folder, and copy notebooks beside it.

    Parameters
    ----------
    folder : path-like
        Folder to make, or one without a plan.
    answers : Answers
        What the plan says.
    notebooks : iterable of path-like
        Notebooks to copy into ``notebooks``; they then look for this study.
    text : str, optional
        The plan, where it is not the one that follows from the answers.

    Returns
    -------
    Path
        The plan.

    Raises
    ------
    FileError
        If the folder holds a plan already, or a notebook cannot be read.
    """
    place = Path(folder)
    files.real_place(place)
    plan = place / "study.toml"
    if plan.exists():
        raise FileError("there is a plan already", [str(plan)], "name a new folder")
    text = plan_text(answers) if text is None else text
    copies = {Path(notebook).name: _for_this_study(Path(notebook)) for notebook in notebooks}
    theirs = [name for name, copy in copies.items() if _differs(place / "notebooks" / name, copy)]
    if theirs:
        raise FileError(
            "there are other notebooks of these names already", theirs, "name a new folder"
        )
    files.ensured_folder(place / "notebooks" if copies else place)
    for name, copy in copies.items():
        files.write_text(place / "notebooks" / name, copy)
    # The plan comes last: a run that was stopped can be run again, as there is no plan yet.
    return files.write_text(plan, text)


def toml_text(value: str) -> str:
    """Write a string as TOML; its basic strings are those of JSON."""
    return json.dumps(value, ensure_ascii=False)


def _differs(place: Path, copy: str) -> bool:
    """Whether a file is there that is not this copy."""
    return place.exists() and place.read_bytes() != copy.encode("utf-8")


def _for_this_study(notebook: Path) -> str:
    """Let a copied notebook read the study it lies in; outputs of the shipped study are dropped."""
    try:
        content = json.loads(notebook.read_text(encoding="utf-8"))
        for cell in content["cells"]:
            _look_here(cell)
    except (OSError, ValueError, LookupError, TypeError, AttributeError, RecursionError) as problem:
        raise FileError(
            "this is not a notebook", [str(notebook)], "take it as JupyterLab saved it"
        ) from problem
    return json.dumps(content, indent=1, ensure_ascii=False) + "\n"


def _look_here(cell: dict[str, Any]) -> None:
    if cell["cell_type"] == "code":
        cell["outputs"], cell["execution_count"] = [], None
    if "parameters" in cell.get("metadata", {}).get("tags", ()):
        lines = [
            'study_folder = ".."' if line.startswith("study_folder") else line
            for line in "".join(cell["source"]).splitlines()
        ]
        cell["source"] = "\n".join(lines)


def _head(answers: Answers) -> str:
    quantity = next((name for name, units in UNITS.items() if answers.unit in units), None)
    line = 'length = "cm"' if quantity is None else f"{quantity} = {toml_text(answers.unit)}"
    return _HEAD.format(title=toml_text(answers.title), unit=line)


def _groups(answers: Answers) -> str:
    return "\n".join(
        _GROUP.format(
            name=toml_text(name),
            schedule=toml_text(name if name in SCHEDULES else "own"),
            size=answers.size,
        )
        for name in answers.groups
    )


def _practice(answers: Answers, session: int) -> str:
    return _PRACTICE.format(
        session=session, day=session - 1, a=answers, every=1 if session == 1 else 2
    )


def _tests(answers: Answers) -> str:
    several = len({name for name in answers.groups if name in SCHEDULES}) > 1
    halves = several and len(answers.tasks) > 1 and answers.test_trials % 2 == 0
    order = "blocked-and-random" if halves else "random"
    return _TESTS.format(a=answers, order=toml_text(order))


def _outcomes(answers: Answers) -> str:
    better = _BETTER.get(answers.outcome, "lower")
    unit = "" if answers.outcome in ("hit", "hits") else answers.unit
    text = _OUTCOME.format(
        name=toml_text(answers.outcome), unit=toml_text(unit), better=toml_text(better)
    )
    if answers.outcome in _TARGETED and answers.outcome != "hit":
        text += _HIT
    if answers.outcome in _TARGETED:
        text += _TARGET.format(radius=f"{answers.radius:g}")
    pair = [answers.groups[-1], answers.groups[0]] if len(answers.groups) > 1 else []
    return text + _PRIMARY.format(
        outcome=toml_text(answers.outcome), groups=json.dumps(pair, ensure_ascii=False)
    )


def _rules(answers: Answers) -> str:
    method = "blocks" if len(answers.groups) > 1 else "none"
    return _RULES.format(a=answers, method=toml_text(method), size=2 * len(answers.groups))


_HEAD: Final = """# The plan of a practice study. Lines that begin with # are remarks.
# Check it with:  motorlearn audit FOLDER
# Days count from the first practice session, which is day 0.
[study]
title = {title}
question = ""          # a contrast: which outcome, which test, which groups, adjusted for what
ethics_approval = ""   # committee and number; ask before the first person is enrolled
registration = ""      # where the plan is registered, before the first data

[skill]
name = ""
timing = "discrete"      # discrete, serial or continuous
environment = "closed"   # open or closed
movement = "gross"       # gross or fine

[sample]
include = []             # who may take part
exclude = []
# age_low = 18
# minors = false         # true where people under 18 take part: guardian and assent

[units]
{unit}
"""
_GROUP: Final = """[[groups]]
name = {name}
schedule = {schedule}    # blocked, serial, random, constant, variable, increasing or own
size = {size}            # to be planned with: motorlearn power FOLDER
"""
_TASK: Final = """[[tasks]]
name = {name}
description = ""         # how it differs from the others in movement, not only in size
"""
_PRACTICE: Final = """[[practice]]
session = {session}
day = {day}
# groups = ["random"]     # whose session it is, where groups practise differently
blocks = {a.blocks}
trials_per_block = {a.trials}
feedback = ""            # what is told, and by whom
feedback_every = {every}       # after every so many trials; 0 for none
"""
_TESTS: Final = """# Tests are given without feedback. A test inside the programme is "progress";
# one straight after practice is "posttest"; only a test after a gap is "retention".
[[tests]]
phase = "pretest"
day = 0
trials = {a.test_trials}
# blinded = true         # true where the tester does not know the groups, false where they do

[[tests]]
phase = "posttest"
interval_days = 0
trials = {a.test_trials}

[[tests]]
phase = "retention"
interval_days = {a.retention_days:g}
window_days = 1          # days it may be early or late
trials = {a.test_trials}
order = {order}

[[tests]]
phase = "transfer"
interval_days = {a.retention_days:g}
trials = {a.test_trials}
# description = "..."    # how it differs from the retention test: distance, target, condition
"""
_OUTCOME: Final = """[[outcomes]]
name = {name}
unit = {unit}
better = {better}
"""
_HIT: Final = """
[[outcomes]]
name = "hit"
better = "higher"
low = 0
high = 1
"""
_TARGET: Final = """
[target]
radius = {radius}
"""
_PRIMARY: Final = """
# The one comparison the study stands on, declared before the data.
[primary]
outcome = {outcome}
phase = "retention"
groups = {groups}        # first minus second
baseline = "pretest"
effect = "difference"    # or "ratio"
model = "ancova"         # or "linear mixed", "binomial mixed"

# [smallest_effect]
# value = 2.0            # in raw units: the smallest effect that would matter, with the reason
# unit = "score"         # or "sd": standard deviations, pooled within groups at that test
# reason = ""

# What the sample size rests on; take it from a pilot or a comparable study, with the source.
# [assumptions]
# baseline = 38.0        # mean before practice (for hits: the hit rate)
# between_sd = 6.5       # between people (for hits: on the log-odds scale)
# within_sd = 15.0       # between trials of one person
# gain = 12.0            # improvement by the end of practice
# attrition = 0.1
# source = ""
"""
_RULES: Final = """# Which data are left out, decided now.
[[exclusions]]
rule = "trials with a void reason are not scored"
reason = ""

[[stopping]]
rule = "pain, numbness or loss of control"
action = "stop the session; go on only when a health professional agrees"

# Your own limits of load, each with its source; the toolkit knows no safe number.
# [[load.limits]]
# trials = 150
# per = "week"           # session, day or week
# effort = "any"         # or "maximal"
# source = ""

[schedules]
max_run = 2              # longest run of one task in a random order

[allocation]
unit = "participant"     # what is allocated; a class or team must be analysed as such
method = {method}
strata = []
block_size = {size}
seed = {a.seed}          # choose it before the first person is enrolled

[files]
trials = "trials.csv"
participants = "participants.csv"
"""
