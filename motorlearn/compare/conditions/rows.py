"""Rows of a comparison within people: contrasts, periods and carry-over, analysis of variance."""

from collections.abc import Hashable, Sequence
from itertools import combinations

import numpy as np
import pandas as pd

from motorlearn.compare.between import NO_ESTIMATE, Comparing, standardised, within
from motorlearn.compare.comparison import ANOVA, CONTRAST, INTERACTION, OMNIBUS, how
from motorlearn.compare.conditions.effects import Difference, difference, indicators
from motorlearn.compare.conditions.scores import ConditionScores
from motorlearn.compare.participants import Scores
from motorlearn.compare.schemas import PERIODS
from motorlearn.compare.within import anova_row
from motorlearn.exceptions import FitError, InputError
from motorlearn.linear.hypotheses import Estimate, t_estimate
from motorlearn.linear.repeated import repeated_anova
from motorlearn.measures.effect_sizes import NO_EFFECT, adjusted_g
from motorlearn.rows import Row

Pair = tuple[Hashable, Hashable]


class Differences:
    """Differences of people between conditions, on the scale of the analysis."""

    def __init__(self, scores: ConditionScores, comparing: Comparing) -> None:
        self.scores, self.comparing = scores, comparing
        self.cells = np.log(scores.cells) if comparing.effect == "ratio" else scores.cells
        named = scores.within.sequence is not None
        self.sequence = scores.sequence if named else None

    def of(self, pair: Pair, values: Scores) -> Scores:
        """Differences of a pair of conditions, or of levels of one factor over the other."""
        one, other = (self._mean_over(name, values) for name in pair)
        return np.asarray(one - other)

    def _mean_over(self, name: Hashable, values: Scores) -> Scores:
        if name in self.scores.conditions:
            return np.asarray(values[:, self.scores.conditions.index(name)])
        first, second = self.scores.levels
        grid = values.reshape(len(values), len(first), len(second))
        if name in first:
            return np.asarray(grid[:, first.index(name)].mean(axis=1))
        return np.asarray(grid[:, :, second.index(name)].mean(axis=1))

    def nuisance(self, pair: Pair) -> Scores | None:
        """Differences of periods of a pair of conditions; None where there are no periods."""
        scores = self.scores
        if not scores.periods or any(name not in scores.conditions for name in pair):
            return None
        one, other = (scores.places[:, scores.conditions.index(name)] for name in pair)
        return indicators(one, other, len(scores.periods))

    def at(self, phase: Hashable) -> Scores:
        """Scores of people by condition at one phase."""
        return np.asarray(self.cells[:, :, self.scores.long.phases.index(phase)])

    def told(self, pair: Pair, phase: Hashable, baseline: Hashable | None) -> Difference:
        """Difference of a pair of conditions at a phase, adjusted where a baseline is named."""
        start = None if baseline is None else self.of(pair, self.at(baseline))
        return difference(
            self.of(pair, self.at(phase)),
            nuisance=self.nuisance(pair),
            sequence=self.sequence,
            start=start,
            level=self.comparing.level,
        )

    def change(self, pair: Pair, first: Hashable, second: Hashable) -> Difference:
        """Difference of a pair of conditions in the change between two phases."""
        away = self.of(pair, self.at(second)) - self.of(pair, self.at(first))
        return difference(
            away, nuisance=self.nuisance(pair), sequence=self.sequence, level=self.comparing.level
        )

    def method(self, found: Difference, *, adjusted: bool) -> str:
        """How a difference was computed."""
        taken = []
        if self.scores.periods and not found.confounded:
            taken.append(str(self.scores.within.period))
        if self.sequence is not None and len(self.scores.sequences) > 1:
            taken.append(str(self.scores.within.sequence))
        if adjusted:
            taken.append("the difference at the baseline")
        out = f", {' and '.join(taken)} taken out" if taken else ""
        return f"t of differences within participants{out}{self.comparing.suffix}"


def pairs_of(scores: ConditionScores, pairs: tuple[Pair, ...]) -> tuple[Pair, ...]:
    """Contrasts: of conditions, or of the levels of each of two factors over the other."""
    if len(scores.levels) == 1:
        return pairs
    return tuple((b, a) for levels in scores.levels for a, b in combinations(levels, 2))


def contrast_rows(
    of: Differences, pairs: tuple[Pair, ...], phase: Hashable, baseline: Hashable | None
) -> list[Row]:
    """Contrasts of one phase."""
    rows = []
    for pair in pairs:
        found = of.told(pair, phase, baseline)
        estimate = found.estimate or NO_ESTIMATE
        sd, _ = of.comparing.spread(phase)
        effect = NO_EFFECT
        if found.estimate is not None and sd > 0:
            effect = adjusted_g(
                estimate.estimate, estimate.std_error, sd, estimate.df, level=of.comparing.level
            )
        rows.append(
            CONTRAST.row(
                phase=phase, group=pair[0], reference=pair[1], effect=of.comparing.effect,
                adjusted=baseline is not None, n_group=found.n, n_reference=found.n,
                **how(of.method(found, adjusted=baseline is not None), found.reason),
                **of.comparing.told(estimate), **standardised(effect),
            )
        )  # fmt: skip
    return rows


def change_rows(
    of: Differences, pairs: tuple[Pair, ...], steps: list[Pair], anova: pd.DataFrame
) -> pd.DataFrame:
    """Condition by phase: the F test, then differences between conditions in each change."""
    term = f"{of.scores.within.factors[0]}:phase"
    rows = [
        INTERACTION.row(
            term=term, from_phase=None, to_phase=None, group=None, reference=None,
            effect=of.comparing.effect, df1=test["df1"], df=test["df2"],
            statistic=test["statistic"], p=test["p_gg"],
            method=test["method"] + ", Greenhouse-Geisser p",
        )
        for test in anova[anova["term"] == term].to_dict("records")
    ]  # fmt: skip
    for first, second in steps:
        for pair in pairs:
            found = of.change(pair, first, second)
            estimate = found.estimate or NO_ESTIMATE
            told = how(of.method(found, adjusted=False), found.reason)["method"]
            rows.append(
                INTERACTION.row(
                    term=f"{of.scores.within.factors[0]}:change", from_phase=first,
                    to_phase=second, group=pair[0], reference=pair[1],
                    effect=of.comparing.effect, df1=1.0, n_group=found.n, n_reference=found.n,
                    method=told, **of.comparing.told(estimate),
                )
            )  # fmt: skip
    return INTERACTION.frame(rows).astype(dict.fromkeys(INTERACTION.texts, object))


def period_rows(of: Differences, phase: Hashable) -> list[Row]:
    """Later periods against the first, and people's means by sequence (carry-over)."""
    scores, values = of.scores, of.at(phase)
    rows = []
    count = len(scores.periods)
    by_place = np.full((len(values), count), np.nan)
    person, condition = np.nonzero(scores.places >= 0)
    place = scores.places[person, condition]
    by_place[person, place] = values[person, condition]
    met = np.full((len(values), count), -1, dtype=np.intp)
    met[person, place] = condition
    name = str(scores.within.period)
    for later in range(1, count):
        found = difference(
            by_place[:, later] - by_place[:, 0],
            nuisance=indicators(met[:, later], met[:, 0], len(scores.conditions)),
            level=of.comparing.level,
        )
        reason = found.reason or ("everybody met the same condition there" * found.confounded)
        estimate = NO_ESTIMATE if found.estimate is None or found.confounded else found.estimate
        rows.append(
            PERIODS.row(
                phase=phase, term=name, later=scores.periods[later], earlier=scores.periods[0],
                n=found.n, **of.comparing.told(estimate),
                **how(f"t of differences within participants{of.comparing.suffix}", reason),
            )
        )  # fmt: skip
    return [*rows, *_carry_over(of, phase)]


def _carry_over(of: Differences, phase: Hashable) -> list[Row]:
    """Means of people over all conditions, each sequence against the first, one variance."""
    scores = of.scores
    means = of.at(phase).mean(axis=1)
    parts = [
        means[(scores.sequence == code) & np.isfinite(means)]
        for code in range(len(scores.sequences))
    ]
    squares, df = within(parts)
    rows = []
    for name, part in list(zip(scores.sequences, parts))[1:]:
        reason = "" if part.size and parts[0].size and df > 0 else "a sequence has too few people"
        estimate: Estimate = NO_ESTIMATE
        if not reason:
            error = float(np.sqrt(squares / df * (1 / part.size + 1 / parts[0].size)))
            away = float(part.mean() - parts[0].mean())
            estimate = t_estimate(away, error, df, level=of.comparing.level)
        rows.append(
            PERIODS.row(
                phase=phase, term="sequence (carry-over)", later=name, earlier=scores.sequences[0],
                n=int(part.size + parts[0].size), **of.comparing.told(estimate),
                **how(f"t of participants' means{of.comparing.suffix}; chooses nothing", reason),
            )
        )  # fmt: skip
    return rows


def anova_of(of: Differences, phases: Sequence[Hashable], *, phase: str = "phase") -> pd.DataFrame:
    """Analysis of variance of complete participants: conditions by these phases, type III."""
    scores = of.scores
    cells = of.cells[:, :, [scores.long.phases.index(name) for name in phases]]
    factors = [(name, len(levels)) for name, levels in zip(scores.within.factors, scores.levels)]
    if cells.shape[2] > 1:
        name = phase if phase not in scores.within.factors else f"{phase} of the study"
        factors.append((name, cells.shape[2]))
    flat = cells.reshape(len(cells), -1)
    complete = ~np.isnan(flat).any(axis=1)
    codes = np.unique(scores.sequence[complete], return_inverse=True)[1]
    codes = codes if of.sequence is not None else np.zeros_like(codes)
    method = f"type III, {int(complete.sum())} complete participants" + of.comparing.suffix
    try:
        effects = repeated_anova(flat[complete], codes, within=factors)
    except (FitError, InputError, ValueError) as problem:
        return ANOVA.frame([ANOVA.row(term=f"{factors[0][0]}:{phase}", **how("", str(problem)))])
    return ANOVA.frame([anova_row(effect, method) for effect in effects])


def omnibus_of(of: Differences, phase: Hashable) -> list[Row]:
    """Test of all conditions at one phase, where there are three or more."""
    scores, values = of.scores, of.at(phase)
    if len(scores.levels) > 1 or len(scores.conditions) < 3:
        return []
    complete = ~np.isnan(values).any(axis=1)
    name = scores.within.factors[0]
    try:
        effect = repeated_anova(values[complete], within=[(name, values.shape[1])])[0]
    except (FitError, InputError, ValueError) as problem:
        return [OMNIBUS.row(phase=phase, term=name, method=how("", str(problem))["method"])]
    test = effect.test
    epsilon = effect.sphericity.epsilon_gg if effect.sphericity else 1.0
    return [
        OMNIBUS.row(
            phase=phase, term=name, df1=test.df1 * epsilon, df2=test.df2 * epsilon,
            statistic=test.statistic, p=effect.p_gg, partial_eta2=test.partial_eta2,
            method="analysis of variance within participants, Greenhouse-Geisser df",
        )
    ]  # fmt: skip
