"""Technique beside the outcome: change of each item, and whether both move together."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from motorlearn.analysis.scores import OutcomeScores, scores_of
from motorlearn.analysis.staged import staged_trials
from motorlearn.design import Design, stage_column, stages_of
from motorlearn.exceptions import InputError
from motorlearn.measures import moving_together
from motorlearn.results import Recipe, Refused, Result, or_refused
from motorlearn.tables import Column, Table
from motorlearn.trials import Study
from motorlearn.vocabulary import PRACTICE_PHASE

TOTAL = "all items"
"""Name of the row for the mean of all items."""
LANDMARKS = "landmarks"
"""Source of scores that came from coordinates and not from a rater."""
EXPLORATORY = (
    "Exploratory: the tests were not planned for it. Within people, two scores that both rise with "
    "practice move together even where one has nothing to do with the other, so no p value stands "
    "beside that r. Apart from the common course: means of people and of tests taken out, p by "
    "permutation of people, interval by the jackknife over people. It does not say that one "
    "changes the other."
)
_LIMITS = (Column("conf_low", "lower", "number"), Column("conf_high", "upper", "number"))
TOGETHER = (
    Column("pair"),
    Column("n", kind="count"),
    Column("tests", kind="count"),
    Column("r_within", "r within people", "number"),
    Column("r", "r apart from the common course", "number"),
    *_LIMITS,
    Column("p", kind="p"),
)
"""Columns of what moves together."""


@dataclass(frozen=True)
class TechniqueChange(Result):
    """How technique changed from the first to the last rated test, and what moved with it.

    Attributes
    ----------
    items : DataFrame
        ``group, source, item, n, first, last, change, conf_low, conf_high``: mean over people,
        paired by person; ``all items`` is their mean. ``source`` tells raters from landmarks.
    together : DataFrame
        ``pair, n, tests, r_within, r, conf_low, conf_high, p``: technique and outcome within
        people; empty where there are too few people. Exploratory.
    tests : tuple of (str, str)
        First and last rated test, as a title has them.
    recipe : Recipe
        Options, and how many people were rated at both tests.
    """

    items: pd.DataFrame
    together: pd.DataFrame
    tests: tuple[str, str]
    recipe: Recipe

    def tables(self) -> list[Table]:
        """Change by item; what moves together."""
        numbers = tuple(Column(name, kind="number") for name in ("first", "last", "change"))
        by = [name for name in ("group", "source") if self.items[name].nunique() > 1]
        items = Table(
            "technique",
            f"Technique from {self.tests[0]} to {self.tests[1]}",
            (*map(Column, by), Column("item"), Column("n", kind="count"), *numbers, *_LIMITS),
            self.items,
            ("Mean of people rated at both tests; intervals are not corrected for many items.",),
        )
        if self.together.empty:
            return [items]
        title = "What moves together from test to test"
        return [items, Table("together", title, TOGETHER, self.together, (EXPLORATORY,))]


def technique_change(
    study: Study,
    *,
    ratings: pd.DataFrame | None = None,
    scores: OutcomeScores | None = None,
    level: float = 0.95,
    simulations: int = 1999,
    seed: int = 0,
) -> TechniqueChange:
    r"""Change of technique by item, and whether technique and outcome move together.

    The change of an item is the mean over people of last minus first rating, with the t interval
    :math:`\bar d \pm t\,s_d/\sqrt n`. Within people, technique and outcome are related by
    :func:`motorlearn.measures.moving_together`.

    Parameters
    ----------
    study : Study
        A study with ratings that name people and tests.
    ratings : DataFrame, optional
        Ratings with those from landmarks, as :func:`motorlearn.analysis.landmark_scores` gives
        them; by default the study's.
    scores : OutcomeScores, optional
        Outcome that technique stands beside; by default the plan's primary or first one.
    level : float
        Level of the intervals.
    simulations : int
        Permutations of people.
    seed : int
        Seed of the permutations.

    Raises
    ------
    InputError
        If nothing was rated at two tests.

    References
    ----------
    Bakdash, J. Z., & Marusich, L. R. (2017). Repeated measures correlation. *Frontiers in
    Psychology*, 8, 456. https://doi.org/10.3389/fpsyg.2017.00456
    """
    scores = primary_scores(study) if scores is None else scores
    ratings = _rated(study.ratings if ratings is None else ratings, study.design, scores.table)
    order = [stage for stage in stages_of(study.design) if stage.name in set(ratings["stage"])]
    if len(order) < 2:
        raise InputError(
            "technique was not rated at two tests",
            [stage.label for stage in order],
            "rate clips of two tests or more",
        )
    ends = order[0].name, order[-1].name
    keys = ["group", "source", "item", "participant", "stage"]
    by_item = ratings.groupby(keys, sort=False)["score"].mean().unstack("stage")
    total = by_item.groupby(["group", "source", "participant"], sort=False).mean()
    rows = [*_rows(by_item, ends, level), *_rows(total, ends, level)]
    technique = total.stack().rename("technique").reset_index()
    both = score_cells(scores).merge(_of_raters(technique), on=["participant", "stage"], how="left")
    pair = f"technique and {scores.outcome.label or scores.column}"
    return TechniqueChange(
        in_order(pd.DataFrame(rows), study.design),
        together(both, "technique", pair, level=level, simulations=simulations, seed=seed),
        (order[0].inside, order[-1].inside),
        Recipe(
            "technique_change",
            {"outcome": scores.column},
            {"level": level, "simulations": simulations},
            n=int(total[list(ends)].notna().all(axis=1).sum()),
            seed=seed,
            engine="paired t; permutation and jackknife of people",
        ),
    )


def primary_scores(study: Study) -> OutcomeScores:
    """Rows and columns of the plan's primary outcome, else of its first."""
    design = study.design
    named = design.primary.outcome if design.primary is not None else ""
    outcome = design.outcome(named) or design.outcomes[0]
    return scores_of(staged_trials(study), outcome, design)


def _rated(ratings: pd.DataFrame | None, design: Design, trials: pd.DataFrame) -> pd.DataFrame:
    """Ratings that name people and tests, with stage, group and source."""
    needed = {"participant", "phase", "item", "score"}
    if ratings is None or not needed <= set(ratings):
        raise InputError(
            "there are no ratings that name people and tests", None, "name files.ratings"
        )
    known = ratings[ratings["participant"].notna() & ratings["score"].notna()]
    groups = trials.drop_duplicates("participant").set_index("participant")["group"]
    source = known["source"].fillna("") if "source" in known else ""
    return known.assign(
        stage=stage_column(known, design),
        group=known["participant"].map(groups).astype("object").fillna(""),
        source=source,
    )


def _of_raters(technique: pd.DataFrame) -> pd.DataFrame:
    """Mean over sources of each person and test; raters alone where there are any."""
    sources = technique["source"].unique()
    if len(sources) > 1:
        technique = technique[technique["source"] != LANDMARKS]
    return technique.groupby(["participant", "stage"], as_index=False)["technique"].mean()


def _rows(wide: pd.DataFrame, ends: tuple[str, str], level: float) -> list[dict[str, Any]]:
    by = [name for name in wide.index.names if name != "participant"]
    return [
        {"item": TOTAL, **dict(zip(by, named)), **paired(part, ends, level)}
        for named, part in wide.groupby(level=by, sort=False)
    ]


def in_order(rows: pd.DataFrame, design: Design) -> pd.DataFrame:
    """Rows by group in the order of the plan, and by source; else as they came."""
    place = {name: number for number, name in enumerate(design.group_names)}
    by = ["order", *(["source"] if "source" in rows else [])]
    order = rows["group"].map(place).fillna(len(place))
    placed = rows.assign(order=order).sort_values(by, kind="stable", ignore_index=True)
    return placed.drop(columns="order")


def paired(part: pd.DataFrame, ends: tuple[str, str], level: float) -> dict[str, float]:
    """Mean change of people who have both scores, with its t interval."""
    both = part.reindex(columns=list(ends)).to_numpy(dtype=float)
    both = both[~np.isnan(both).any(axis=1)]
    change = both[:, 1] - both[:, 0]
    n = len(change)
    half = np.nan
    if n >= 2:
        half = stats.t.isf((1 - level) / 2, n - 1) * change.std(ddof=1) / np.sqrt(n)
    mean = float(change.mean()) if n else np.nan
    return {
        "n": n,
        "first": float(both[:, 0].mean()) if n else np.nan,
        "last": float(both[:, 1].mean()) if n else np.nan,
        "change": mean,
        "conf_low": mean - half,
        "conf_high": mean + half,
    }


def score_cells(scores: OutcomeScores) -> pd.DataFrame:
    """Outcome of each person at each test, practice left out: ``participant, group, stage``."""
    cells = scores.cells(["participant", "group", "stage", "phase"])
    cells = cells[cells["phase"] != PRACTICE_PHASE]
    return cells.drop(columns="phase").rename(columns={"score": "outcome"})


def together(
    both: pd.DataFrame, name: str, pair: str, *, level: float, simulations: int, seed: int
) -> pd.DataFrame:
    """What one score and the outcome have in common within people, as a frame of one row or none.

    Parameters
    ----------
    both : DataFrame
        ``participant, group, stage, outcome`` and the column `name`.
    name : str
        Column of the score.
    pair : str
        What the row is called.
    level, simulations, seed : float, int, int
        As for :func:`motorlearn.measures.moving_together`.
    """
    wide = [
        both.pivot_table(
            index=["group", "participant"], columns="stage", values=column, dropna=False
        )
        for column in (name, "outcome")
    ]
    people, tests = wide[1].index, wide[1].columns
    first, second = (w.reindex(index=people, columns=tests).to_numpy(float) for w in wide)
    found = or_refused(moving_together)(
        first,
        second,
        strata=people.get_level_values("group").to_numpy(),
        level=level,
        simulations=simulations,
        seed=seed,
    )
    rows = [] if isinstance(found, Refused) else [{"pair": pair, **vars(found)}]
    return pd.DataFrame(rows, columns=[column.name for column in TOGETHER])
