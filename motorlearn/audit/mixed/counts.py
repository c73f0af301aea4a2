"""Assumptions of binomial mixed models: dispersion, zeros, outliers, separation, approximation."""

from collections.abc import Iterator

import numpy as np

from motorlearn import digits
from motorlearn.audit.mixed.refits import conclusions, refit, with_row_effects
from motorlearn.audit.mixed.shared import MixedAudit
from motorlearn.audit.report import Check, Remedy, Step, attempted, judged, remedied


class CountAudit(MixedAudit):
    """Checks of one binomial mixed model."""

    def by_family(self) -> Iterator[Check]:
        """Uniformity, dispersion, zeros, outliers, separation, approximation, attempts."""
        uniform = self.number("uniformity")
        yield judged(
            "simulated residuals are uniform",
            "Anderson-Darling distance from uniform over the model's own (figure: residuals)",
            uniform.value / uniform.expected if uniform.expected > 0 else np.nan,
            self.context.guide("uniformity"),
            f"Distance {digits.number(uniform.value)}; the model itself gives "
            f"{digits.number(uniform.expected)} on average.",
            "See which of the checks below says why.",
            chance=uniform.p,
        )
        yield self._dispersion()
        zeros = self.number("zeros")
        yield self.simulated(
            (
                "no more scores of zero than the model expects",
                "observed over expected zeros",
                "Add what separates those who never hit; a random slope, or a model of two parts.",
            ),
            "zeros",
            "zeros",
            value=zeros.value / zeros.expected if zeros.expected > 0 else 1.0,
            finding=f"{int(zeros.value)} cells without a hit.",
            estimated=True,
        )
        yield self._outliers()
        yield self._separation()
        yield attempted(
            "the approximation of the likelihood is good enough",
            self.context.guide("quadrature"),
            self._quadrature,
        )
        yield from self._sizes()

    def _outliers(self) -> Check:
        outliers = self.number("outliers")
        return self.simulated(
            (
                "no more outlying scores than the model expects",
                "share of residuals beyond 3, over that expected",
                "Look at these participants; report with and without them.",
            ),
            "outliers",
            "outliers",
            value=outliers.value / max(outliers.expected, 1e-9) if outliers.value else 0.0,
            estimated=True,
        )

    def _dispersion(self) -> Check:
        number = self.number("dispersion")
        single = bool(np.all(self.model.weight <= 1))
        return self.simulated(
            (
                "hits scatter as a binomial count does",
                "observed over expected spread",
                "Let every row have its own random effect, or add the missing covariate.",
            ),
            "dispersion",
            "dispersion",
            value=number.value / number.expected,
            remedy=None if single else remedied(self._row_effects),
            finding="Single attempts cannot show overdispersion." if single else "",
        )

    def _row_effects(self) -> Remedy | None:
        if not self.context.remedies:
            return None
        after = conclusions(with_row_effects(self.fit), self.focus)
        return Remedy(self.original, (Step("random effect for every row", after),))

    def _separation(self) -> Check:
        largest = float(np.abs(self.fit.beta).max())
        error = float(self.fit.estimates["std_error"].max())
        guide = self.context.guide("separation")
        grade = max(
            (guide.grade(largest), self.context.guide("huge_error").grade(error)),
            key=("fine", "look", "act").index,
        )
        return Check(
            "no term separates hits from misses",
            "largest coefficient in log odds",
            largest,
            guide,
            grade,
            f"Largest standard error {digits.significant(error)}.",
            "Leave the separating term out, or use a penalised estimate; say so.",
        )

    def _quadrature(self) -> Check:
        change, other = np.nan, None
        points = self.fit.recipe.options["quadrature"]
        part = self.fit.design.random[0]
        if len(self.fit.design.random) == 1 and len(part.terms) <= 2:
            other = self.fit if points >= 15 else refit(self.fit, quadrature=15)
            errors = self.fit.estimates["std_error"].to_numpy()
            change = float(np.max(np.abs(other.beta - self.fit.beta) / errors))
        finding = (
            f"Fitted with {points} point(s); compared with 15."
            if other is not None
            else "Quadrature needs a single grouping factor with few terms; Laplace stands alone."
        )
        remedy = None
        if other is not None and self.context.remedies:
            after = conclusions(other, self.focus)
            remedy = Remedy(self.original, (Step("15 quadrature points", after),))
        return judged(
            "the approximation of the likelihood is good enough",
            "largest change of a coefficient in standard errors, to 15 points",
            change,
            self.context.guide("quadrature"),
            finding,
            "Report the result with more quadrature points.",
            remedy=remedy,
        )

    def _sizes(self) -> Iterator[Check]:
        index = self.fit.design.random[0].index
        attempts = float(np.bincount(index, self.model.weight).min())
        people = len(self.fit.design.random[0].levels)
        yield judged(
            "every participant has enough attempts",
            "fewest attempts of a participant",
            attempts,
            self.context.guide("attempts"),
            "",
            "Say that single participants carry little information.",
        )
        yield judged(
            "there are enough participants for a model of hits",
            "participants",
            float(people),
            self.context.guide("clusters"),
            "",
            "Check the p value by permutation of the allocation.",
            remedy=self.robust(),
        )
