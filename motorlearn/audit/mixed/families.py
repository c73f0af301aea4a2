"""Assumptions of mixed models of ratings, counts, scattering hits and amounts."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy import sparse, stats

from motorlearn import digits
from motorlearn.audit.context import Context
from motorlearn.audit.general import people_check, unit_check
from motorlearn.audit.mixed.model import MixedModel
from motorlearn.audit.mixed.refits import conclusions, refit
from motorlearn.audit.mixed.shared import fit_settled
from motorlearn.audit.report import Check, Conclusion, Remedy, Step, attempted, judged
from motorlearn.mixed import ManyFits, MixedFit, fit_binomial_many
from motorlearn.mixed.solve.covariance import Structure

Floats = NDArray[np.float64]

LARGEST = 8.0
"""Log odds beyond which a rating is as good as separated at a cut."""
ALIKE = "a term moves all ratings alike (proportional odds)"
AT_EACH_CUT = 100
"""Outcomes drawn from the model, each fitted anew at every cut."""
MOST_AT_ONCE = 10_000_000
"""Values drawn at a time, so that a million rows fit into memory."""


class FamilyAudit:
    """Checks of a mixed model that is neither linear nor of plain hits."""

    def __init__(self, fit: MixedFit, context: Context) -> None:
        self.fit, self.context = fit, context
        self.focus = MixedModel(fit).focus()
        self.original = conclusions(fit, self.focus)

    def checks(self) -> Iterator[Check]:
        """All checks that suit the family of the model."""
        yield unit_check(self.context, tuple(self.fit.n_groups))
        yield fit_settled(self.fit, self.context)
        yield self._bound()
        if self.fit.family == "ordinal" and len(self.fit.design.categories) > 2:
            yield attempted(
                ALIKE,
                self.context.guide("proportional_odds"),
                self._proportional_odds,
            )
        if self.fit.family == "poisson":
            yield self._dispersion()
        if self.fit.family in ("poisson", "negative-binomial"):
            yield self._zeros()
        yield self._approximation()
        yield people_check(len(self.fit.design.random[0].levels), self.context)

    def _bound(self) -> Check:
        """Share of participants all of whose outcomes are the lowest or the highest there is."""
        part, design = self.fit.design.random[0], self.fit.design
        index, observed = part.index[design.cell], self.fit.observed
        top = design.weight if self.fit.family == "beta-binomial" else np.inf
        if self.fit.family == "ordinal":
            top = len(design.categories) - 1.0
        rows = np.bincount(index)
        shares = {
            "floor": np.mean(np.bincount(index, observed == 0) == rows),
            "ceiling": np.mean(np.bincount(index, observed == top) == rows),
        }
        side = max(shares, key=lambda name: shares[name])
        share = float(shares[side])
        return judged(
            "the outcome is not at its floor or ceiling",
            "largest share of participants at a bound throughout",
            share,
            self.context.guide("bound"),
            f"{digits.percent(share)} of participants at the {side}." if share else "",
            "Differences cannot show at a bound: use a finer scale or a continuous score.",
        )

    def _proportional_odds(self) -> Check:
        """The same effects at every cut of the scale, against what the model itself gives."""
        names = [self.fit.fixed_names[place] for place in self.focus]
        design = self.fit.design
        advice = (
            "Report the effect at each cut beside the common one (mixed.partial_odds gives both in "
            "one model), or compare mean ratings."
        )
        guide = self.context.guide("proportional_odds")
        cuts = len(design.categories) - 1
        found = self._at_cuts(self._hits(self.fit.observed[None]))
        drawn = _range(self._at_cuts(self._drawn_hits()).beta[:, self.focus], cuts)
        gaps = _range(found.beta[:, self.focus], cuts)[0]
        worst = int(np.argmax(gaps))
        chance = float(np.mean(drawn.max(axis=1) >= gaps.max()))
        steps = tuple(
            Step(f"above {label}", self._effects_at(found, cut), decides=False)
            for cut, label in enumerate(design.categories[:-1])
        )
        return judged(
            ALIKE,
            "largest difference of an effect between cuts of the scale, in log odds",
            float(gaps[worst]),
            guide,
            f"{names[worst]} differs most; the model itself gives "
            f"{digits.significant(float(np.median(drawn.max(axis=1))))} in the middle and as much "
            f"in {digits.percent(chance, 1)} of {AT_EACH_CUT} simulations.",
            advice,
            chance=chance,
            remedy=Remedy(self.original, steps),
        )

    def _drawn_hits(self) -> Floats:
        """Hits of outcomes drawn from the model, some at a time where rows are many."""
        size = max(1, min(AT_EACH_CUT, MOST_AT_ONCE // self.fit.n))
        counts = [min(size, AT_EACH_CUT - done) for done in range(0, AT_EACH_CUT, size)]
        parts = [
            self._hits(self.fit.simulate(count, seed=self.context.seed + place))
            for place, count in enumerate(counts)
        ]
        return np.concatenate(parts)

    def _hits(self, draws: Floats) -> Floats:
        """Rows above each cut (draws × cuts, cells), summed by cell: the same likelihood."""
        design = self.fit.design
        levels = np.arange(len(design.categories) - 1)
        hits = (draws[:, None, :] > levels[:, None]).reshape(-1, draws.shape[1])
        return np.asarray(hits @ self._into_cells())

    def _into_cells(self) -> sparse.csr_array:
        design = self.fit.design
        shape = (len(design.cell), len(design.x))
        return sparse.csr_array((design.weight, (np.arange(shape[0]), design.cell)), shape)

    def _at_cuts(self, hits: Floats) -> ManyFits:
        """Models of hits above each cut (draws × cuts, cells), one for each, by the first factor.

        Outcomes drawn from the model are fitted in the same way, so that what the other factors
        add is in both.
        """
        design, part = self.fit.design, self.fit.design.random[0]
        return fit_binomial_many(
            design.x,
            hits,
            self._into_cells().sum(axis=0),
            part.index,
            z=part.z,
            structure=Structure(part.blocks),
            link=self.fit.link,
        )

    def _effects_at(self, found: ManyFits, cut: int) -> tuple[Conclusion, ...]:
        out = []
        for place in self.focus:
            estimate = float(found.beta[cut, place])
            error = float(np.sqrt(found.vcov[cut, place, place]))
            p = float(2 * stats.norm.sf(abs(estimate / error))) if error > 0 else np.nan
            low, high = estimate - 1.96 * error, estimate + 1.96 * error
            out.append(Conclusion(self.fit.fixed_names[place], estimate, low, high, p))
        return tuple(out)

    def _dispersion(self) -> Check:
        """The model with a dispersion of its own beside the one without."""
        wider = refit(self.fit, family="negative-binomial")
        mean = float(self.fit.fitted().mean())
        after = conclusions(wider, self.focus)
        gain = max(0.0, 2 * (wider.loglik - self.fit.loglik))
        return judged(
            "counts scatter as those of independent events do",
            "spread of counts over that the model gives, from a negative binomial model",
            1 + mean / wider.dispersion,
            self.context.guide("dispersion"),
            f"Likelihood ratio {digits.number(gain)} for one more parameter.",
            "Report the negative binomial model.",
            chance=float(stats.chi2.sf(gain, 1) / 2),
            remedy=Remedy(self.original, (Step("negative binomial", after),)),
        )

    def _zeros(self) -> Check:
        draws = self.fit.simulate(200, seed=self.context.seed)
        seen, expected = int(np.sum(self.fit.observed == 0)), np.sum(draws == 0, axis=1)
        return judged(
            "no more counts of zero than the model expects",
            "observed over expected zeros",
            seen / max(float(expected.mean()), 0.5),
            self.context.guide("zeros"),
            f"{seen} rows without an event; the model gives {expected.mean():.1f} on average.",
            "Add what separates those who never do it; a model of two parts.",
            chance=float(np.mean(expected >= seen)),
            estimated=True,
        )

    def _approximation(self) -> Check:
        change, said = np.nan, "Laplace stands alone: quadrature needs one factor with few terms."
        remedy, part = None, self.fit.design.random[0]
        if len(self.fit.design.random) == 1 and len(part.terms) <= 2:
            other = refit(self.fit, quadrature=15 if len(part.terms) == 1 else 7)
            errors = self.fit.estimates["std_error"].to_numpy()
            change = float(np.nanmax(np.abs(other.beta - self.fit.beta) / errors))
            said = "Compared with adaptive quadrature."
            remedy = Remedy(self.original, (Step("quadrature", conclusions(other, self.focus)),))
        return judged(
            "the approximation of the likelihood is good enough",
            "largest change of a coefficient in standard errors, to more quadrature points",
            change,
            self.context.guide("quadrature"),
            said,
            "Report the result with more quadrature points.",
            remedy=remedy,
        )


def _range(beta: Floats, cuts: int) -> Floats:
    """Largest less smallest coefficient over the cuts, (draws, coefficients)."""
    found = np.clip(beta, -LARGEST, LARGEST).reshape(-1, cuts, beta.shape[1])
    return np.asarray(np.ptp(found, axis=1), dtype=float)
