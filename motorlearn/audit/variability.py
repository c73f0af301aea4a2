"""Assumptions of a model of level and spread."""

from collections.abc import Iterator
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from motorlearn import digits
from motorlearn.audit.context import Context
from motorlearn.audit.general import people_check, settled_check, unit_check
from motorlearn.audit.report import Check, Conclusion, Remedy, Step, judged, remedied
from motorlearn.mixed import VariabilityFit, fit_mixed
from motorlearn.mixed.variability import with_other_scores

Floats = NDArray[np.float64]

FEWEST_FOR_SD = 3


class VariabilityAudit:
    """Checks of one model of level and spread; what is asked is the spread."""

    def __init__(self, fit: VariabilityFit, context: Context) -> None:
        self.fit, self.context = fit, context
        assigned = fit.of_spread.design.fixed.assigned
        terms = [term for term in dict.fromkeys(assigned) if term not in ("1", "Intercept")]
        last = max(reversed(terms), key=lambda term: term.count(":")) if terms else assigned[0]
        self.focus = [place for place, term in enumerate(assigned) if term == last][:6]
        self.original = self._conclusions(fit.estimates)

    def checks(self) -> Iterator[Check]:
        """All checks."""
        fit, guide = self.fit, self.context.guide
        group = next(iter(fit.of_level.n_groups))
        yield unit_check(self.context, (group,))
        advice = "Take random terms out; do not report a fit that did not settle."
        yield settled_check(fit.converged, self.context, fit.recipe.message or "", advice)
        yield judged(
            "people differ in as many ways as the random part says",
            "random terms at a bound (1 means some are)",
            float(fit.singular),
            guide("spread_singular"),
            " ".join(fit.warnings) if fit.singular else "",
            "Report it; beside, fit the model without the term (spread_random), or with terms that "
            "vary independently (correlated=False).",
        )
        yield self._shown()
        yield self._trials()
        yield self._tails()
        yield self._neighbours()
        if fit.of_level.observed.min() > 0:
            yield self._follows_level()
        yield self._influence()
        yield people_check(fit.people, self.context)

    def _conclusions(self, frame: pd.DataFrame) -> tuple[Conclusion, ...]:
        names = self.fit.estimates["term"]
        rows = frame.iloc[self.focus].to_dict("records")
        return tuple(
            Conclusion(
                f"log SD: {names.iloc[place]}",
                float(row["estimate"]),
                float(row["conf_low"]),
                float(row["conf_high"]),
                float(row["p"]),
            )
            for place, row in zip(self.focus, rows, strict=True)
        )

    @cached_property
    def _moves(self) -> Floats:
        """Move of each effect in focus without each person, in standard errors (G, focus)."""
        size = len(self.fit.estimates)
        moves = self.fit.influence["move"].to_numpy(dtype=float).reshape(-1, size)[:, self.focus]
        errors = self.fit.estimates["std_error"].to_numpy(dtype=float)[self.focus]
        return np.asarray(moves / errors)

    @cached_property
    def _residuals(self) -> Floats:
        """Scores less their level by the spread of the person, both as estimated."""
        eta = []
        for view, place in ((self.fit.of_level, 0), (self.fit.of_spread, 1)):
            part = view.design.random[0]
            first = 0 if place == 0 else len(self.fit.of_level.design.random[0].terms)
            effects = self.fit.effects["estimate"].to_numpy(dtype=float)
            own = effects.reshape(self.fit.people, -1)[:, first : first + len(part.terms)]
            eta.append(view.design.x @ view.beta + np.sum(part.z * own[part.index], axis=1))
        return np.asarray((self.fit.of_level.observed - eta[0]) / np.exp(eta[1]))

    def _cells(self) -> pd.DataFrame:
        """SD and number of scores of each person in each cell of level and spread."""
        level, spread = self.fit.of_level.design, self.fit.of_spread.design
        person = level.random[0].index
        key = np.column_stack([person, level.x, spread.x])
        _, first, cell = np.unique(key, axis=0, return_index=True, return_inverse=True)
        scores = pd.Series(self.fit.of_level.observed).groupby(cell.ravel()).agg(["std", "size"])
        frame = pd.DataFrame(spread.x[first], columns=self._names)
        return frame.assign(
            person=person[first], sd=scores["std"].to_numpy(), n=scores["size"].to_numpy()
        )

    @property
    def _names(self) -> list[str]:
        return [f"w{place}" for place in range(self.fit.of_spread.design.x.shape[1])]

    def _two_steps(self) -> Remedy:
        """Logarithms of the standard deviation of each person as scores of a linear model."""
        cells = self._cells()
        cells = cells[(cells["n"] >= FEWEST_FOR_SD) & (cells["sd"] > 0)]
        cells = cells.assign(log_sd=np.log(cells["sd"]))
        formula = f"log_sd ~ 0 + {' + '.join(self._names)}"
        repeated = bool(cells["person"].duplicated().any())
        if repeated:
            frame = fit_mixed(formula, cells, random={"person": "1"}).estimates
        else:
            frame = _least_squares(cells[self._names].to_numpy(), cells["log_sd"].to_numpy())
        steps = [Step("log SD of each person as a score", self._conclusions(frame))]
        observed = self.fit.of_level.observed
        if observed.min() > 0:
            other = with_other_scores(self.fit, np.log(observed))
            steps.append(
                Step("logarithms of the scores", self._conclusions(other.estimates), decides=False)
            )
        return Remedy(self.original, tuple(steps))

    def _beside(self) -> Remedy | None:
        return remedied(self._two_steps) if self.context.remedies else None

    def _shown(self) -> Check:
        """The standard error that people show over that of the model."""
        errors = self.fit.estimates["std_error"].to_numpy(dtype=float)[self.focus]
        df = self.fit.estimates["df"].to_numpy(dtype=float)[self.focus]
        own = errors * np.sqrt(df / self.fit.people)
        ratio = np.sqrt(np.sum((self._moves * errors) ** 2, axis=0)) / own
        return judged(
            "people differ in what is asked no more than the model lets them",
            "standard error that the people show over the model's own",
            float(np.max(ratio)),
            self.context.guide("spread_shown"),
            "",
            "Add the term to spread_random.",
        )

    def _trials(self) -> Check:
        counts = self._cells()["n"]
        few = float(counts.median())
        share = 1 / np.sqrt(2 * max(few - 1, 0.5))
        return judged(
            "each person has enough trials for a spread of their own",
            "median number of scores of a person in a cell",
            few,
            self.context.guide("trials_of_spread"),
            f"An SD of {few:g} scores is known to about {digits.percent(float(share))}.",
            "Record more trials at each test; report the interval.",
        )

    def _tails(self) -> Check:
        found = float(stats.kurtosis(self._residuals, bias=False))
        error = np.sqrt(24 / len(self._residuals))
        return judged(
            "scores of a person scatter roughly normally",
            "excess kurtosis of residuals given level and spread of the person",
            found,
            self.context.guide("kurtosis"),
            "Long tails count as spread.",
            "Look at single trials; compare the SD, or the middle half, of each person.",
            chance=float(stats.norm.sf(found / error)),
            remedy=self._beside(),
        )

    def _neighbours(self) -> Check:
        """Correlation of residuals of a person that follow one another in the table."""
        level = self.fit.of_level.design
        key = np.column_stack([level.random[0].index, level.x])
        _, cell = np.unique(key, axis=0, return_inverse=True)
        order = np.lexsort((level.row, cell.ravel()))
        r, c = self._residuals[order], cell.ravel()[order]
        inside = c[1:] == c[:-1]
        product, count = float(np.sum((r[1:] * r[:-1])[inside])), int(inside.sum())
        # A cell's own mean was taken out, which makes neighbours differ by 1 / n.
        rows = len(r) / max(len(np.unique(c)), 1)
        value = abs(product / max(count, 1) / float(np.mean(r**2)) + 1 / rows)
        return judged(
            "trials of a person do not resemble their neighbours",
            "absolute correlation of residuals that follow one another",
            value,
            self.context.guide("serial"),
            "A drift within a test counts as spread." if value > 0.1 else "",
            "Put the number of the trial into the level, so that a drift is no spread.",
            chance=float(2 * stats.norm.sf(value * np.sqrt(max(count, 1)))),
        )

    def _follows_level(self) -> Check:
        """For scores above zero: whether those who score higher scatter more."""
        level = self.fit.of_level.design
        cells = self._cells()
        key = np.column_stack([level.random[0].index, level.x, self.fit.of_spread.design.x])
        _, cell = np.unique(key, axis=0, return_inverse=True)
        means = np.bincount(cell.ravel(), self.fit.of_level.observed) / cells["n"].to_numpy()
        good = (cells["sd"] > 0).to_numpy()
        pair = (np.log(means[good]), np.log(cells["sd"].to_numpy()[good]))
        value = float(stats.spearmanr(*pair).statistic) if good.sum() > 3 else float("nan")
        return judged(
            "spread does not just follow level",
            "rank correlation of people's mean and SD, all scores above zero",
            value,
            self.context.guide("spread_follows"),
            "A ratio of spreads then tells of level, too.",
            "Model the logarithm, whose spread is relative to the level.",
            chance=float(stats.norm.sf(value * np.sqrt(max(good.sum() - 1, 1)))),
            remedy=self._beside(),
        )

    def _influence(self) -> Check:
        moves, people = self._moves, self.fit.of_level.design.random[0].levels
        person, place = np.unravel_index(int(np.argmax(np.abs(moves))), moves.shape)
        name = str(people[person])
        return judged(
            "no single participant decides",
            "largest move of an effect without one participant, in standard errors (one step)",
            float(np.abs(moves).max()),
            self.context.guide("moved"),
            f"Largest move: {digits.number(float(abs(moves[person, place])))} SE without {name}.",
            "Report the result with and without the participants named; leave nobody out for it.",
            chance=_outlying(moves),
        )


def _outlying(moves: Floats) -> float:
    """How often normal moves hold one as far from the others (Grubbs' bound, over effects)."""
    n = len(moves)
    spread = moves.std(axis=0, ddof=1)
    if n < 4 or not (spread > 0).all():
        return 1.0
    far = np.max(np.abs(moves - moves.mean(axis=0)) / spread, axis=0)
    room = np.maximum((n - 1) ** 2 / n - far**2, 1e-12)
    t = np.sqrt(n * (n - 2) * far**2 / (n * room))
    return float(min(1.0, np.min(n * 2 * stats.t.sf(t, n - 2)) * moves.shape[1]))


def _least_squares(x: Floats, y: Floats) -> pd.DataFrame:
    """Coefficients of ordinary least squares with t intervals."""
    inverse = np.linalg.pinv(x.T @ x)
    beta = inverse @ x.T @ y
    df = max(len(y) - int(np.linalg.matrix_rank(x)), 1)
    error = np.sqrt(np.diag(inverse) * float(np.sum((y - x @ beta) ** 2)) / df)
    half = stats.t.ppf(0.975, df) * error
    p = 2 * stats.t.sf(np.abs(beta / np.where(error > 0, error, np.nan)), df)
    return pd.DataFrame(
        {"estimate": beta, "conf_low": beta - half, "conf_high": beta + half, "p": p}
    )
