"""What ``compare_phases`` and ``compare_blocks`` give where people meet every condition."""

from collections.abc import Hashable, Iterator, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from motorlearn.compare.between import Comparing, contrast_frame, describe_means
from motorlearn.compare.comparison import (
    ADJUSTED,
    CONTRAST,
    BlockComparison,
    PhaseComparison,
)
from motorlearn.compare.conditions.mixed import condition_route
from motorlearn.compare.conditions.rows import (
    Differences,
    anova_of,
    change_rows,
    contrast_rows,
    omnibus_of,
    pairs_of,
    period_rows,
)
from motorlearn.compare.conditions.scores import ConditionScores, Within, score_conditions
from motorlearn.compare.equivalence import equivalence_frame
from motorlearn.compare.limits import Limit, design_limits
from motorlearn.compare.omnibus import omnibus_frame
from motorlearn.compare.options import Options
from motorlearn.compare.participants import Columns, PhaseScores
from motorlearn.compare.posthoc import all_pairs, trends
from motorlearn.compare.schemas import PERIODS
from motorlearn.compare.within import paired_changes, phase_pairs
from motorlearn.exceptions import InputError
from motorlearn.results import Recipe

ENGINE = (
    "one score per participant, condition and phase; differences within participants by least "
    "squares; type III analysis of variance"
)


def within_of(
    within: str | Sequence[str], period: str | None, sequence: str | None, unit: str
) -> Within:
    """The columns of a design within people.

    Raises
    ------
    InputError
        If something else than people is the unit.
    """
    if unit != "participant":
        raise InputError(
            "conditions are compared within people, and the unit is another",
            [unit],
            "leave out unit=, or give the table with one row per class and condition",
        )
    return Within((within,) if isinstance(within, str) else tuple(within), period, sequence)


def compare_conditions(
    table: pd.DataFrame,
    columns: Columns,
    options: Options,
    within: Within,
    *,
    phases: Sequence[Hashable] | None,
    groups: Sequence[Hashable] | None,
) -> PhaseComparison:
    """Compare conditions within people at every phase."""
    scores = score_conditions(table, columns, within, phases=phases, conditions=groups)
    long, baseline = scores.long, options.baseline
    options.check_against(long)
    comparing = Comparing(
        long, options.contrasts(long.groups), options.effect, options.level, baseline
    )
    of, pairs = Differences(scores, comparing), pairs_of(scores, comparing.pairs)
    rows = [
        row
        for phase in long.phases
        for start in ((None,) if baseline in (None, phase) else (None, baseline))
        for row in contrast_rows(of, pairs, phase, start)
    ]
    frame = contrast_frame(rows, adjust_by=options.adjust, family=options.family)
    steps = phase_pairs(long.phases, baseline) if len(long.phases) > 1 else []
    recipe = _recipe(columns, options, scores)
    together = recipe.options["anova_phases"]
    anova = anova_of(of, together)
    periods = [row for phase in long.phases for row in period_rows(of, phase)]
    people = replace(comparing, data=_of_people(scores))
    result = PhaseComparison(
        scores=scores.tidy(),
        means=describe_means(comparing),
        adjusted_means=ADJUSTED.frame(),
        contrasts=frame,
        omnibus=omnibus_frame([row for phase in long.phases for row in omnibus_of(of, phase)]),
        interaction=change_rows(of, pairs, steps, anova),
        anova=anova,
        paired=paired_changes(comparing, steps),
        posthoc=all_pairs(people.over(together)),
        equivalence=equivalence_frame(
            comparing, frame, bound=options.equivalence, unit=options.equivalence_unit
        ),
        mixed=CONTRAST.frame(),
        limits=tuple(_limits(scores, baseline)),
        recipe=recipe,
        periods=PERIODS.frame(periods),
    )
    return condition_route(result, of, pairs) if options.route == "mixed" else result


def compare_condition_blocks(
    rows: pd.DataFrame,
    columns: Columns,
    within: Within,
    *,
    blocks: Sequence[Hashable],
    level: float,
) -> BlockComparison:
    """Compare conditions within people over the blocks of practice."""
    scores = score_conditions(rows, columns, within, phases=blocks)
    comparing = Comparing(scores.long, (), "difference", level, None)
    people = replace(comparing, data=_of_people(scores))
    lost = tuple(limit.sentence() for limit in missed(scores))
    options = {"level": level, "out_of": columns.out_of, "within": within.factors}
    return BlockComparison(
        scores=scores.tidy().rename(columns={"phase": "block"}),
        means=describe_means(comparing).rename(columns={"phase": "block"}),
        anova=anova_of(Differences(scores, comparing), scores.long.phases, phase="block"),
        posthoc=all_pairs(people).rename(
            columns={"from_phase": "from_block", "to_phase": "to_block"}
        ),
        trends=trends(people),
        statements=lost,
        recipe=Recipe(
            call="compare_blocks",
            columns=columns.used() | {"within": ", ".join(within.factors)},
            options=options | {"groups": scores.conditions, "unit": "participant"},
            n=scores.long.rows,
            left_out=scores.long.left_out,
            engine="one score per participant, condition and block; type III sums of squares",
        ),
    )


def _recipe(columns: Columns, options: Options, scores: ConditionScores) -> Recipe:
    within = scores.within
    named = {"within": ", ".join(within.factors), "period": within.period, "group": within.sequence}
    return Recipe(
        call="compare_phases",
        columns=columns.used() | {role: name for role, name in named.items() if name is not None},
        options=options.recorded(scores.long, columns.outcome)
        | {"out_of": columns.out_of, "within": within.factors, "period": within.period},
        n=scores.long.rows,
        left_out=scores.long.left_out,
        engine=ENGINE,
    )


def _of_people(scores: ConditionScores) -> PhaseScores:
    """Means of people over all conditions, for what is asked of phases alone."""
    return replace(
        scores.long,
        participants=scores.people,
        codes=scores.sequence,
        groups=scores.sequences,
        scores=scores.cells.mean(axis=1),
        trials=np.zeros((len(scores.people), scores.cells.shape[2]), dtype=np.int64),
    )


def _limits(scores: ConditionScores, baseline: Hashable | None) -> Iterator[Limit]:
    yield from missed(scores)
    if scores.within.period is None:
        yield Limit("no period")
    else:
        whole = (scores.places >= 0).all(axis=1)
        orders = {tuple(row) for row in scores.places[whole].tolist()}
        if len(orders) == 1:
            name = scores.sequences[int(np.bincount(scores.sequence).argmax())]
            yield Limit("one order", (str(name),))
        else:
            yield Limit("carry-over")
    own = ("losses", "no baseline named")
    yield from (limit for limit in design_limits(scores.long, baseline) if limit.kind not in own)


def missed(scores: ConditionScores) -> Iterator[Limit]:
    """Who has no score under one of the conditions at some phase, with that condition."""
    gone = np.isnan(scores.cells)
    told = []
    for person in np.flatnonzero(gone.any(axis=(1, 2))):
        names = [str(c) for c, lost in zip(scores.conditions, gone[person]) if lost.any()]
        told.append(f"{scores.people[person]} ({', '.join(names)})")
    if told:
        yield Limit("missed a condition", tuple(told), of=len(scores.people))
