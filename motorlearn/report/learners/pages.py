"""A page for each learner, and the overview for the coach."""

import re
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
from jinja2 import Environment, FileSystemLoader

from motorlearn import digits
from motorlearn.digits import count
from motorlearn.files import new_folder, write_text
from motorlearn.report.learners.picture import tests_picture
from motorlearn.report.learners.progress import (
    FELL_BACK,
    MOVED,
    STALLED,
    TOO_EARLY,
    UNCLEAR,
    UNJUDGED,
    Learner,
    Progress,
    follow_learners,
)
from motorlearn.trials import Study
from motorlearn.vocabulary import STANDING_CAUTION, capitalised
from motorlearn.wording.learners import (
    UNSEEN,
    attended_words,
    change_words,
    range_words,
    score_words,
)
from motorlearn.wording.voice import listed

MARK: Final = "overview.html"
_NOTED: Final = {
    "sessions": "Sessions", "pain": "Pain", "met": "Criteria met", "cue": "Next cue",
}  # fmt: skip
"""Columns of the overview that are there where anything was noted."""
STANDINGS: Final = {
    MOVED: "clear gain",
    FELL_BACK: "clear loss",
    STALLED: "no clear change in three tests or more",
    UNCLEAR: "no clear change yet",
    TOO_EARLY: "too early to say",
    UNJUDGED: "cannot be judged",
}
RANGE_NOTE: Final = (
    "A test is a sample of what you can do. Your level may lie anywhere in the range on the right "
    "(95 % interval from your own tries)."
)
RULE: Final = (
    "Limits are 95 % intervals. A change counts as clear where the interval of the learner's own "
    "change leaves out zero (hits: Newcombe's interval from the learner's own hits and attempts; "
    "scores: Welch's interval from the learner's own trials). The group's spread is not used: the "
    "noise of a count follows from the learner's own rate and attempts, and differs between 1 and "
    "10 hits of 20. Variation from day to day is not in these limits. One pair of tests does not "
    "tell who responds to a programme."
)
PAIN: Final = "Pain, numbness or loss of control: stop, and tell your coach."
_HERE = Path(__file__).parent / "templates"
_ENGINE = Environment(loader=FileSystemLoader(_HERE), autoescape=True, trim_blocks=True)


def write_learner_pages(study: Study, folder: str | Path) -> Path:
    """Write one printable page for each learner and an overview for the coach.

    Can be called at any time: before any data the pages say that no test was taken. A learner's
    page names nobody else and compares with nobody else.

    Parameters
    ----------
    study : Study
        What :func:`motorlearn.read_study` gave.
    folder : path-like
        Folder to make, or to replace where earlier pages are in it: ``overview.html`` and
        ``learners/IDENTIFIER.html``.

    Returns
    -------
    Path
        The overview.

    Raises
    ------
    FileError
        If the folder is somebody else's.
    InputError
        If an outcome holds impossible values.

    Examples
    --------
    >>> import tempfile
    >>> import motorlearn as ml
    >>> study = ml.read_study(ml.trials.shipped_study())
    >>> page = write_learner_pages(study, tempfile.mkdtemp() + "/pages")
    >>> page.name, len(list((page.parent / "learners").iterdir())) > 40
    ('overview.html', True)
    """
    progress = follow_learners(study)
    pages = {
        f"learners/{name}.html": learner_page(learner, progress)
        for name, learner in _named(progress.learners).items()
    }
    with new_folder(folder, mark=MARK) as work:
        (work / "learners").mkdir()
        for name, text in {**pages, MARK: overview_page(progress)}.items():
            write_text(work / name, text)
    return Path(folder) / MARK


def learner_page(learner: Learner, progress: Progress) -> str:
    """Write the page of one learner; nobody else is named or compared with."""
    name = progress.outcome.replace("_", " ")
    ranged = learner.tests.empty or learner.tests["low"].notna().any()
    return _ENGINE.get_template("learner.html.j2").render(
        title=progress.design.study.title,
        learner=learner,
        rows=_rows(learner, progress),
        heading="Hits" if progress.counts_hits else f"Mean {name}" if ranged else capitalised(name),
        range_note=RANGE_NOTE if ranged else "",
        picture=tests_picture(learner, progress),
        sentences=_changes(learner, progress),
        items=_items(learner, progress),
        scale=f"Each item: {progress.design.checklist.meaning}."
        if progress.design.checklist
        else "",
        practice=_practice(learner),
        caution=PAIN,
        style=_style("page.css"),
    )


def overview_page(progress: Progress) -> str:
    """Write the overview for the coach."""
    rows = [_overview_row(learner, progress) for learner in progress.learners]
    noted = {key: label for key, label in _NOTED.items() if any(row[key] for row in rows)}
    return _ENGINE.get_template("overview.html.j2").render(
        title=progress.design.study.title,
        labels=[stage.label for stage in progress.stages],
        rows=rows,
        noted=noted,
        summary=_summary(progress),
        parts=_parts(progress),
        rule=RULE,
        caution=f"{PAIN} {STANDING_CAUTION}",
        style=_style("page.css", "overview.css"),
    )


def _style(*names: str) -> str:
    return "\n".join((_HERE / name).read_text(encoding="utf-8") for name in names)


def _named(learners: tuple[Learner, ...]) -> dict[str, Learner]:
    """File names from identifiers; two that would share one are numbered."""
    found: dict[str, Learner] = {}
    for learner in learners:
        name = re.sub(r"[^\w-]+", "_", learner.participant) or "learner"
        taken = {key.lower() for key in found}
        found[name if name.lower() not in taken else f"{name}_{len(found) + 1}"] = learner
    return found


def _rows(learner: Learner, progress: Progress) -> list[dict[str, str]]:
    told: dict[str, Any] = {"hits": progress.counts_hits, "unit": progress.unit}
    return [
        {
            "label": row.label,
            "date": "" if pd.isna(row.date) else str(row.date)[:10],
            "score": score_words(row.score, row.n, **told),
            "range": range_words(row.low, row.high, row.n, **told),
        }
        for row in learner.tests.itertuples()
    ]


def _changes(learner: Learner, progress: Progress) -> list[str]:
    tests = learner.tests
    if tests.empty:
        return []
    if len(tests) == 1:
        return ["This is where you start. What changes can be seen after the next test."]
    told: dict[str, Any] = {"hits": progress.counts_hits, "unit": progress.unit}
    labels = [f"{str(label)[:1].lower()}{str(label)[1:]}" for label in tests["label"]]
    said = []
    if learner.since_first is not None:
        said.append(change_words(learner.since_first, labels[0], labels[-1], **told))
    if learner.since_last is not None and len(tests) > 2:
        said.append(change_words(learner.since_last, labels[-2], labels[-1], **told))
    pairs = [row for row in (learner.since_first, learner.since_last) if row is not None]
    if any(row["verdict"] == "within noise" for row in pairs):
        said.append(UNSEEN)
    return said


def _items(learner: Learner, progress: Progress) -> list[dict[str, str]]:
    best = f" of {progress.design.checklist.high}" if progress.design.checklist else ""
    return [
        {
            "item": row.item,
            "first": digits.number(row.first, 1) + best if pd.notna(row.first) else "not rated",
            "last": digits.number(row.last, 1) + best if pd.notna(row.last) else "not rated",
        }
        for row in learner.technique.itertuples()
    ]


def _practice(learner: Learner) -> list[str]:
    said = []
    if learner.sessions:
        said.append(attended_words(learner.attended, learner.sessions, learner.trials))
    if learner.met:
        said.append(f"You have met the goal of: {listed(learner.met)}.")
    if not learner.pain.empty:
        last = learner.pain.iloc[-1]
        said.append(
            f"You told of pain at session {last['session']:.0f} ({last['pain']:.0f} of 10)."
        )
    return said


def _overview_row(learner: Learner, progress: Progress) -> dict[str, Any]:
    told: dict[str, Any] = {"hits": progress.counts_hits, "unit": progress.unit}
    taken = {row.stage: row for row in learner.tests.itertuples()}
    scores = [
        score_words(taken[s.name].score, taken[s.name].n, **told) if s.name in taken else "–"
        for s in progress.stages
    ]
    pain = learner.pain["pain"].max() if not learner.pain.empty else None
    look = learner.standing in (FELL_BACK, STALLED) or pain is not None
    return {
        "participant": learner.participant,
        "scores": scores,
        "first": _change(learner.since_first, progress),
        "last": _change(learner.since_last, progress) if len(learner.tests) > 2 else "",
        "standing": STANDINGS[learner.standing],
        "sessions": f"{learner.attended} of {learner.sessions}" if learner.sessions else "",
        "pain": "" if pain is None else f"{pain:.0f} of 10",
        "met": ", ".join(learner.met),
        "cue": learner.cue,
        "mark": "look" if look else "",
    }


def _change(row: pd.Series | None, progress: Progress) -> str:
    if row is None or pd.isna(row["change"]):
        return ""
    scale = float(row["n_second"]) if progress.counts_hits else 1.0
    low, high = float(row["conf_low"]) * scale, float(row["conf_high"]) * scale
    places = 1 if progress.counts_hits else 2
    change = digits.number(float(row["change"]) * scale, places)
    space = f" {progress.unit}" if progress.unit else ""
    if not np.isfinite(low):
        return f"{change}{space}"
    return f"{change} [{digits.number(low, places)} to {digits.number(high, places)}]{space}"


def _summary(progress: Progress) -> list[str]:
    if not progress.stages and progress.design.single_case is not None:
        return ["The plan compares sessions and not tests; the report shows them as a graph."]
    if not progress.stages:
        return ["No test has been taken yet."]
    changed = [one for one in progress.learners if one.since_first is not None]
    judged = [one for one in changed if one.standing != UNJUDGED]
    said = [f"Tests so far: {listed([stage.label for stage in progress.stages])}."]
    if changed and not judged:
        said.append("These scores have no limits for one person, so no change is judged.")
    if judged:
        chance = digits.number(progress.expected_by_chance, 1)
        moved = sum(one.standing == MOVED for one in judged)
        said.append(
            f"Of {len(judged)} learners with two tests or more, {moved or 'none'} "
            f"{'shows' if moved < 2 else 'show'} a clear gain since the first test; if "
            f"nobody had changed, chance alone would put about {chance} "
            "beyond their limits, half of them upwards."
        )
    return said


def _parts(progress: Progress) -> list[dict[str, Any]]:
    learners = progress.learners
    absent = [f"{one.participant}: {listed(one.missed)}" for one in learners if one.missed]
    seldom = [
        f"{one.participant}: at {one.attended} of {one.sessions} sessions"
        for one in learners
        if one.attended < one.sessions
    ]
    pain = [
        f"{one.participant}: {row.pain:.0f} of 10 at session {row.session:.0f}"
        for one in learners
        for row in one.pain.itertuples()
    ]
    load = [
        f"{row.participant}: {count(row.trials, 'trial')}{_EFFORTS[row.effort]} "
        f"{_PERIODS[row.per].format(row.period)}, limit {row.limit:.0f}"
        for row in progress.load.itertuples()
    ]
    return [
        {"title": "Tests not taken", "lines": absent, "none": "Everybody took every test so far."},
        {"title": "Absent from sessions", "lines": seldom, "none": "Nobody, as far as noted."},
        {"title": "Pain", "lines": pain, "none": "None noted. Ask all the same."},
        {"title": "Fatigue", "lines": _fatigue(learners), "none": "None noted."},
        {"title": "Load above the limit", "lines": load, "none": _no_load(progress)},
        {"title": "Criteria of the drills", "lines": _criteria(progress), "none": "None noted."},
    ]


def _no_load(progress: Progress) -> str:
    if not progress.design.load.limits:
        return "The plan has no limit, so none was checked."
    return "Nobody was above it in the sessions and tests they were at."


_EFFORTS: Final = {"any": "", "maximal": " at maximal effort"}
_PERIODS: Final = {"session": "in {}", "day": "on day {:.0f}", "week": "in week {:.0f}"}
_MOST_TIRED: Final = 5


def _fatigue(learners: tuple[Learner, ...]) -> list[str]:
    """The most tired first; from which number on it is too much is for the coach to say."""
    noted = [one for one in learners if len(one.fatigue)]
    noted.sort(key=lambda one: -float(one.fatigue["fatigue"].mean()))
    return [
        f"{one.participant}: {digits.number(one.fatigue['fatigue'].mean(), 1)} of 10 on average, "
        f"{one.fatigue['fatigue'].max():.0f} at most"
        for one in noted[:_MOST_TIRED]
    ]


def _criteria(progress: Progress) -> list[str]:
    asked = [drill for drill in progress.design.drills if drill.advance_when]
    said = []
    for drill in asked:
        there = [one for one in progress.learners if one.sessions]
        open_ = [one.participant for one in there if drill.name not in one.met]
        if there:
            done = len(there) - len(open_)
            rest = f"; not yet: {', '.join(open_)}" if open_ and done else ""
            said.append(f"{drill.name} ({drill.advance_when}): {done} of {len(there)}{rest}")
    return said
