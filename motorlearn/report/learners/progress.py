"""Each learner's tests, change, technique, sessions and next cue, from a study at any time."""

from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
import pandas as pd
from scipy import stats

from motorlearn.analysis.scores import OutcomeScores, hits_and_attempts, scores_of
from motorlearn.design import Design, Practice, Stage, stage_column, stages_of
from motorlearn.measures import IndividualChanges, individual_changes, wilson_interval
from motorlearn.report.learners.load import load_above_limits
from motorlearn.report.learners.session_scores import session_scores
from motorlearn.results import or_refused
from motorlearn.trials import Study
from motorlearn.trials.counted import counted_rows
from motorlearn.trials.study import study_or_refuse
from motorlearn.vocabulary import PRACTICE_PHASE

MOVED, FELL_BACK, UNCLEAR, STALLED, TOO_EARLY = "moved", "fell back", "unclear", "stalled", "early"
UNJUDGED = "not judged"
"""Standing of a learner: beyond own limits against the first test, or not, and since when; not
judged where the scores have no limits for one person."""

_TESTS_TO_STALL: Final = 3
_HITS: Final = ("hit", "hits", "hit_rate")


@dataclass(frozen=True)
class Learner:
    """What is known about one learner.

    Parameters
    ----------
    participant : str
        Identifier.
    tests : DataFrame
        ``stage, label, date, n, score, low, high``: tests taken, in their order; hits are counts
        and their limits are hits of the same number of attempts.
    since_first, since_last : Series or None
        Row of ``individual_changes`` against the first test taken, and against the one before.
    standing : str
        One of the words above.
    missed : tuple of str
        Tests others have taken and this learner has not.
    technique : DataFrame
        ``item, first, last, cue``: mean rating at the first and the last rated test.
    cue : str
        What to work on next; empty where nothing says so.
    attended, sessions : int
        Practice sessions this learner was at, of those recorded.
    pain, fatigue : DataFrame
        ``session, pain``: sessions with pain above 0; ``session, fatigue``: sessions for which
        fatigue was noted, the higher of before and after.
    met : tuple of str
        Drills whose criterion this learner has met.
    trials : int
        Trials practised in the sessions attended.
    by_session : DataFrame
        ``label, score`` of each session of a single case; empty for other plans.
    """

    participant: str
    tests: pd.DataFrame
    since_first: pd.Series | None = None
    since_last: pd.Series | None = None
    standing: str = TOO_EARLY
    missed: tuple[str, ...] = ()
    technique: pd.DataFrame = field(default_factory=pd.DataFrame)
    cue: str = ""
    attended: int = 0
    sessions: int = 0
    pain: pd.DataFrame = field(default_factory=pd.DataFrame)
    fatigue: pd.DataFrame = field(default_factory=pd.DataFrame)
    met: tuple[str, ...] = ()
    trials: int = 0
    by_session: pd.DataFrame = field(default_factory=pd.DataFrame)


@dataclass(frozen=True)
class Progress:
    """All learners of a study, and what the coach needs beside them.

    Parameters
    ----------
    design : Design
        The plan.
    outcome, unit, better : str
        Column that is followed, its unit, and its direction.
    stages : tuple of Stage
        Tests somebody has taken.
    learners : tuple of Learner
        By identifier.
    expected_by_chance : float
        Learners who would leave their limits between first and last test if nobody had changed.
    load : DataFrame
        ``participant, per, period, effort, trials, limit``: where somebody was above a limit of the
        plan, counting the sessions and tests that this learner was at.
    """

    design: Design
    outcome: str
    unit: str
    better: str
    stages: tuple[Stage, ...]
    learners: tuple[Learner, ...]
    expected_by_chance: float
    load: pd.DataFrame

    @property
    def counts_hits(self) -> bool:
        """Whether the outcome is hits of attempts."""
        return self.outcome in _HITS


def follow_learners(study: Study) -> Progress:
    """Put together what is known about each learner of a study, at any time of it.

    A change is judged by the one rule of the house, each learner's own limits
    (:func:`motorlearn.measures.individual_changes`). Before any data every learner is listed
    without tests.

    Parameters
    ----------
    study : Study
        A study that was read.

    Returns
    -------
    Progress

    Examples
    --------
    >>> import motorlearn as ml
    >>> progress = follow_learners(ml.read_study(ml.trials.shipped_study()))
    >>> progress.outcome, len(progress.learners) > 40
    ('radial_error', True)
    """
    design = study_or_refuse(study).design
    table = study.trials.table[counted_rows(study.trials.table)]
    if {"x", "y"} <= set(table) and "radial_error" not in table:
        table = table.assign(radial_error=np.hypot(table["x"], table["y"]))
    table = table.assign(stage=stage_column(table, design) if len(table) else "")
    table, outcome, unit, better = _followed(design, table)
    if outcome in table:
        table = table[table[outcome].notna()]
    taken = set(table["stage"])
    stages = tuple(s for s in stages_of(design) if s.phase != PRACTICE_PHASE and s.name in taken)
    cells = _cells(table[table["stage"].isin([s.name for s in stages])], outcome)
    changes = _Changes(table, outcome, better)
    learners = tuple(
        replace(
            _learner(person, cells, stages, study, changes),
            by_session=session_scores(study, person, outcome, unit),
        )
        for person in _people(study, table)
    )
    return Progress(
        design,
        outcome,
        unit,
        better,
        stages,
        learners,
        changes.by_chance(stages),
        load_above_limits(study),
    )


def _followed(design: Design, table: pd.DataFrame) -> tuple[pd.DataFrame, str, str, str]:
    """Rows and column of the primary outcome, else of the first, as the analysis finds them."""
    named = design.primary.outcome if design.primary else design.outcomes[0].name
    entry = design.outcome(named) or design.outcomes[0]
    if entry.name in _HITS and not entry.column:
        if not {"hits", "attempts"} <= set(table):
            return table, "hit", "", "higher"
        return table.assign(**hits_and_attempts(table)), "hits", "", "higher"
    found = or_refused(scores_of)(table, entry, design)
    if isinstance(found, OutcomeScores) and not found.measured:
        return found.table, found.column, entry.unit, entry.better
    if isinstance(found, OutcomeScores) and entry.has_target and not found.table.empty:
        told = f"absolute error of {entry.words}"
        return found.table.assign(**{told: found.table["error"].abs()}), told, entry.unit, "lower"
    if isinstance(found, OutcomeScores) and entry.name not in table and len(table):
        return _measured(found), entry.name, found.outcome.unit, entry.better
    column = entry.name if entry.name in table else "radial_error"
    return table, column, entry.unit, entry.better


def _measured(scores: OutcomeScores) -> pd.DataFrame:
    """One row for each person and test, where nothing but a score of all trials can be followed."""
    keys = ["participant", "stage"]
    cells = scores.cells(keys).rename(columns={"score": scores.outcome.name})
    told = [name for name in ("phase", "date") if name in scores.table]
    first = scores.table.groupby(keys, sort=False, observed=True)[told].first().reset_index()
    return cells.merge(first, on=keys)


def _people(study: Study, table: pd.DataFrame) -> list[str]:
    listed = [] if study.participants is None else study.participants["participant"].dropna()
    return sorted({*map(str, listed), *map(str, table["participant"].dropna())})


def _cells(table: pd.DataFrame, outcome: str) -> pd.DataFrame:
    """Score of each person in each test with its interval."""
    if outcome not in table or table.empty:
        return pd.DataFrame(columns=["participant", "stage", "n", "score", "low", "high", "date"])
    keys = ["participant", "stage"]
    grouped = table.groupby(keys, sort=False, observed=True)
    found = grouped[outcome].agg(n="count", total="sum", mean="mean", sd="std")
    if outcome in _HITS:
        n = grouped["attempts"].sum() if outcome == "hits" else found["n"]
        low, high = wilson_interval(found["total"].to_numpy(float), n.to_numpy(float))
        found = found.assign(n=n, score=found["total"], low=low * n, high=high * n)
    else:
        half = stats.t.ppf(0.975, np.maximum(found["n"] - 1, 1)) * found["sd"] / found["n"] ** 0.5
        found = found.assign(
            score=found["mean"], low=found["mean"] - half, high=found["mean"] + half
        )
        if "n_trials" in table:
            found = found.assign(n=grouped["n_trials"].sum())
    dates = grouped["date"].first() if "date" in table else pd.Series("", index=found.index)
    return found.assign(date=dates).reset_index()[[*keys, "n", "score", "low", "high", "date"]]


class _Changes:
    """Changes between two tests, judged once for everybody and kept."""

    def __init__(self, table: pd.DataFrame, outcome: str, better: str) -> None:
        self.table, self.outcome, self.better = table, outcome, better
        self.known: dict[tuple[str, str], IndividualChanges] = {}

    def between(self, first: str, second: str) -> IndividualChanges:
        """Everybody's change between two stages."""
        if (first, second) not in self.known:
            self.known[first, second] = individual_changes(
                self.table,
                self.outcome,
                tests=(first, second),
                better=self.better,
                phase="stage",
            )
        return self.known[first, second]

    def of(self, person: str, first: str, second: str) -> pd.Series:
        """One person's change between two stages."""
        people = self.between(first, second).people
        return people[people["participant"].astype("str") == person].iloc[0]

    def by_chance(self, stages: tuple[Stage, ...]) -> float:
        """Learners beyond their limits if nobody had changed, first against last test."""
        if len(stages) < 2:
            return 0.0
        return self.between(stages[0].name, stages[-1].name).expected_by_chance


def _learner(
    person: str,
    cells: pd.DataFrame,
    stages: tuple[Stage, ...],
    study: Study,
    changes: _Changes,
) -> Learner:
    mine = cells[cells["participant"].astype("str") == person].set_index("stage")
    taken = [stage for stage in stages if stage.name in mine.index]
    labels = {stage.name: stage.label for stage in taken}
    tests = mine.loc[[stage.name for stage in taken]].reset_index()
    tests.insert(1, "label", tests["stage"].map(labels).astype("object"))
    first = last = None
    if len(taken) >= 2:
        first = changes.of(person, taken[0].name, taken[-1].name)
        last = changes.of(person, taken[-2].name, taken[-1].name)
    technique, cue = _technique(person, study)
    return Learner(
        person,
        tests.drop(columns="participant"),
        first,
        last,
        _standing([first, last], len(taken)),
        tuple(stage.label for stage in stages if stage.name not in mine.index),
        technique,
        cue,
        **_sessions(person, study),
    )


def _standing(pairs: list[pd.Series | None], tests: int) -> str:
    first, last = pairs
    if first is None or last is None:
        return TOO_EARLY
    if "not computable" in (first["verdict"], last["verdict"]):
        return UNJUDGED
    if first["verdict"] == "better":
        return MOVED
    if "worse" in (first["verdict"], last["verdict"]):
        return FELL_BACK
    return STALLED if tests >= _TESTS_TO_STALL else UNCLEAR


def _technique(person: str, study: Study) -> tuple[pd.DataFrame, str]:
    """Mean rating of each item at the first and the last rated test, and the next cue."""
    ratings, design = study.ratings, study.design
    empty = pd.DataFrame(columns=["item", "first", "last", "cue"])
    if ratings is None or not {"participant", "phase", "item", "score"} <= set(ratings):
        return empty, ""
    mine = ratings[(ratings["participant"].astype("str") == person) & ratings["score"].notna()]
    if mine.empty:
        return empty, ""
    mine = mine.assign(stage=stage_column(mine, design))
    order = [stage.name for stage in stages_of(design) if stage.name in set(mine["stage"])]
    if not order:
        return empty, ""
    means = mine.pivot_table(index="item", columns="stage", values="score", aggfunc="mean")
    rows = pd.DataFrame(
        {
            "item": means.index.astype("str"),
            "first": means[order[0]].to_numpy(),
            "last": means[order[-1]].to_numpy(),
            "cue": [_cue(str(item), design) for item in means.index],
        }
    )
    lowest = rows.loc[rows["last"].idxmin()] if rows["last"].notna().any() else rows.iloc[0]
    best = design.checklist.high if design.checklist is not None else np.inf
    return rows, "" if lowest["last"] >= best else str(lowest["cue"])


def _cue(item: str, design: Design) -> str:
    """Cue of an item: its own, else those of the faults of its phase."""
    items = design.checklist.items if design.checklist is not None else ()
    entry = next((one for one in items if one.name == item), None)
    if entry is None:
        return ""
    faults = [
        f.cue for f in design.skill.faults if entry.phase and f.phase == entry.phase and f.cue
    ]
    return entry.cue or " / ".join(faults) or entry.name


def _practice(person: str, study: Study) -> tuple[Practice, ...]:
    """Sessions of the person's group."""
    people = study.trials.table if study.participants is None else study.participants
    mine = people[people["participant"].astype("str") == person]
    if "group" not in mine or mine.empty:
        return study.design.practice
    return study.design.practice_of(str(mine["group"].iloc[0]))


def _sessions(person: str, study: Study) -> dict[str, Any]:
    log = study.sessions
    if log is None or log.empty:
        return {}
    mine = log[log["participant"].astype("str") == person]
    there = mine[mine["present"] != 0] if "present" in mine else mine
    pain, tired = _scale(mine, "pain"), _scale(mine, "fatigue")
    dose = {session.session: session.trials for session in _practice(person, study)}
    met = [
        name.removeprefix(_MET)
        for name in mine
        if name.startswith(_MET) and (mine[name] == 1).any()
    ]
    return {
        "attended": len(there),
        "sessions": int(log["session"].nunique()),
        "pain": pain[pain["pain"] > 0].reset_index(drop=True),
        "fatigue": tired.dropna().reset_index(drop=True),
        "met": tuple(met),
        "trials": int(sum(dose.get(int(s), 0) for s in there["session"].dropna())),
    }


_MET: Final = "met: "


def _scale(log: pd.DataFrame, what: str) -> pd.DataFrame:
    """The higher of what was told before and after each session."""
    told = [name for name in (f"{what}_before", f"{what}_after") if name in log]
    worst = log[told].max(axis=1) if told else pd.Series(np.nan, index=log.index)
    return pd.DataFrame({"session": log["session"], what: worst})
