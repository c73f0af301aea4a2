"""How often a single-case plan would find an effect, by its own randomisation test."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from motorlearn.design import Design
from motorlearn.exceptions import InputError
from motorlearn.measures import wilson_interval
from motorlearn.measures.single_case import (
    count_assignments,
    draw_conditions,
    randomisation_test,
)
from motorlearn.plan.arguments import a_plan, seed_number, share, whole_number
from motorlearn.plan.single_case import plan_that_draws
from motorlearn.results import Recipe, Result
from motorlearn.rows import Schema
from motorlearn.tables import Column, Table

CASE_POWER = Schema(
    (
        Column("effect", "effect in SDs of sessions", "number"),
        Column("power", kind="number", decimals=3),
        Column("mc_low", "95 % CI lower", "number", decimals=3),
        Column("mc_high", "upper", "number", decimals=3),
        Column("smallest_p", "smallest p possible", "p"),
        Column("simulations", kind="count"),
    )
)


@dataclass(frozen=True)
class SingleCasePower(Result):
    """Power of a single-case plan.

    Attributes
    ----------
    table : DataFrame
        ``effect, power, mc_low, mc_high, smallest_p, simulations``; an effect of 0 gives the rate
        of false positives.
    assignments : int
        In how many ways the conditions can be drawn.
    recipe : Recipe
        Options and seed.
    """

    table: pd.DataFrame
    assignments: int
    recipe: Recipe

    def tables(self) -> Sequence[Table]:
        """Power by effect."""
        given = self.recipe.options
        who = f"{given['cases']} case(s) of {given['sessions']} sessions"
        note = (
            f"Randomisation test over {self.assignments} ways of drawing, level "
            f"{given['level']:g}; {who} whose neighbours correlate {given['correlation']:g}; the "
            "effect is there from the first session of B on."
        )
        return (CASE_POWER.table("power", "Power by simulation", self.table, (note,)),)


def single_case_power(
    design: Design,
    *,
    seed: int,
    effects: Sequence[float] = (0.0, 1.0, 2.0, 3.0),
    cases: int = 1,
    correlation: float = 0.2,
    simulations: int = 1000,
    level: float = 0.05,
) -> SingleCasePower:
    """Simulate a single-case plan many times: how often its randomisation test would find B.

    Scores are ``y_t = effect · B_t + e_t`` with ``e_t = r e_{t-1} + sqrt(1 - r²) z_t``, so that
    ``effect`` is in standard deviations of sessions and ``r`` is ``correlation``. Conditions are
    drawn as the plan draws them; the effect points to the better side.

    Parameters
    ----------
    design : Design
        A plan with a section ``single_case`` that draws by lot.
    seed : int
        Seed of the simulation.
    effects : sequence of float
        Effects in standard deviations of sessions.
    cases : int
        Athletes, or skills of one athlete.
    correlation : float
        Correlation of sessions that follow each other, from -.9 to .95.
    simulations : int
        Simulated studies for each effect.
    level : float
        Level of the test.

    Returns
    -------
    SingleCasePower

    Raises
    ------
    InputError
        If the plan draws nothing by lot, or an argument is out of range.

    References
    ----------
    Edgington, E. S. & Onghena, P. (2007). Randomization Tests, 4th ed. Chapman & Hall/CRC.
    doi:10.1201/9781420011814 (from memory).

    Examples
    --------
    >>> from motorlearn.design import design_from_mapping
    >>> plan = design_from_mapping({
    ...     "study": {"title": "Ring push of one"},
    ...     "single_case": {"design": "AB", "sessions": 14, "starts": [4, 11]},
    ...     "outcomes": [{"name": "radial_error", "better": "lower"}],
    ... })
    >>> found = single_case_power(plan, seed=1, effects=[9], simulations=50)
    >>> found.assignments, float(found.table["power"].iloc[0])
    (8, 0.0)
    """
    plan = plan_that_draws(a_plan(design))
    cases, simulations = whole_number("cases", cases, 1), whole_number("simulations", simulations)
    r = share("correlation", correlation, -0.9, 0.95)
    level = share("level", level, 0.0, 1.0)
    if not len(effects):
        raise InputError("no effect is given", None, "give effects, for example effects=[1, 2]")
    plan.draw.check(cases, plan.sessions)
    sessions, rng = [plan.sessions] * cases, np.random.default_rng(seed_number(seed))
    rows = []
    for effect in effects:
        found = [_simulated(design, sessions, float(effect), r, rng) for _ in range(simulations)]
        hits = int(sum(p <= level for p, _ in found))
        low, high = wilson_interval(hits, simulations)
        rows.append(
            CASE_POWER.row(
                effect=float(effect),
                power=hits / simulations,
                mc_low=float(low),
                mc_high=float(high),
                smallest_p=min(smallest for _, smallest in found),
                simulations=simulations,
            )
        )
    options = {"cases": cases, "sessions": plan.sessions, "correlation": r, "level": level}
    recipe = Recipe("single_case_power", {}, options, n=cases, seed=seed)
    return SingleCasePower(CASE_POWER.frame(rows), count_assignments(plan.draw, sessions), recipe)


def _simulated(
    design: Design, sessions: list[int], effect: float, r: float, rng: np.random.Generator
) -> tuple[float, float]:
    """The p of one simulated study, and the smallest that its draw allows."""
    plan = plan_that_draws(design)
    codes = draw_conditions(plan.draw, sessions, rng)
    scores = []
    for drawn in codes:
        noise = rng.standard_normal(len(drawn))
        for place in range(1, len(drawn)):
            noise[place] = r * noise[place - 1] + np.sqrt(1 - r**2) * noise[place]
        scores.append(noise + effect * drawn)
    test = randomisation_test(
        plan.draw,
        scores,
        [drawn.astype(float) for drawn in codes],
        one_sided=plan.expected == "better",
        simulations=999,
        seed=int(rng.integers(2**31)),
    )
    return test.p, test.smallest_p
