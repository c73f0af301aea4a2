"""Speed beside the outcome: whether a gain was bought with slower trials."""

from dataclasses import dataclass

import pandas as pd

from motorlearn.analysis.scores import OutcomeScores
from motorlearn.analysis.technique import TOGETHER, in_order, paired, score_cells, together
from motorlearn.design import Design, stages_of
from motorlearn.exceptions import InputError
from motorlearn.results import Recipe, Result
from motorlearn.tables import Column, Table
from motorlearn.trials import counted_rows

COST, FREE, OPEN, NO_GAIN = "at the cost of speed", "not bought", "open", "no gain"
"""Verdicts: gained and slower; gained and faster; gained, speed unclear; no clear gain."""


@dataclass(frozen=True)
class SpeedBeside(Result):
    """Change of speed beside the change of the outcome, from the first to the last test.

    Attributes
    ----------
    change : DataFrame
        ``group, score, n, first, last, change, conf_low, conf_high``: one row for ``speed`` and one
        for ``outcome``, of people who have both at both tests.
    verdicts : dict of str to str
        For each group whether a gain was bought with speed, from the two intervals.
    people : DataFrame
        ``participant, group, stage, speed, outcome``: means at every test.
    together : DataFrame
        Speed and outcome within people, as for technique. Exploratory.
    tests : tuple of (str, str)
        First and last test with speed.
    unit : str
        Unit of speed.
    recipe : Recipe
        How it was made.
    """

    change: pd.DataFrame
    verdicts: dict[str, str]
    people: pd.DataFrame
    together: pd.DataFrame
    tests: tuple[str, str]
    unit: str
    recipe: Recipe

    def tables(self) -> list[Table]:
        """Change of speed and outcome; what moves together."""
        numbers = tuple(Column(name, kind="number") for name in ("first", "last", "change"))
        limits = (Column("conf_low", "lower", "number"), Column("conf_high", "upper", "number"))
        by = (Column("group"),) if self.change["group"].nunique() > 1 else ()
        columns = (*by, Column("score"), Column("n", kind="count"), *numbers, *limits)
        title = f"Speed beside the outcome from {self.tests[0]} to {self.tests[1]}"
        tables = [Table("speed", title, columns, self.change)]
        if len(self.together):
            title = "Whether speed and outcome move together from test to test"
            tables.append(Table("speed-together", title, TOGETHER, self.together))
        return tables


def speed_beside(
    scores: OutcomeScores,
    design: Design,
    *,
    level: float = 0.95,
    simulations: int = 1999,
    seed: int = 0,
) -> SpeedBeside:
    r"""Change of speed and of the outcome between the first and the last test with speed.

    Both changes have the t interval :math:`\bar d \pm t\,s_d/\sqrt n` of the same people. A gain
    is called bought with speed where both intervals leave out zero, speed downwards.

    Parameters
    ----------
    scores : OutcomeScores
        Rows with a column ``speed``, and how the outcome comes from them.
    design : Design
        The plan.
    level, simulations, seed : float, int, int
        As for :func:`motorlearn.analysis.technique.technique_change`.

    Raises
    ------
    InputError
        If speed was not measured at two tests of the outcome.

    Examples
    --------
    >>> import motorlearn as ml
    >>> from motorlearn.analysis.scores import scores_of
    >>> plan = ml.design.design_from_mapping({
    ...     "study": {"title": "Ring push"},
    ...     "groups": [{"name": "random"}],
    ...     "tests": [{"phase": "pretest", "trials": 1},
    ...               {"phase": "retention", "trials": 1, "interval_days": 7}],
    ...     "outcomes": [{"name": "radial_error", "better": "lower"}],
    ...     "target": {"radius": 20},
    ... })
    >>> tests = ["pretest"] * 4 + ["retention"] * 4
    >>> table = pd.DataFrame({
    ...     "participant": list("abcd") * 2, "group": "random", "phase": tests, "stage": tests,
    ...     "radial_error": [38.0, 36, 41, 40, 28, 25, 31, 26],
    ...     "speed": [2.1, 2.3, 2.0, 2.2, 1.7, 1.8, 1.6, 1.9],
    ... })
    >>> scores = scores_of(table, plan.outcomes[0], plan)
    >>> found = speed_beside(scores, plan, simulations=99, seed=1)
    >>> found.change[["score", "n", "change"]].round(2).values.tolist()
    [['speed', 4, -0.4], ['outcome', 4, -11.25]]
    >>> found.verdicts
    {'random': 'at the cost of speed'}
    """
    people = _people(scores)
    order = [stage for stage in stages_of(design) if stage.name in set(people["stage"])]
    if len(order) < 2:
        raise InputError(
            "speed was not measured at two tests",
            [stage.label for stage in order],
            "note the speed of trials in two tests or more",
        )
    ends = order[0].name, order[-1].name
    wide = people.pivot_table(
        index=["group", "participant"], columns="stage", values=["speed", "outcome"], sort=False
    )
    rows = [
        {"group": group, "score": name, **paired(part[name], ends, level)}
        for group, part in wide[_complete(wide, ends)].groupby(level="group", sort=False)
        for name in ("speed", "outcome")
    ]
    label = scores.outcome.label or scores.column
    change = in_order(pd.DataFrame(rows, columns=[*_CHANGE]), design)
    return SpeedBeside(
        change,
        {
            str(group): _verdict(part.set_index("score"), scores.outcome.better)
            for group, part in change.groupby("group", sort=False)
        },
        people,
        together(
            people, "speed", f"speed and {label}", level=level, simulations=simulations, seed=seed
        ),
        (order[0].inside, order[-1].inside),
        design.units.get("speed", ""),
        Recipe(
            "speed_beside",
            {"outcome": scores.column},
            {"level": level, "simulations": simulations},
            n=int(change["n"].max() if len(change) else 0),
            seed=seed,
            engine="paired t; permutation and jackknife of people",
        ),
    )


_CHANGE = ("group", "score", "n", "first", "last", "change", "conf_low", "conf_high")


def _people(scores: OutcomeScores) -> pd.DataFrame:
    """Mean speed and outcome of everybody who has both, at every test."""
    table = scores.table
    if "speed" not in table:
        raise InputError("there is no speed beside the outcome", None, "add a column 'speed'")
    used = table[counted_rows(table) & table["speed"].notna()]
    speed = used.groupby(["participant", "stage"], as_index=False, sort=False)["speed"].mean()
    both = score_cells(scores).merge(speed, on=["participant", "stage"])
    return both[["participant", "group", "stage", "speed", "outcome"]]


def _complete(wide: pd.DataFrame, ends: tuple[str, str]) -> pd.Series:
    wanted = [(name, end) for name in ("speed", "outcome") for end in ends]
    return wide.reindex(columns=pd.MultiIndex.from_tuples(wanted)).notna().all(axis=1)


def _verdict(rows: pd.DataFrame, better: str) -> str:
    speed, outcome = rows.loc["speed"], rows.loc["outcome"]
    gained = outcome["conf_low"] > 0 if better == "higher" else outcome["conf_high"] < 0
    if not gained:
        return NO_GAIN
    if speed["conf_high"] < 0:
        return COST
    return FREE if speed["conf_low"] > 0 else OPEN
