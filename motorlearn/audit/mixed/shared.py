"""Assumptions that linear and binomial mixed models share."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from motorlearn import digits
from motorlearn.audit.context import Context
from motorlearn.audit.general import settled_check, unit_check
from motorlearn.audit.mixed.consequences import (
    level_factors,
    rate_of,
    rate_under_variances,
    serial_factor,
)
from motorlearn.audit.mixed.leave_out import fit_without_each
from motorlearn.audit.mixed.model import MixedModel
from motorlearn.audit.mixed.refits import (
    conclusions,
    refit,
    robust_conclusions,
    with_slopes,
)
from motorlearn.audit.mixed.simulated import Diagnosis, SimulatedNumber
from motorlearn.audit.report import Check, Conclusion, Remedy, Step, gravest, judged
from motorlearn.exceptions import FitError
from motorlearn.mixed import MixedFit


def fit_settled(fit: MixedFit, context: Context) -> Check:
    """Convergence as the fit re-checked it."""
    finding = fit.recipe.message or "Gradient and Hessian confirm it."
    advice = "Simplify the random part; do not report a fit that did not settle."
    return settled_check(fit.converged, context, finding, advice)


class MixedAudit:
    """Checks both families share; refits and removals are made once and shared."""

    def __init__(self, model: MixedModel, diagnosis: Diagnosis, context: Context) -> None:
        self.model, self.diagnosis, self.context = model, diagnosis, context
        self.fit = model.fit
        self.focus = model.focus()
        self.original = conclusions(self.fit, self.focus)
        wanted = context.remedies and len(self.fit.design.random[0].levels) > 3
        self.removed = fit_without_each(model) if wanted else None

    def checks(self) -> Iterator[Check]:
        """All checks that suit the family of the model."""
        yield unit_check(self.context, tuple(self.fit.n_groups))
        yield fit_settled(self.fit, self.context)
        yield self.bound()
        yield from self.by_family()
        yield from self.spread()
        yield self.curvature()
        if any(one.terms for one in self.fit.design.random):
            yield self.effects()
            yield from self.structure()
        yield self.serial()
        if self.removed is not None:
            yield self.influence(self.removed)

    def number(self, name: str) -> SimulatedNumber:
        """A simulated diagnostic number."""
        return self.diagnosis.numbers[name]

    def robust(self) -> Remedy | None:
        """Jackknife standard errors over participants beside the original."""
        if self.removed is None:
            return None
        after = robust_conclusions(self.fit, self.focus, self.removed)
        return Remedy(self.original, (Step("jackknife over participants", after),))

    def simulated(self, words: tuple[str, str, str], name: str, guide: str, **more: Any) -> Check:
        """Check of a number that the model's own simulations can excuse."""
        number = self.number(name)
        value = more.pop("value", number.value)
        finding = more.pop("finding", "") + (
            f" The model itself gives {digits.significant(number.expected)} on average and as "
            f"much in {digits.percent(number.p, 1)} of {self.diagnosis.simulations} simulations."
        )
        assumption, diagnostic, advice = words
        return judged(
            assumption,
            diagnostic,
            value,
            self.context.guide(guide),
            finding.strip(),
            advice,
            chance=number.p,
            **more,
        )

    def bound(self) -> Check:
        """Share of participants at a bound in the worst phase."""
        share, where = _share_at_bound(self.model)
        remedy = "Differences cannot show at a bound: use a continuous error score."
        return judged(
            "the outcome is not at its floor or ceiling",
            "largest share of participants at a bound in one phase",
            share,
            self.context.guide("bound"),
            f"Worst: {where}." if where else "No bound is approached.",
            remedy,
        )

    def by_family(self) -> Iterator[Check]:
        """Checks that only this family of models has."""
        raise NotImplementedError

    def spread(self) -> Iterator[Check]:
        """Spread of residuals by each category of the model."""
        for name, levels in self.model.categories().items():
            check = self.simulated(
                (
                    f"residuals spread alike in every {name}",
                    f"largest over smallest SD of residuals by {name} (figure)",
                    f"Let the variance differ by {name}; read the jackknife.",
                ),
                f"spread by {name}",
                "sd_ratio" if not self.model.binomial else "count_spread",
                remedy=self.robust(),
            )
            yield check if self.model.binomial else self._rated_spread(name, levels, check)

    def _rated_spread(self, name: str, levels: np.ndarray, check: Check) -> Check:
        """The spread of a linear model, graded by the rate of false positives it leads to."""
        factor = level_factors(self.diagnosis.residuals, levels, self.fit.design.cell)
        rate = rate_under_variances(self.model, self.focus, factor)
        rated = judged(
            check.assumption,
            "rate of false positives of the nominal 5 % test, with these variances",
            rate,
            self.context.guide("size"),
            f"SD ratio {digits.number(check.value)}. {check.finding}".strip(),
            check.advice,
            chance=self.number(f"spread by {name}").p,
            estimated=True,
            remedy=check.remedy,
        )
        return gravest(check, rated) if check.guide.own else rated

    def curvature(self) -> Check:
        """Bend of residuals over the linear predictor: shape of the fixed part, or the link."""
        has = "link and fixed part have" if self.model.binomial else "the fixed part has"
        return self.simulated(
            (
                f"{has} the right shape",
                "correlation of residuals with the bend of the prediction (figure)",
                "Add a curve or an interaction, or try another link.",
            ),
            "curvature",
            "curvature",
        )

    def effects(self) -> Check:
        """Skewness of the random effects."""
        return self.simulated(
            (
                "random effects are roughly normal",
                "skewness of participants' effects (figure: normal quantiles; a weak test)",
                "Fixed effects seldom suffer; read the jackknife.",
            ),
            "effects",
            "effects",
            remedy=self.robust(),
        )

    def structure(self) -> Iterator[Check]:
        """Zero variances, perfect correlations, and random slopes that were left out."""
        psi = [self.fit.covariances[one.group] for one in self.fit.design.random if one.terms]
        scale = 1.0 if self.model.binomial else self.fit.residual_sd**2
        smallest = min(float(np.diag(one).min()) for one in psi) / scale
        yield judged(
            "no random variance is zero",
            "smallest random SD over the residual SD",
            float(np.sqrt(max(smallest, 0.0))),
            self.context.guide("near_zero"),
            "Singular fit." if self.fit.singular else "",
            "Leave that random term out, one at a time, and say why.",
        )
        largest = max((_largest_correlation(one) for one in psi), default=0.0)
        if any(len(one) > 1 for one in psi):
            yield judged(
                "random effects are not perfectly correlated",
                "largest absolute correlation of random effects",
                largest,
                self.context.guide("correlation"),
                f"Largest correlation of random effects: {digits.significant(largest)}.",
                "Make the terms independent, or leave one out.",
            )
        yield from self._slopes()

    def _slopes(self) -> Iterator[Check]:
        try:
            found = with_slopes(self.fit)
        except FitError:
            return
        if found is None:
            return
        name, larger = found
        smaller = self.fit
        if smaller.recipe.options["quadrature"] > 1:
            smaller = refit(self.fit, quadrature=1)
        gain, more = float(smaller.aic - larger.aic), _parameters(larger) - _parameters(smaller)
        chance = float(stats.chi2.sf(max(gain + 2 * more, 0.0), more))
        rate = rate_of(self._errors(), self._dfs(), _errors_of(larger, self.focus))
        finding = (
            f"With slopes of {name}: {'did not settle' if not larger.converged else 'settled'}"
            f"{', singular' if larger.singular else ''}; AIC gained {digits.number(gain, 1)}, "
            f"likelihood ratio {digits.p_clause(chance)}."
        )
        step = Step(f"random slope of {name}", conclusions(larger, self.focus))
        check = judged(
            "participants need no slopes of their own",
            f"rate of false positives of the nominal 5 % test without slopes of {name}",
            rate,
            self.context.guide("size"),
            finding,
            "Add the random slope if it settles; otherwise say that it did not.",
            chance=chance,
            remedy=Remedy(self.original, (step,)) if self.context.remedies else None,
        )
        own = self.context.guide("slope_gain")
        if own.own:
            check = gravest(
                replace(check, diagnostic=own.words, value=gain, guide=own, grade=own.grade(gain)),
                check,
            )
        yield check

    def serial(self) -> Check:
        """Correlation of consecutive trials of a participant."""
        alike = "" if self.model.binomial else "let neighbours correlate (correlation='ar1'), "
        check = self.simulated(
            (
                "trials of one participant do not depend on the one before",
                "lag-1 correlation of residuals in table order",
                f"Analyse block means, {alike}or add a trend over trials; read the jackknife.",
            ),
            "serial",
            "serial",
            remedy=self.robust(),
        )
        if self.model.binomial:
            return check
        count = np.bincount(self.fit.design.cell, minlength=self.model.cells).astype(float)
        factor = serial_factor(self.diagnosis.serial, count)
        rated = judged(
            check.assumption,
            "rate of false positives of the nominal 5 % test, with this lag-1 correlation",
            rate_under_variances(self.model, self.focus, factor),
            self.context.guide("size"),
            f"Lag-1 correlation {digits.number(self.diagnosis.serial)}. {check.finding}".strip(),
            check.advice,
            chance=self.number("serial").p,
            estimated=True,
            remedy=check.remedy,
        )
        return gravest(check, rated)

    def influence(self, removed: pd.DataFrame) -> Check:
        """Whether the conclusion hangs on one participant."""
        names = [self.fit.fixed_names[place] for place in self.focus]
        own = removed[removed["contrast"].isin(names)]
        flips = sorted(own.loc[own["changes"], "participant"].unique())
        moved = own.assign(
            step=np.abs(own["estimate"] - own["contrast"].map(dict(zip(names, self._values()))))
            / own["contrast"].map(dict(zip(names, self._errors())))
        )
        if moved["step"].isna().all():
            return self._no_moves()
        worst = moved.loc[moved["step"].idxmax()]
        finding = f"Largest move: {digits.number(float(worst['step']))} SE without " + (
            f"{worst['participant']}."
        )
        if flips:
            finding += f" The conclusion changes without: {', '.join(flips)}."
        check = judged(
            "no single participant decides",
            "largest move of a coefficient without one participant, in standard errors",
            float(worst["step"]),
            self.context.guide("moved"),
            finding,
            "Report the result with and without the participants named; leave nobody out for it.",
            chance=_outlying(moved, names),
            remedy=Remedy(
                self.original,
                (Step(f"without {worst['participant']}", self._without(own, worst, names)),),
            ),
        )
        guide = self.context.guide("flips")
        if not guide.own:
            return check
        value = float(len(flips))
        return gravest(
            replace(
                check, diagnostic=guide.words, value=value, guide=guide, grade=guide.grade(value)
            ),
            check,
        )

    def _no_moves(self) -> Check:
        """Where effects run off to infinity there is no standard error to measure a move in."""
        return judged(
            "no single participant decides",
            "largest move of a coefficient without one participant, in standard errors",
            float("nan"),
            self.context.guide("moved"),
            "The effects in question have no standard error, so no move can be measured.",
            "Describe what each participant did; an exact test needs no standard error.",
        )

    def _without(
        self, own: pd.DataFrame, worst: pd.Series, names: list[str]
    ) -> tuple[Conclusion, ...]:
        rows = own[own["participant"] == worst["participant"]].set_index("contrast").loc[names]
        return tuple(
            Conclusion(
                str(row.Index),
                float(row.estimate),
                float(row.conf_low),
                float(row.conf_high),
                float(row.p),
            )
            for row in rows.itertuples()
        )

    def _values(self) -> np.ndarray:
        return self.fit.beta[self.focus]

    def _errors(self) -> np.ndarray:
        return _errors_of(self.fit, self.focus)

    def _dfs(self) -> np.ndarray:
        return np.asarray(self.fit.estimates["df"].to_numpy(dtype=float)[self.focus])


def _errors_of(fit: MixedFit, focus: list[int]) -> np.ndarray:
    return np.asarray(fit.estimates["std_error"].to_numpy(dtype=float)[focus])


def _parameters(fit: MixedFit) -> int:
    """Parameters of the random part."""
    return sum(len(psi) * (len(psi) + 1) // 2 for psi in fit.covariances.values())


def _outlying(moved: pd.DataFrame, names: list[str]) -> float:
    """How often normal moves hold one as far from the others (Grubbs' bound, over coefficients).

    The move by one removal is all but the participant's own effect; those of normal participants
    are normal.
    """
    chances = []
    for name in names:
        step = moved.loc[moved["contrast"] == name, "estimate"].dropna().to_numpy()
        n = len(step)
        spread = step.std(ddof=1) if n > 3 else 0.0
        if not spread > 0:
            continue
        far = np.abs(step - step.mean()).max() / spread
        room = max((n - 1) ** 2 / n - far**2, 1e-12)
        t = np.sqrt(n * (n - 2) * far**2 / (n * room))
        chances.append(n * 2 * stats.t.sf(t, n - 2))
    return float(min(1.0, min(chances, default=1.0) * len(names)))


def _largest_correlation(psi: np.ndarray) -> float:
    sd = np.sqrt(np.diag(psi))
    product = np.outer(sd, sd)
    share = np.divide(psi, product, out=np.zeros_like(psi), where=product > 0)
    return float(np.abs(share - np.diag(np.diag(share))).max())


def _share_at_bound(model: MixedModel) -> tuple[float, str]:
    part = model.fit.design.random[0]
    phases = model.categories().get("phase", np.full(model.cells, "all", dtype=object))
    total = model.by_cell(model.fit.observed)
    table = pd.DataFrame({"person": part.index, "phase": phases, "y": total, "n": model.weight})
    if not model.binomial:
        return 0.0, ""
    sums = table.groupby(["phase", "person"])[["y", "n"]].sum()
    worst, where = 0.0, ""
    for phase, own in sums.groupby(level="phase"):
        for side, hit in (("floor", own["y"] == 0), ("ceiling", own["y"] == own["n"])):
            share = float(hit.mean())
            if share > worst:
                worst = share
                where = f"{digits.percent(share)} of participants at the {side} in {phase}"
    return worst, where
