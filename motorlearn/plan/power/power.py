"""Power and precision of a plan by simulating and analysing it many times."""

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import pandas as pd

from motorlearn.design import Assumptions, Design
from motorlearn.exceptions import InputError
from motorlearn.plan.arguments import a_plan, seed_number, share, whole_number, whole_numbers
from motorlearn.plan.power.analyses import Tested
from motorlearn.plan.power.effects import NO_COMMON_UNIT, Effect, has_its_unit, planned_effects
from motorlearn.plan.power.grid import Cell, run_cells
from motorlearn.plan.power.planned import scenario
from motorlearn.plan.power.prior_effects import age_notes, orders_compared, prior_effects
from motorlearn.plan.power.scenario import Scenario
from motorlearn.plan.power.sequential import (
    LOOKS,
    looks_note,
    looks_table,
    simulated_looks,
    with_overall_rates,
)
from motorlearn.plan.power.summaries import (
    DETECTABLE,
    detectable,
    detectable_cells,
    mended_cells,
    power_row,
)
from motorlearn.plan.power.workers import Workers, worker_pool
from motorlearn.results import Recipe, Result
from motorlearn.tables import Column, Table

_ALARM = 2.0
INTERRUPTED = "Interrupted: only the studies that were finished are counted."


@dataclass(frozen=True)
class Power(Result):
    """Power, false positives and precision over participants and trials.

    Parameters
    ----------
    table : DataFrame
        One row per size, number of trials and effect: ``n, trials, effect, effect_name, d, kind,
        power, mc_error, mc_low, mc_high, closed_form, half_width, half_width_mc, simulations,
        failed``. Where ``kind`` is ``false positives`` there is no effect and ``power`` is their
        rate. ``closed_form`` is the power of a t test with the gain of the covariate, a sanity
        check only. ``half_width`` is that of the 95 % interval on the scale named in ``scale``.
    detectable : DataFrame
        ``n, trials, effect, d, power, mc_error, simulations``: the effect found with the wanted
        power, and the power that a simulation at that effect gave.
    assumptions : DataFrame
        ``name, value``: everything the numbers rest on.
    prior : DataFrame
        Published effects with their sources.
    scale : str
        Scale of effects and half-widths in words.
    warnings : tuple of str
        What was assumed, and where the planned analysis misbehaves.
    recipe : Recipe
        How it was made.
    looks : DataFrame
        Where the plan declares interim looks, one row per look of each row of ``table``: ``n,
        trials, effect, effect_name, look, people, level, stop, rejected, mc_error, mc_low, mc_high,
        expected_people, simulations``; rates of ``table`` are then those of all looks together.
    """

    table: pd.DataFrame
    detectable: pd.DataFrame
    assumptions: pd.DataFrame
    prior: pd.DataFrame
    scale: str
    warnings: tuple[str, ...]
    recipe: Recipe
    looks: pd.DataFrame = field(default_factory=LOOKS.frame)

    def tables(self) -> Sequence[Table]:
        """Power, detectable effects, assumptions and prior effects."""
        looks = (looks_table(self.looks),) if len(self.looks) else ()
        rest = (_detectable_table(self), assumed_table(self), _prior(self))
        return (_power_table(self), *looks, *rest)


def power(
    design: Design,
    *,
    n: int | Sequence[int],
    simulations: int = 1000,
    seed: int,
    trials: int | Sequence[int] | None = None,
    effects: Sequence[float] | None = None,
    assumptions: Assumptions | None = None,
    model: str | None = None,
    alpha: float = 0.05,
    wanted: float = 0.8,
    workers: int = 1,
    executor: Executor | None = None,
) -> Power:
    """Simulate the planned study many times, analyse each as planned, and count.

    Parameters
    ----------
    design : Design
        The plan: groups and their sizes' ratio, tests, primary comparison and its model,
        assumptions, smallest effect of interest.
    n : int or sequence of int
        Participants per group (mean over groups where the plan's sizes differ) at enrolment.
    simulations : int
        Studies per row; the Monte-Carlo error of a power near .8 is ``.4 / sqrt(simulations)``.
    seed : int
        Seed. The result does not depend on `workers`.
    trials : int or sequence of int, optional
        Trials in each test; by default as planned.
    effects : sequence of float, optional
        Raw effects at the primary test (or ratios), positive for improvement. By default none, the
        smallest effect of interest, and a laboratory and an applied value from the literature,
        with that of the plan's age group where people under 18, or nobody under 60, take part.
    assumptions : Assumptions, optional
        Instead of those in the plan.
    model : {"ancova", "linear mixed", "binomial mixed"}, optional
        Instead of the planned model.
    alpha, wanted : float
        Two-sided level, and the power asked of the detectable effect.
    workers : int
        Processes at most. Each starts afresh, which takes a second or two, so they are started only
        where the work that lies ahead is longer; a script has to make the call under
        ``if __name__ == "__main__":``.
    executor : concurrent.futures.Executor, optional
        Where to run large grids, for example ``Client(...).get_executor()`` of dask.

    Returns
    -------
    Power
        A curve, never a single number, with its assumptions.

    Raises
    ------
    InputError
        If numbers are out of range, or the model does not fit the outcome.
    DesignError
        If the plan does not say what is compared.

    Notes
    -----
    An interruption from the keyboard keeps the studies that were finished. Power is computed before
    a study; power from the effect that was observed says nothing beyond the p value and is not
    offered.

    Examples
    --------
    >>> import motorlearn as ml
    >>> from motorlearn.design import design_from_mapping
    >>> plan = design_from_mapping({
    ...     "study": {"title": "Ring push"},
    ...     "groups": [{"name": "blocked"}, {"name": "random"}],
    ...     "tests": [{"phase": "pretest", "trials": 30},
    ...               {"phase": "retention", "trials": 36, "interval_days": 7}],
    ...     "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
    ...     "primary": {"outcome": "radial_error", "groups": ["random", "blocked"]},
    ...     "assumptions": {"baseline": 38, "between_sd": 6.5, "within_sd": 15, "gain": 12},
    ... })
    >>> result = ml.power(plan, n=[12, 24], simulations=200, seed=1, effects=[0, 4])
    >>> result.table["n"].tolist()
    [12, 12, 24, 24]
    """
    design = a_plan(design)
    sizes = whole_numbers("n", n, 2)
    counts = (None,) if trials is None else whole_numbers("trials", trials)
    seed, workers = seed_number(seed), whole_number("workers", workers)
    simulations = whole_number("simulations", simulations, 2)
    _check_levels(alpha, wanted)
    base = scenario(design, assumptions=assumptions, model=model)
    plans = [base if count is None else base.with_trials(count) for count in counts]
    for plan in plans:
        _check_sizes(plan, sizes)
    chosen = planned_effects(design, base, effects)
    grid = [(plan, size, effect) for size in sizes for plan in plans for effect in chosen]
    cells = [Cell(plan, size, effect.value, seed, simulations) for plan, size, effect in grid]
    used = _options(grid, base, simulations, alpha, wanted)
    with worker_pool(workers, executor) as pool:
        runs, stopped = run_cells(cells, pool)
        done = [
            (cell, effect, run)
            for cell, (_, _, effect), run in zip(cells, grid, runs, strict=True)
            if len(run.p)
        ]
        table = pd.DataFrame([power_row(*entry, alpha) for entry in done])
        looks = LOOKS.frame()
        if not stopped and design.interim is not None:
            looks = simulated_looks(design, [entry[:2] for entry in done], pool)
        found = DETECTABLE.frame()
        if not stopped:
            pairs = [(cell, run) for cell, effect, run in done if effect.is_none]
            found, stopped = _search(pairs, alpha, wanted, pool)
    return Power(
        table=with_overall_rates(table, looks),
        detectable=found,
        assumptions=_assumed_frame(base),
        prior=prior_effects(),
        scale=_scale_in_words(base),
        warnings=(*_notes(design, base), *_alarms(table, alpha), *[INTERRUPTED] * stopped),
        recipe=Recipe("power", options=used, n=int(table["simulations"].sum()), seed=seed),
        looks=looks,
    )


def _options(
    grid: Sequence[tuple[Scenario, int, Effect]],
    base: Scenario,
    simulations: int,
    alpha: float,
    wanted: float,
) -> dict[str, Any]:
    plans, sizes, chosen = zip(*grid, strict=True)
    return {
        "n": tuple(dict.fromkeys(sizes)),
        "trials": tuple(dict.fromkeys(plan.trials for plan in plans)),
        "effects": tuple(dict.fromkeys(effect.value for effect in chosen)),
        "model": base.model,
        "alpha": alpha,
        "wanted": wanted,
        "simulations": simulations,
    }


def _search(
    pairs: Sequence[tuple[Cell, Tested]], alpha: float, wanted: float, pool: Workers
) -> tuple[pd.DataFrame, bool]:
    """Find the detectable effect of each cell: guess, simulate there, mend, simulate again."""
    cells = detectable_cells(pairs, alpha, wanted)
    stopped = False
    for last in (False, True):
        runs, stopped = run_cells(cells, pool)
        if stopped or last:
            break
        cells = mended_cells(list(zip(cells, runs, strict=True)), alpha, wanted)
    return detectable(cells, runs, alpha), stopped


def _check_levels(alpha: float, wanted: float) -> None:
    if not 0 < share("alpha", alpha) < share("wanted", wanted) < 1:
        raise InputError("alpha and the wanted power lie between 0 and 1", [alpha, wanted])


def _check_sizes(plan: Scenario, sizes: Sequence[int]) -> None:
    """Refuse sizes at which the planned analysis has no degrees of freedom left."""
    for n in sizes:
        units = plan.sizes(n)
        if plan.clustered:
            units = -(-units // (plan.assumed.cluster_size or 1))
        if plan.within:
            units = np.array([n // 2, n - n // 2])
        spare = units.sum() - len(units) - (plan.model != "paired" and plan.baseline >= 0)
        if units.min() < 2 or spare < 1:
            what = "clusters" if plan.clustered else "people"
            raise InputError(
                f"n = {n} leaves too few {what} for the planned analysis",
                [" and ".join(map(str, units))],
                f"take a larger n: two {what} a group at least, and one more than the groups and "
                "the covariate use up",
            )


def _assumed_frame(base: Scenario) -> pd.DataFrame:
    values = {
        "model": base.model,
        "scale": _scale_in_words(base),
        "primary test": base.phases[base.primary],
        "baseline test": base.phases[base.baseline] if base.baseline >= 0 else "none",
        "trials": ", ".join(
            f"{phase} {trials}" for phase, trials in zip(base.phases, base.trials_at, strict=True)
        ),
        "aim": base.aim,
        **base.assumed.model_dump(),
    }
    told = ["" if value is None else str(value) for value in values.values()]
    return pd.DataFrame({"name": list(values), "value": told})


def _scale_in_words(base: Scenario) -> str:
    if base.model == "binomial mixed":
        return f"effects in {base.unit}; half-widths as a factor of the odds ratio"
    if base.effect == "ratio":
        return "effects as ratios; half-widths as a factor of the ratio"
    return f"effects and half-widths in {base.unit or 'raw units'}"


def _notes(design: Design, base: Scenario) -> tuple[str, ...]:
    """What was assumed, and what is known of practice order in people of the plan's age."""
    ordered = len(orders_compared(design)) > 1
    of_age = age_notes(base.phases[base.primary], design.sample) if ordered else ()
    apart = () if has_its_unit(design, base) else (NO_COMMON_UNIT,)
    looked = (looks_note(design),) if design.interim is not None else ()
    return (*base.warnings, *apart, *of_age, *looked)


def _alarms(table: pd.DataFrame, alpha: float) -> tuple[str, ...]:
    none = table[table["kind"] == "false positives"]
    bad = none[none["mc_low"] > alpha]
    failed = table[table["failed"] > _ALARM / 100 * table["simulations"]]
    notes = []
    if len(bad):
        worst = bad.loc[bad["power"].idxmax()]
        notes.append(
            f"The planned analysis finds effects that are not there: {100 * worst['power']:.1f} % "
            f"false positives at n = {worst['n']} against {100 * alpha:g} % wanted; power counts "
            "for nothing until that is mended."
        )
    if len(failed):
        notes.append(
            f"In {len(failed)} rows more than {_ALARM:g} % of the studies could not be analysed; "
            "they are counted as not significant."
        )
    return tuple(notes)


def _power_table(result: Power) -> Table:
    columns = (
        Column("n", "n a group", "count"),
        Column("trials", kind="count"),
        Column("effect_name", "effect"),
        Column("effect", "size", "significant"),
        Column("d", kind="number"),
        Column("kind"),
        Column("power", "rate", "number", decimals=3),
        Column("mc_error", "Monte-Carlo error", "number", decimals=3),
        Column("half_width", "half-width of 95 % interval", "significant", decimals=3),
        Column("simulations", kind="count"),
    )
    return Table("power", "Power by simulation", columns, result.table, result.warnings)


def _detectable_table(result: Power) -> Table:
    columns = (
        Column("n", "n a group", "count"),
        Column("trials", kind="count"),
        Column("effect", "detectable effect", "significant"),
        Column("d", kind="number"),
        Column("power", "power there", "number", decimals=3),
        Column("mc_error", "Monte-Carlo error", "number", decimals=3),
    )
    note = f"{result.scale}; wanted power {result.recipe.options['wanted']:g}."
    return Table("detectable", "Minimal detectable effect", columns, result.detectable, (note,))


MEANINGS: Final = {
    "between_sd": "SD of people's true scores",
    "within_sd": "SD of a person's trials",
    "stability": "correlation of true scores between two tests",
    "gain": "gain over practice",
    "forgetting": "share of the gain lost at the delayed test",
    "attrition": "share of people lost by the primary test",
    "attrition_slope": "log odds of leaving for each SD of a worse score",
    "cluster_size": "people of an allocated class",
    "cluster_icc": "resemblance within a class (ICC)",
    "condition_correlation": "correlation of true scores under two conditions",
}
"""What the assumptions of a plan are, by their keys."""


def assumed_table(result: Power) -> Table:
    """What the power rests on, in words with the keys of the plan; empty entries left out."""
    rows = result.assumptions[result.assumptions["value"].notna()]
    rows = rows[rows["value"].astype("str") != ""]
    told = [f"{MEANINGS[name]} ({name})" if name in MEANINGS else name for name in rows["name"]]
    columns = (Column("name", "assumption"), Column("value"))
    return Table("assumptions", "What the power rests on", columns, rows.assign(name=told))


def _prior(result: Power) -> Table:
    columns = (
        Column("test"),
        Column("setting"),
        Column("people"),
        Column("effect", kind="number"),
        Column("note"),
        Column("source"),
        Column("status"),
    )
    note = "Published effects of practice order: laboratory and applied values beside each other."
    return Table("prior_effects", "Published effects", columns, result.prior, (note,))
