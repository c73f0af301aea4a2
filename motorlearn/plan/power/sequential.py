"""Interim looks of a plan, simulated: chance to stop at each, overall error rate, people needed."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from motorlearn.design import Design
from motorlearn.exceptions import InputError
from motorlearn.linear import interim_boundaries
from motorlearn.measures import wilson_interval
from motorlearn.plan.power.analyses import analyse
from motorlearn.plan.power.effects import Effect
from motorlearn.plan.power.grid import Cell
from motorlearn.plan.power.simulated_scores import Batch, draw_batch
from motorlearn.plan.power.workers import Workers
from motorlearn.rows import Schema
from motorlearn.tables import Column, Table

LOOKS = Schema(
    (
        Column("n", "n a group", "count"),
        Column("trials", kind="count"),
        Column("effect", "size", "significant"),
        Column("effect_name", "effect"),
        Column("look", kind="count"),
        Column("people", kind="count"),
        Column("level", "nominal level", "number", decimals=4),
        Column("stop", "stops here", "number", decimals=3),
        Column("rejected", "rejected so far", "number", decimals=3),
        Column("mc_error", "Monte-Carlo error", "number", decimals=3),
        Column("mc_low", "lower", "number", decimals=3),
        Column("mc_high", "upper", "number", decimals=3),
        Column("expected_people", "people expected", "number", decimals=1),
        Column("simulations", kind="count"),
    ),
    (
        "n", "effect_name", "effect", "look", "people", "level", "stop", "rejected", "mc_error",
        "expected_people",
    ),
)  # fmt: skip


@dataclass(frozen=True)
class LookedAt:
    """A cell of the grid, looked at several times.

    Parameters
    ----------
    cell : Cell
        What is simulated.
    shares : tuple of float
        Share of the people of each group at each look.
    levels : tuple of float
        Nominal level of each look.
    """

    cell: Cell
    shares: tuple[float, ...]
    levels: tuple[float, ...]

    @property
    def sizes(self) -> np.ndarray:
        """People of each group at each look, shape (looks, groups)."""
        whole = self.cell.plan.sizes(self.cell.n)
        return np.round(np.outer(self.shares, whole)).astype(int)


def looked_at(design: Design, cell: Cell) -> LookedAt:
    """The looks that a plan declares, at one cell of the grid.

    Raises
    ------
    InputError
        If fewer than two people of a group, or too few for the covariate, are there at a look.
    """
    plan = design.interim
    assert plan is not None
    found = LookedAt(cell, plan.fractions, ())
    sizes = found.sizes
    spare = sizes.sum(axis=1) - sizes.shape[1] - 1
    if sizes.min() < 2 or spare.min() < 1:
        raise InputError(
            f"n = {cell.n} leaves too few people for the first look",
            [" and ".join(map(str, sizes[0]))],
            "take a larger n, or a later first look in interim.fractions",
        )
    reached = sizes.sum(axis=1) / sizes[-1].sum()
    bounds = interim_boundaries(list(reached), spending=plan.spending, level=plan.level)
    return replace(found, levels=tuple(bounds.p))


def simulated_looks(
    design: Design, cells: Sequence[tuple[Cell, Effect]], pool: Workers
) -> pd.DataFrame:
    """Chance to stop at each look, what is rejected by then and the people expected.

    The studies are those of the grid itself. A look takes the first people of each group.
    """
    rows = []
    for cell, effect in cells:
        asked = looked_at(design, cell)
        calls = [(asked, chunk, size) for chunk, size in enumerate(cell.chunks)]
        parts = list(map(_stops, calls) if pool is None else pool.map(_stops, calls))
        counts = np.sum(parts, axis=0)
        people = asked.sizes.sum(axis=1)
        total, rejected = int(cell.simulations), np.cumsum(counts)
        ends = np.append(counts[:-1], total - rejected[-1] + counts[-1]) if len(counts) else counts
        expected = float(ends @ people / total)
        for look, level in enumerate(asked.levels):
            rate = rejected[look] / total
            low, high = wilson_interval(int(rejected[look]), total)
            rows.append(
                LOOKS.row(
                    n=cell.n, trials=cell.plan.trials, effect=effect.value,
                    effect_name=effect.name, look=look + 1, people=int(people[look]), level=level,
                    stop=counts[look] / total, rejected=rate,
                    mc_error=np.sqrt(rate * (1 - rate) / total), mc_low=float(low),
                    mc_high=float(high), expected_people=expected, simulations=total,
                )
            )  # fmt: skip
    return LOOKS.frame(rows)


def _stops(call: tuple[LookedAt, int, int]) -> np.ndarray:
    """Studies of a chunk that are first rejected at each look."""
    asked, chunk, size = call
    cell = asked.cell
    # The same stream as that of the grid, so that these are the same studies.
    key = (cell.n, cell.plan.trials, chunk)
    rng = np.random.default_rng(np.random.SeedSequence(cell.seed, spawn_key=key))
    batch = draw_batch(cell.plan, cell.n, cell.effect, size, rng)
    going = np.ones(size, dtype=bool)
    counts = np.zeros(len(asked.levels), dtype=int)
    for look, (people, level) in enumerate(zip(asked.sizes, asked.levels, strict=True)):
        crossed = going & (analyse(cell.plan, _first(batch, people)).p < level)
        counts[look] = crossed.sum()
        going &= ~crossed
    return counts


def _first(batch: Batch, people: np.ndarray) -> Batch:
    """The first people of each group."""
    keep = np.concatenate(
        [np.flatnonzero(batch.groups == group)[:n] for group, n in enumerate(people)]
    )
    keep.sort()
    return replace(
        batch,
        scores=batch.scores[:, keep],
        groups=batch.groups[keep],
        clusters=np.arange(len(keep)),
    )


def with_overall_rates(table: pd.DataFrame, looks: pd.DataFrame) -> pd.DataFrame:
    """Rows of power whose rate is that of all looks together."""
    if looks.empty:
        return table
    last = looks.groupby(["n", "trials", "effect"], sort=False).tail(1)
    names = ["mc_error", "mc_low", "mc_high"]
    keyed = last.set_index(["n", "trials", "effect"])[["rejected", *names]]
    rates = keyed.reindex(pd.MultiIndex.from_frame(table[["n", "trials", "effect"]]))
    return table.assign(
        power=rates["rejected"].to_numpy(), **{name: rates[name].to_numpy() for name in names}
    )


def looks_note(design: Design) -> str:
    """What the rates count where a plan declares looks."""
    plan = design.interim
    assert plan is not None
    return (
        f"Rates count studies that cross at any of {len(plan.fractions)} looks, at a two-sided "
        f"error rate of {plan.level:g} over all; half-widths and detectable effects are those of "
        "one analysis at the end."
    )


def looks_table(looks: pd.DataFrame) -> Table:
    """The looks as a table."""
    note = (
        "A look takes the first people of each group; a study that crosses stops there. People "
        "expected: their mean over studies, in all groups."
    )
    return LOOKS.table("looks", "Interim looks by simulation", looks, (note,))
