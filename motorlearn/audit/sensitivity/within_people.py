"""Variants of the comparison of conditions within people at one test."""

from collections.abc import Hashable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.audit.report import Conclusion
from motorlearn.audit.sensitivity.leave_one_out import (
    LEAVE_ONE_OUT,
    most_telling_removal,
    without_one,
)
from motorlearn.audit.sensitivity.phases import ORIGINAL, Variant
from motorlearn.compare import PhaseComparison, compare_phases, pair_in_words
from motorlearn.compare.conditions.effects import Difference, difference, indicators
from motorlearn.exceptions import InputError
from motorlearn.linear import welch
from motorlearn.trials import Study

DRAWN = "orders drawn again (randomisation test)"
NO_LOT = "not run: orders were not drawn by lot"
_DRAWS = 4999
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Differences:
    """Scores of people under two conditions at a test, on the scale of the analysis.

    Parameters
    ----------
    people : array (people,)
        Who has a score at this test.
    y, x : array (people, 2)
        Scores under both conditions at the test and at the baseline; ``x`` is None without one.
    periods : array of int (people, 2), or None
        Period of each condition; None where the study does not say it.
    count : int
        Number of periods.
    label : str
        The contrast in words.
    ratio : bool
        Whether scores are logarithms.
    """

    people: NDArray[np.object_]
    y: Floats
    x: Floats | None
    periods: NDArray[np.intp] | None
    count: int
    label: str
    ratio: bool

    def found(self) -> Difference:
        """The difference as it is compared."""
        start = None if self.x is None else self.x[:, 0] - self.x[:, 1]
        nuisance = None
        if self.periods is not None:
            nuisance = indicators(self.periods[:, 0], self.periods[:, 1], self.count)
        return difference(self.y[:, 0] - self.y[:, 1], nuisance=nuisance, start=start)

    def without(self, person: int) -> "Differences":
        """The same without one person."""
        keep = np.arange(len(self.people)) != person
        return replace(
            self,
            people=self.people[keep],
            y=self.y[keep],
            x=None if self.x is None else self.x[keep],
            periods=None if self.periods is None else self.periods[keep],
        )

    def conclude(self, estimate: float, low: float, high: float, p: float) -> Conclusion:
        """A conclusion on the scale on which it is reported."""
        a, b, c = np.exp([estimate, low, high]) if self.ratio else (estimate, low, high)
        null = 1.0 if self.ratio else 0.0
        return Conclusion(self.label, float(a), float(b), float(c), float(p), null)

    def concluded(self) -> tuple[Conclusion, ...]:
        """The conclusion as it is compared; none where it could not be computed."""
        t = self.found().estimate
        return () if t is None else (self.conclude(t.estimate, t.conf_low, t.conf_high, t.p),)


def differences_of(
    result: PhaseComparison, study: Study | None, phase: Hashable, pair: tuple[str, str]
) -> Differences:
    """Scores of a pair of conditions at a test, and the period in which each was met.

    Raises
    ------
    InputError
        If there are two factors within people.
    """
    options, columns = result.recipe.options, result.recipe.columns
    if len(options["within"]) != 1:
        raise InputError(
            "variants are run for one factor within people",
            list(options["within"]),
            "take one factor, or compare the variants yourself",
        )
    ratio, baseline = options["effect"] == "ratio", options["baseline"]

    def wide(at: Hashable) -> pd.DataFrame:
        rows = result.scores[result.scores["phase"] == at]
        found = rows.pivot(index="participant", columns="group", values="score")
        found = found.reindex(columns=list(pair))
        return pd.DataFrame(np.log(found.where(found > 0)) if ratio else found)

    y = wide(phase)
    x = wide(baseline).reindex(y.index) if baseline is not None and baseline != phase else None
    periods, count = None, 0
    named = columns.get("period")
    if named and study is not None and named in study.trials.table:
        met = study.trials.table.dropna(subset=[named]).drop_duplicates(["participant", "group"])
        codes, levels = pd.factorize(met[named], sort=True)
        placed = met.assign(place=codes).pivot(index="participant", columns="group", values="place")
        placed = placed.reindex(index=y.index, columns=list(pair))
        known = placed.notna().all(axis=1)
        y = y.where(known)
        periods, count = placed.fillna(0).to_numpy(dtype=np.intp), len(levels)
    return Differences(
        y.index.to_numpy(dtype=object),
        y.to_numpy(dtype=float),
        None if x is None else x.to_numpy(dtype=float),
        periods,
        count,
        f"{pair_in_words(*pair, options['effect'])}, {options['effect']}",
        ratio,
    )


def within_variants(
    result: PhaseComparison, study: Study | None, phase: Hashable, pair: tuple[str, str], seed: int
) -> tuple[list[Variant], pd.DataFrame]:
    """Run every variant of a contrast within people; and the contrast without each of them."""
    own = differences_of(result, study, phase, pair)
    original = own.concluded()
    if not original:
        raise InputError("the contrast within people was not computed", [own.found().reason])
    n = own.found().n
    found = [Variant(ORIGINAL, n, original)]
    if own.x is not None:
        plain = replace(own, x=None)
        found.append(Variant("not adjusted for the baseline", plain.found().n, plain.concluded()))
    if own.periods is not None:
        still = replace(own, periods=None)
        note = "the period is left in"
        found.append(Variant("period not taken out", n, still.concluded(), note))
        by_lot = study is None or study.design.allocation.method != "none"
        found.append(_orders_drawn_again(own, seed) if by_lot else Variant(DRAWN, 0, note=NO_LOT))
    found.append(_mixed(result, study, phase, pair, own))
    removed = without_each_person(own, original[0])
    worst, note = most_telling_removal(original, removed)
    found.append(Variant(without_one(), n - 1, worst, note))
    return found, removed


def without_each_person(own: Differences, before: Conclusion) -> pd.DataFrame:
    """The contrast without each person who has both scores."""
    rows = []
    for place, person in enumerate(own.people):
        after = own.without(place).concluded()
        if not after or not np.isfinite(own.y[place]).all():
            continue
        one = after[0]
        rows.append(
            LEAVE_ONE_OUT.row(
                participant=person,
                group="",
                contrast=one.label,
                estimate=one.estimate,
                conf_low=one.conf_low,
                conf_high=one.conf_high,
                p=one.p,
                changes=one.direction != before.direction,
            )
        )
    return LEAVE_ONE_OUT.frame(rows)


def _orders_drawn_again(own: Differences, seed: int) -> Variant:
    """Orders moved among people whose scores stay in their periods; two conditions only.

    Under no effect of the condition a person's difference between periods does not hang on the
    order, so that Welch's t of these differences between the orders has a distribution by lot.
    """
    name = DRAWN
    known = np.isfinite(own.y).all(axis=1)
    periods = own.periods
    if periods is None or own.count != 2 or not known.any():
        return Variant(name, 0, note="run for two conditions in two periods")
    first = periods[known, 0] == 0
    later = np.where(first, 1, -1) * (own.y[known, 1] - own.y[known, 0])
    if min(first.sum(), (~first).sum()) < 2:
        return Variant(name, 0, note="two people in each order are needed")
    rng = np.random.default_rng(seed)
    orders = np.array([first, *(rng.permutation(first) for _ in range(_DRAWS))])
    size = orders.sum(axis=1)
    sums, squares = orders @ later, orders @ later**2
    rest, rest_squares, others = later.sum() - sums, (later**2).sum() - squares, len(later) - size
    spread = (squares - sums**2 / size) / (size - 1) / size
    spread += (rest_squares - rest**2 / others) / (others - 1) / others
    t = (sums / size - rest / others) / np.sqrt(np.where(spread > 0, spread, np.nan))
    p = float(np.mean(np.abs(t) >= abs(t[0]) - 1e-12))
    there = welch(later[first], later[~first])
    sides = np.array([there.estimate, there.conf_low, there.conf_high]) / -2
    one = own.conclude(sides[0], sides[2], sides[1], p)
    note = f"{_DRAWS} draws; the baseline is left aside, the interval is Welch's"
    return Variant(name, int(known.sum()), (one,), note)


def _mixed(
    result: PhaseComparison,
    study: Study | None,
    phase: Hashable,
    pair: tuple[str, str],
    own: Differences,
) -> Variant:
    """The mixed model that keeps people who lack a condition."""
    name, named = (
        "mixed model, with those who lack a condition",
        result.recipe.columns.get("period"),
    )
    if study is None or not named or named not in study.trials.table:
        return Variant(name, 0, note="the study does not say the periods")
    met = study.trials.table.drop_duplicates(["participant", "group"])
    table = result.scores.merge(met[["participant", "group", named]], how="left")
    baseline = result.recipe.options["baseline"]
    table = table[table["phase"].isin([phase, baseline]) & table["group"].isin(pair)]
    try:
        found = compare_phases(
            table.dropna(subset=["score", named]),
            "score",
            group=None,
            within="group",
            period=named,
            baseline=baseline if baseline != phase else None,
            effect=result.recipe.options["effect"],
            route="mixed",
        ).mixed
    except InputError as problem:
        return Variant(name, 0, note=str(problem))
    rows = found[(found["phase"] == phase) & found["estimate"].notna()]
    if rows.empty:
        return Variant(name, 0, note="the model could not be fitted")
    row = rows.iloc[-1]
    numbers = [float(row[key]) for key in ("estimate", "conf_low", "conf_high")]
    if (row["group"], row["reference"]) != pair:
        numbers = [-numbers[0], -numbers[2], -numbers[1]]
        if own.ratio:
            numbers = [1 / float(row[key]) for key in ("estimate", "conf_high", "conf_low")]
    null = 1.0 if own.ratio else 0.0
    estimate, low, high = numbers
    one = Conclusion(own.label, estimate, low, high, float(row["p"]), null)
    n = int(table.loc[table["phase"] == phase, "participant"].nunique())
    return Variant(name, n, (one,))
