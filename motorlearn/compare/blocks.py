"""Practice compared between groups over its blocks."""

from collections.abc import Hashable, Sequence
from dataclasses import replace

import pandas as pd

from motorlearn.compare.between import Comparing, describe_means
from motorlearn.compare.clusters import unit_scores
from motorlearn.compare.comparison import BlockComparison
from motorlearn.compare.conditions.comparing import compare_condition_blocks, within_of
from motorlearn.compare.crossing import Factors, crossing_of, placed_groups
from motorlearn.compare.limits import listed, losses
from motorlearn.compare.options import checked_out_of
from motorlearn.compare.participants import Columns, score_participants
from motorlearn.compare.posthoc import all_pairs, trends
from motorlearn.compare.within import mixed_anova
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.results import Recipe
from motorlearn.trials.counted import counted_rows
from motorlearn.vocabulary import PHASE_LABELS, PRACTICE_PHASE


def compare_blocks(
    table: pd.DataFrame,
    outcome: str,
    *,
    group: str | Sequence[str] | None,
    block: str | Sequence[str] = "block",
    participant: str = "participant",
    phase: str | None = "phase",
    practice: Hashable = PRACTICE_PHASE,
    attempts: str | None = None,
    out_of: float | None = None,
    groups: Sequence[Hashable] | None = None,
    unit: str = "participant",
    within: str | Sequence[str] | None = None,
    level: float = 0.95,
    factors: Factors | None = None,
    squares: str = "III",
) -> BlockComparison:
    """Compare groups over the blocks of practice by a mixed analysis of variance, type III.

    Parameters
    ----------
    table : DataFrame
        Trials or aggregated rows.
    outcome : str
        Column of the score; with ``attempts`` the column of hits.
    group : str, pair of str or None
        Column of the group; None for one group; two columns of factors, as in
        :func:`compare_phases`.
    block : str or sequence of str
        Column or columns that number the blocks; ``["session", "block"]`` where blocks are
        numbered anew in each session.
    participant, phase : str
        Columns of the person and the phase; ``phase=None`` if every row is practice.
    practice : hashable
        Value of ``phase`` that is practice.
    attempts : str, optional
        Column with the attempts of each row.
    out_of : float, optional
        Tell hits by attempts as hits of so many; otherwise they are rates.
    groups : sequence, optional
        Groups to use, in this order.
    unit : str
        What was allocated: ``"participant"``, or the column of the classes whose means are
        compared.
    within : str or sequence of str, optional
        Column of the conditions that each person meets, or two such columns that are crossed.
    level : float
        Level of the intervals of the means.
    factors : mapping, optional
        Instead of two columns: by factor, by level in order, the groups at that level.
    squares : {"III", "II"}
        Sums of squares of the analysis of variance.

    Raises
    ------
    InputError
        If there is no practice in the table, or one block only.

    Examples
    --------
    >>> trials = pd.DataFrame(
    ...     {
    ...         "participant": list("abcd") * 3,
    ...         "group": ["blocked", "blocked", "random", "random"] * 3,
    ...         "block": [1] * 4 + [2] * 4 + [3] * 4,
    ...         "time": [9, 8, 10, 9, 7, 7, 9, 8, 6, 5, 8, 8.0],
    ...     }
    ... )
    >>> result = compare_blocks(trials, "time", group="group", phase=None)
    >>> result.anova["term"].tolist()
    ['group', 'block', 'group:block']
    """
    names = [block] if isinstance(block, str) else list(block)
    rows, label = _numbered(_practice_rows(table, names, phase, practice), names)
    order = tuple(sorted(rows.loc[counted_rows(rows), label].unique()))
    if len(order) < 2:
        raise InputError("practice has one block only", order, "name the column of the blocks")
    placed = placed_groups(rows, group, groups, factors)
    told = checked_out_of(out_of, attempts)
    columns = Columns(outcome, placed.group, label, participant, attempts, told)
    if within is not None:
        met = within_of(within, None, placed.group, unit)
        columns = replace(columns, group=None)
        return compare_condition_blocks(placed.table, columns, met, blocks=order, level=level)
    data = score_participants(placed.table, columns, phases=order, groups=placed.groups)
    lost, people = losses(data), len(data.participants)
    data, clusters = unit_scores(placed.table, columns, data, unit)
    crossing = None if placed.factors is None else crossing_of(placed.factors, data.groups)
    comparing = Comparing(data, (), "difference", level, None, clusters=clusters, crossing=crossing)
    options = {"practice": practice, "groups": data.groups, "level": level, "out_of": out_of}
    return BlockComparison(
        scores=data.tidy().rename(columns={"phase": "block"}),
        means=describe_means(comparing).rename(columns={"phase": "block"}),
        anova=mixed_anova(comparing, within="block", squares=squares),
        posthoc=all_pairs(comparing).rename(
            columns={"from_phase": "from_block", "to_phase": "to_block"}
        ),
        trends=trends(comparing),
        statements=_limits(lost, people),
        recipe=Recipe(
            call="compare_blocks",
            columns={**columns.used(), "phase": phase or "", "block": ", ".join(names)},
            options=options | {"unit": unit, "factors": placed.factors, "squares": squares},
            n=data.rows,
            left_out=data.left_out,
            engine=f"one score per {unit} and block; type III sums of squares",
        ),
    )


def _numbered(rows: pd.DataFrame, names: list[str]) -> tuple[pd.DataFrame, str]:
    """Rows with one column that numbers the blocks, and its name."""
    if len(names) == 1:
        return rows, names[0]
    # Blocks that restart in each session are numbered on in order of the columns named.
    numbered = rows.groupby(names, sort=True, observed=True).ngroup() + 1
    return rows.assign(block=numbered), "block"


def _practice_rows(
    table: pd.DataFrame, blocks: list[str], phase: str | None, practice: Hashable
) -> pd.DataFrame:
    if not blocks:
        raise InputError("no column numbers the blocks of practice", remedy="name it: block=...")
    absent = [name for name in [*blocks, *([phase] if phase else [])] if name not in table]
    if absent:
        raise ColumnError("the table lacks a column that is needed", absent, "name the right one")
    rows = table if phase is None else table[table[phase] == practice]
    if rows.empty:
        raise InputError(
            "the table holds no practice",
            [practice],
            "say with 'practice' how that phase is called, or phase=None if every row is practice",
        )
    return rows


def _limits(lost: list[str], people: int) -> tuple[str, ...]:
    sentences = [
        f"{PHASE_LABELS[PRACTICE_PHASE]} scores are performance under the conditions of practice "
        "and cannot show what lasts."
    ]
    if lost:
        sentences.append(
            f"Without a block, and not in the analysis of variance, are {len(lost)} of {people} "
            f"participants: {listed(lost)}."
        )
    return tuple(sentences)
