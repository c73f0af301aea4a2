"""Technique beside the outcome: change of each item, whether both move together, and speed."""

import warnings
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pingouin
from scipy import stats

from motorlearn.analysis.scores import scores_of
from motorlearn.design import Design, Outcome, stage_column, stages_of
from motorlearn.exceptions import InputError
from motorlearn.measures import score_trials
from motorlearn.results import Recipe, Result
from motorlearn.tables import Column, Table
from motorlearn.trials import Study, counted_rows
from motorlearn.vocabulary import PRACTICE_PHASE

_HITS = ("hit", "hits", "hit_rate")
_FEWEST = 3
EXPLORATORY = (
    "Exploratory: the tests were not planned for it, and moving together does not say that one "
    "changes the other; both may rise with practice."
)


@dataclass(frozen=True)
class TechniqueChange(Result):
    """How technique changed from the first to the last rated test, and what moved with it.

    Attributes
    ----------
    items : DataFrame
        ``item, n, first, last, change, conf_low, conf_high``: mean over people, paired by person;
        ``total`` is the mean of all items.
    together : DataFrame
        ``pair, n, r, df, conf_low, conf_high, p``: correlation within people of the technique total
        and the outcome, and of speed and the outcome, over tests. Exploratory.
    speed : DataFrame
        ``n, first, last, change, conf_low, conf_high``: change of mean speed; empty without speed.
    tests : tuple of (str, str)
        First and last rated test.
    recipe : Recipe
        Options, and how many people were rated at both tests.
    """

    items: pd.DataFrame
    together: pd.DataFrame
    speed: pd.DataFrame
    tests: tuple[str, str]
    recipe: Recipe

    def tables(self) -> list[Table]:
        """Change by item; what moves together."""
        limits = (Column("conf_low", "lower", "number"), Column("conf_high", "upper", "number"))
        numbers = tuple(Column(name, kind="number") for name in ("first", "last", "change"))
        items = Table(
            "technique",
            f"Technique from {self.tests[0]} to {self.tests[1]}",
            (Column("item"), Column("n", kind="count"), *numbers, *limits),
            self.items,
        )
        if self.together.empty:
            return [items]
        columns = (Column("pair"), Column("n", kind="count"), Column("r", kind="number"))
        both = Table(
            "together",
            "What moves together within people, from test to test",
            (*columns, *limits, Column("p", kind="p")),
            self.together,
            (EXPLORATORY,),
        )
        return [items, both]


def technique_change(study: Study, *, level: float = 0.95) -> TechniqueChange:
    r"""Change of technique by item, and whether technique, speed and outcome move together.

    The change of an item is the mean over people of last minus first rating, with the t interval
    :math:`\bar d \pm t\,s_d/\sqrt n`. Within people, technique and outcome are related by the
    repeated-measures correlation (parallel lines, one for each person), computed by pingouin.

    Parameters
    ----------
    study : Study
        A study with ratings that name people and tests.
    level : float
        Level of the intervals.

    Raises
    ------
    InputError
        If nothing was rated at two tests.

    References
    ----------
    Bakdash, J. Z., & Marusich, L. R. (2017). Repeated measures correlation. *Frontiers in
    Psychology*, 8, 456. https://doi.org/10.3389/fpsyg.2017.00456
    """
    ratings = _rated(study)
    order = [stage for stage in stages_of(study.design) if stage.name in set(ratings["stage"])]
    if len(order) < 2:
        raise InputError(
            "technique was not rated at two tests",
            [stage.label for stage in order],
            "rate clips of two tests or more",
        )
    ends = order[0].name, order[-1].name
    by_item = ratings.groupby(["item", "participant", "stage"])["score"].mean().unstack("stage")
    total = by_item.groupby("participant").mean()
    rows = [{"item": name, **_paired(part, ends, level)} for name, part in by_item.groupby("item")]
    rows.append({"item": "total", **_paired(total, ends, level)})
    scores = _scores(study)
    technique = total.stack().rename("technique").reset_index()
    both = scores.merge(technique, on=["participant", "stage"], how="left")
    pairs = [_correlated(both, "technique"), _correlated(both, "speed")]
    names = ["pair", "n", "r", "df", "conf_low", "conf_high", "p"]
    recipe = Recipe(
        "technique_change", options={"level": level}, n=int(rows[-1]["n"]), engine="pingouin"
    )
    return TechniqueChange(
        pd.DataFrame(rows),
        pd.DataFrame([pair for pair in pairs if pair], columns=names),
        _speed(scores, study.design, level),
        (order[0].label, order[-1].label),
        recipe,
    )


def _rated(study: Study) -> pd.DataFrame:
    ratings = study.ratings
    needed = {"participant", "phase", "item", "score"}
    if ratings is None or not needed <= set(ratings):
        raise InputError(
            "there are no ratings that name people and tests", None, "name files.ratings"
        )
    known = ratings[ratings["participant"].notna() & ratings["score"].notna()]
    return known.assign(stage=stage_column(known, study.design))


def _paired(part: pd.DataFrame, ends: tuple[str, str], level: float) -> dict[str, float]:
    """Mean change of people who have both, with its t interval."""
    both = part.reindex(columns=list(ends)).dropna()
    change = both[ends[1]] - both[ends[0]]
    n = len(change)
    half = np.nan
    if n >= 2:
        half = stats.t.ppf((1 + level) / 2, n - 1) * change.std(ddof=1) / np.sqrt(n)
    mean = float(change.mean()) if n else np.nan
    return {
        "n": n,
        "first": float(both[ends[0]].mean()) if n else np.nan,
        "last": float(both[ends[1]].mean()) if n else np.nan,
        "change": mean,
        "conf_low": mean - half,
        "conf_high": mean + half,
    }


def _scores(study: Study) -> pd.DataFrame:
    """Outcome and mean speed of each person at each test."""
    table = study.trials.table[counted_rows(study.trials.table)]
    table = table[table["phase"] != PRACTICE_PHASE]
    table = table.assign(stage=stage_column(table, study.design))
    keys = ["participant", "stage"]
    named = study.design.primary.outcome if study.design.primary else study.design.outcomes[0].name
    if named in _HITS:
        found = score_trials(table, keys, registered=()).rename(columns={"hit_rate": "outcome"})
    elif named not in table:
        found = scores_of(table, _outcome(study.design, named), study.design).cells(keys)
        found = found.rename(columns={"score": "outcome"})
    else:
        found = table.groupby(keys, as_index=False)[named].mean().rename(columns={named: "outcome"})
    found = found[[*keys, "outcome"]]
    if "speed" in table:
        speed = table.groupby(keys, as_index=False)["speed"].mean()
        return found.merge(speed, on=keys, how="left")
    return found.assign(speed=np.nan)


def _outcome(design: Design, name: str) -> Outcome:
    return next(outcome for outcome in design.outcomes if outcome.name == name)


def _correlated(both: pd.DataFrame, name: str) -> dict[str, object] | None:
    """Correlation of one score and the outcome within people; None where there are too few."""
    rows = both[["participant", "outcome", name]].dropna()
    size = rows.groupby("participant")["outcome"].transform("size")
    rows = rows[size >= 2]
    flat = rows[[name, "outcome"]].nunique().min() < 2 if len(rows) else True
    if rows["participant"].nunique() < _FEWEST or flat:
        return None
    with warnings.catch_warnings():
        # pingouin renames in place, which pandas speaks of; nothing a reader could act on.
        warnings.simplefilter("ignore", DeprecationWarning)
        found = pingouin.rm_corr(data=rows, x=name, y="outcome", subject="participant").iloc[0]
    low, high = next(found[key] for key in ("CI95%", "CI95") if key in found.index)
    p = next(found[key] for key in ("pval", "p_val") if key in found.index)
    df = found["dof"]
    return {
        "pair": f"{name} and outcome",
        "n": rows["participant"].nunique(),
        "r": float(found["r"]),
        "df": float(df),
        "conf_low": float(low),
        "conf_high": float(high),
        "p": float(p),
    }


def _speed(scores: pd.DataFrame, design: Design, level: float) -> pd.DataFrame:
    known = scores[scores["speed"].notna()]
    order = [stage.name for stage in stages_of(design) if stage.name in set(known["stage"])]
    if len(order) < 2:
        return pd.DataFrame()
    wide = known.pivot_table(index="participant", columns="stage", values="speed")
    return pd.DataFrame([_paired(wide, (order[0], order[-1]), level)])
