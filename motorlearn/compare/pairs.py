"""Every pair of blocks or tests within a group, by pingouin, which is loaded with this module."""

from collections.abc import Hashable, Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd
import pingouin
from scipy import stats

from motorlearn.compare.comparison import BlockComparison, PhaseComparison
from motorlearn.compare.schemas import DF, INTERVAL, STATISTIC, P
from motorlearn.exceptions import InputError
from motorlearn.results import Recipe, Result
from motorlearn.rows import Schema
from motorlearn.tables import Column, Table

_FEWEST = 3
PAIR = Schema(
    (
        Column("group"),
        Column("earlier"),
        Column("later"),
        Column("n", kind="count"),
        Column("without", "without a pair", "count"),
        Column("estimate", "later minus earlier", "significant", decimals=4),
        *INTERVAL,
        STATISTIC,
        DF,
        P,
        Column("p_adjusted", "p (Holm)", "p"),
    )
)


@dataclass(frozen=True)
class Pairs(Result):
    """Pairs of blocks or tests within each group.

    Attributes
    ----------
    pairs : DataFrame
        ``group, earlier, later, n, without, estimate, conf_low, conf_high, statistic, df, p,
        p_adjusted``; ``without`` counts people who lack one of the two. A pair with fewer than
        three people, or without any spread, has no test.
    recipe : Recipe
        Options, and who was left out of which pair.
    """

    pairs: pd.DataFrame
    recipe: Recipe

    def tables(self) -> tuple[Table, ...]:
        """The pairs."""
        note = "Every pair has a standard error of its own; Holm's p within each group."
        return (Table("pairs", "Pairs within groups", PAIR.columns, self.pairs, (note,)),)


def pairs_within(comparison: BlockComparison | PhaseComparison, *, level: float = 0.95) -> Pairs:
    """Test every pair of blocks (or tests) within each group, after an analysis of variance.

    A paired t test of the people who have both: ``t = mean(d) / (sd(d) / sqrt(n))`` with
    ``d = later - earlier`` and ``n - 1`` degrees of freedom. It needs no sphericity, since each
    pair has its own standard error. p values are corrected by Holm within each group.

    Parameters
    ----------
    comparison : BlockComparison or PhaseComparison
        Result whose scores are compared.
    level : float
        Level of the intervals, which are not corrected.

    Raises
    ------
    InputError
        If the scores have one block or test only.

    References
    ----------
    Vallat, R. (2018). Pingouin: statistics in Python. Journal of Open Source Software, 3, 1026.
    https://doi.org/10.21105/joss.01026

    Examples
    --------
    >>> trials = pd.DataFrame({
    ...     "participant": list("abcd") * 2, "block": [1] * 4 + [2] * 4,
    ...     "time": [9.0, 8, 10, 9, 7, 7, 9, 6],
    ... })
    >>> from motorlearn.compare import compare_blocks
    >>> found = pairs_within(compare_blocks(trials, "time", group=None, phase=None))
    >>> found.pairs[["n", "estimate", "statistic"]].round(3).values.tolist()
    [[4.0, -1.75, -3.656]]
    """
    place = "block" if isinstance(comparison, BlockComparison) else "phase"
    scores = comparison.scores
    groups, order = (list(dict.fromkeys(comparison.means[name])) for name in ("group", place))
    if len(order) < 2:
        raise InputError(f"one {place} alone makes no pair", order)
    frames, lost = [], []
    for group in groups:
        wide = (
            scores[scores["group"] == group]
            .pivot_table(index="participant", columns=place, values="score", observed=True)
            .reindex(columns=order)
        )
        rows = pd.DataFrame(list(_pairs(group, wide, level)))
        tested = rows["p"].notna().to_numpy()
        if tested.any():
            adjusted = pingouin.multicomp(rows.loc[tested, "p"].to_numpy(), method="holm")[1]
            rows.loc[tested, "p_adjusted"] = adjusted
        frames.append(rows)
        lost += _lost(group, wide)
    return Pairs(
        pairs=pd.concat(frames, ignore_index=True)[list(PAIR.names)],
        recipe=Recipe(
            call="pairs_within",
            columns=comparison.recipe.columns,
            options={"level": level, "of": comparison.recipe.call},
            n=len(scores),
            left_out=pd.DataFrame(lost, columns=["participant", "group", "reason", "rows"]),
            engine=f"pingouin {pingouin.__version__}: paired t tests, Holm",
        ),
    )


def _pairs(group: Hashable, wide: pd.DataFrame, level: float) -> Iterator[dict[str, object]]:
    for earlier, later in combinations(wide.columns, 2):
        both = wide[[earlier, later]].dropna()
        change = (both[later] - both[earlier]).to_numpy()
        row: dict[str, object] = {
            "group": group, "earlier": earlier, "later": later, "n": len(both),
            "without": len(wide) - len(both), "estimate": change.mean() if len(both) else np.nan,
        }  # fmt: skip
        none = ("conf_low", "conf_high", "statistic", "df", "p", "p_adjusted")
        row |= dict.fromkeys(none, np.nan)
        if len(both) >= _FEWEST and np.ptp(change) > 0:
            row |= _test(both[later].to_numpy(), both[earlier].to_numpy(), level)
        yield row


def _test(later: np.ndarray, earlier: np.ndarray, level: float) -> dict[str, float]:
    """t, df and p of pingouin; its interval is rounded to two decimals, so this one is not its."""
    found = pingouin.ttest(later, earlier, paired=True).iloc[0]
    t, df = float(found["T"]), float(found["dof"])
    mean = float(np.mean(later - earlier))
    reach = float(stats.t.isf((1 - level) / 2, df)) * mean / t if t else float("nan")
    return {
        "statistic": t, "df": df, "p": float(found["p_val"]),
        "conf_low": mean - abs(reach), "conf_high": mean + abs(reach),
    }  # fmt: skip


def _lost(group: Hashable, wide: pd.DataFrame) -> list[tuple[object, object, str, int]]:
    lacking = wide.isna()
    return [
        (person, group, f"without {', '.join(map(str, wide.columns[row]))}", int(row.sum()))
        for person, row in zip(wide.index, lacking.to_numpy(), strict=True)
        if row.any()
    ]
