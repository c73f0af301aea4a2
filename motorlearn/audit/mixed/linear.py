"""Assumptions of linear mixed models: shape of residuals, few participants."""

from collections.abc import Iterator

import numpy as np

from motorlearn.audit.mixed.refits import conclusions, on_logarithms, refit
from motorlearn.audit.mixed.shared import MixedAudit
from motorlearn.audit.report import Check, Remedy, Step, judged, remedied


class LinearAudit(MixedAudit):
    """Checks of one linear mixed model."""

    def by_family(self) -> Iterator[Check]:
        """Shape of residuals and small-sample inference of a linear model."""
        yield self.simulated(
            (
                "residuals are roughly normal",
                "skewness of residuals given the random effects (figure: normal quantiles)",
                "Analyse logarithms, or resample participants.",
            ),
            "skewness",
            "skewness",
            remedy=remedied(self._other_scale),
        )
        people = min(self.fit.n_groups.values())
        normal = self.fit.recipe.options["df"] == "normal"
        yield judged(
            "p values allow for few participants",
            "levels of the smallest grouping factor, where p uses the normal distribution",
            float(people) if normal else np.inf,
            self.context.guide("persons"),
            f"{people} levels; degrees of freedom: {self.fit.recipe.options['df']}.",
            "Use Satterthwaite or Kenward-Roger degrees of freedom.",
            remedy=remedied(lambda: self._small_sample(normal)),
        )

    def _other_scale(self) -> Remedy | None:
        if not self.context.remedies:
            return None
        robust = self.robust()
        steps = [] if robust is None else list(robust.steps)
        other = on_logarithms(self.fit)
        if other is not None:
            steps.append(Step(other.scale, conclusions(other.fit, self.focus, other.scale)))
        return Remedy(self.original, tuple(steps)) if steps else None

    def _small_sample(self, normal: bool) -> Remedy | None:
        if not self.context.remedies:
            return None
        df = "satterthwaite" if normal else "kenward-roger"
        already = self.fit.recipe.options["df"] == df
        known = df == "satterthwaite" or np.isnan(self.fit.neighbours)
        if already or not known or (df == "kenward-roger" and self.fit.n > 2000):
            return None
        other = refit(self.fit, df=df, reml=True)
        name = "Satterthwaite" if normal else "Kenward-Roger"
        return Remedy(self.original, (Step(name, conclusions(other, self.focus)),))
