"""Customary thresholds of assumption checks, each with its source; a study may set its own.

A guide is a custom, not a law. Its ``status`` says whether the number was read in its source, is
remembered from it, or is common practice without one.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

from motorlearn.exceptions import InputError

Grade = Literal["fine", "look", "act"]


@dataclass(frozen=True)
class Guide:
    """Where a diagnostic number starts to need a look, and where it needs action.

    Parameters
    ----------
    name : str
        Short name, by which a study file refers to it.
    words : str
        The number that is judged.
    look, act : float or None
        Thresholds; None where that grade is never given by the number.
    high_is_bad : bool
        Whether larger numbers are worse.
    source : str
        Where the threshold comes from.
    status : str
        How sure the source is: ``published``, ``from memory`` or ``common practice, no source``.
    """

    name: str
    words: str
    look: float | None
    act: float | None
    high_is_bad: bool = True
    source: str = ""
    status: str = "from memory"

    @property
    def text(self) -> str:
        """The rule in words, for example ``look above 1, act above 2``."""
        side = "above" if self.high_is_bad else "below"
        parts = [
            f"{grade} {side} {value:g}"
            for grade, value in (("look", self.look), ("act", self.act))
            if value is not None
        ]
        return f"{self.words}: {', '.join(parts)}" if parts else self.words

    @property
    def reference(self) -> str:
        """Source and status in one line."""
        return f"{self.source} ({self.status})" if self.source else self.status

    def grade(self, value: float) -> Grade:
        """Grade of a number; a number that could not be computed needs a look."""
        if value != value:
            return "look"
        if _beyond(value, self.act, self.high_is_bad):
            return "act"
        return "look" if _beyond(value, self.look, self.high_is_bad) else "fine"


def _beyond(value: float, limit: float | None, high_is_bad: bool) -> bool:
    return limit is not None and (value > limit if high_is_bad else value < limit)


_CUSTOM = "common practice, no source"
_GUIDES = (
    Guide(
        "unit",
        "units that differ from those allocated",
        None,
        0,
        source="Hurlbert 1984, Ecological Monographs 54:187-211",
    ),
    Guide(
        "bound",
        "share of scores at a bound",
        0.15,
        0.30,
        source="Terwee et al. 2007, J Clin Epidemiol 60:34-42, for look; twice that for act",
    ),
    Guide(
        "missing", "share missing", 0.05, 0.20, source="Schulz & Grimes 2002, Lancet 359:781-785"
    ),
    Guide(
        "missing_by_group",
        "largest difference in share missing between groups",
        0.10,
        0.20,
        source="rule of thumb, after Schulz & Grimes 2002",
        status=_CUSTOM,
    ),
    Guide(
        "skewness",
        "absolute skewness of residuals",
        1.0,
        2.0,
        source="after Curran, West & Finch 1996, Psychol Methods 1:16-29",
    ),
    Guide(
        "count_spread",
        "largest over smallest standard deviation of simulated residuals",
        1.3,
        2.0,
        status=_CUSTOM,
    ),
    Guide(
        "effects",
        "absolute skewness of random effects",
        0.5,
        1.5,
        status=_CUSTOM,
    ),
    Guide(
        "sd_ratio",
        "largest over smallest standard deviation",
        2.0,
        4.0,
        source="rule of thumb for balanced groups",
        status=_CUSTOM,
    ),
    Guide("slopes", "p of group by baseline", 0.05, None, False, status=_CUSTOM),
    Guide(
        "overlap",
        "share of participants inside the baseline range all groups share",
        0.75,
        0.50,
        False,
        status=_CUSTOM,
    ),
    Guide(
        "reliability",
        "reliability of the baseline score",
        0.70,
        0.40,
        False,
        source="Nunnally 1978 for .70",
    ),
    Guide(
        "cook",
        "largest Cook's distance",
        1.0,
        None,
        source="Cook & Weisberg 1982; 4/n marks points worth naming",
    ),
    Guide("flips", "participants whose removal changes the conclusion", None, 0, status=_CUSTOM),
    Guide(
        "epsilon",
        "Greenhouse-Geisser epsilon",
        0.75,
        None,
        False,
        source="Girden 1992, ANOVA: repeated measures",
    ),
    Guide(
        "box",
        "p of Box's M",
        0.001,
        None,
        False,
        source="Tabachnick & Fidell; .001 because the test is oversensitive",
    ),
    Guide(
        "n_ratio", "largest over smallest group, where variances differ", None, 1.5, status=_CUSTOM
    ),
    Guide(
        "dropped", "share of participants left out for a missing cell", 0.0, 0.20, status=_CUSTOM
    ),
    Guide(
        "curvature",
        "absolute correlation of residuals with the squared prediction",
        0.30,
        0.50,
        status=_CUSTOM,
    ),
    Guide(
        "near_zero",
        "smallest random variance over residual variance",
        1e-4,
        None,
        False,
        status=_CUSTOM,
    ),
    Guide(
        "correlation", "largest absolute correlation of random effects", 0.95, None, status=_CUSTOM
    ),
    Guide(
        "slope_gain",
        "AIC gained by random slopes that were left out",
        2.0,
        10.0,
        source="Burnham & Anderson 2002; Barr et al. 2013; Matuschek et al. 2017",
    ),
    Guide(
        "persons",
        "persons, where p values use the normal distribution",
        None,
        40,
        False,
        source="Luke 2017, Behav Res Methods 49:1494-1502",
    ),
    Guide("serial", "absolute lag-1 correlation of residuals", 0.20, 0.50, status=_CUSTOM),
    Guide(
        "serial_curve", "lag-1 correlation of residuals along practice", 0.30, 0.60, status=_CUSTOM
    ),
    Guide(
        "uniformity",
        "p of uniformity of simulated residuals",
        0.03,
        None,
        False,
        source="Dunn & Smyth 1996, J Comput Graph Stat 5:236-244, for the residuals",
        status=_CUSTOM,
    ),
    Guide(
        "dispersion",
        "observed over expected spread",
        1.2,
        2.0,
        source="rule of thumb",
        status=_CUSTOM,
    ),
    Guide("zeros", "observed over expected zeros", 1.5, 3.0, status=_CUSTOM),
    Guide(
        "outliers",
        "share of residuals outside all simulations over that expected",
        2.0,
        5.0,
        status=_CUSTOM,
    ),
    Guide("separation", "largest absolute coefficient (log odds)", 5.0, 10.0, status=_CUSTOM),
    Guide("huge_error", "largest standard error (log odds)", 10.0, 10.0, status=_CUSTOM),
    Guide(
        "quadrature",
        "change of a coefficient in standard errors, Laplace to 15 points",
        0.05,
        0.50,
        status=_CUSTOM,
    ),
    Guide("attempts", "attempts per row or person", 10, 4, False, status=_CUSTOM),
    Guide("clusters", "persons in a model of hits and misses", 30, 10, False, status=_CUSTOM),
    Guide(
        "unidentified",
        "share of learners whose curve is not pinned down",
        0.0,
        0.20,
        status=_CUSTOM,
    ),
    Guide(
        "seen",
        "rate times length of practice (how much of the fall was seen)",
        2.0,
        1.0,
        False,
        status=_CUSTOM,
    ),
    Guide("runs", "p of the runs test of residual signs", 0.01, None, False, status=_CUSTOM),
    Guide(
        "form",
        "difference in AICc between the best two forms",
        2.0,
        None,
        False,
        source="Burnham & Anderson 2002",
    ),
    Guide(
        "averaged",
        "curves of means instead of learners",
        None,
        0,
        source="Heathcote, Brown & Mewhort 2000, Psychon Bull Rev 7:185-207",
        status="published",
    ),
    Guide("converged", "optimiser's claim held when re-checked", None, 0, status=_CUSTOM),
    Guide(
        "icc",
        "lower limit of the coefficient",
        0.75,
        0.50,
        False,
        source="Koo & Li 2016, J Chiropr Med 15:155-163",
        status="published",
    ),
    Guide(
        "kappa",
        "kappa",
        0.61,
        0.41,
        False,
        source="Landis & Koch 1977, Biometrics 33:159-174 (arbitrary by its authors' words)",
    ),
    Guide("alpha", "Krippendorff's alpha", 0.80, 0.667, False, source="Krippendorff 2004"),
    Guide(
        "spread",
        "variance between items as a share of all variance",
        0.50,
        0.25,
        False,
        status=_CUSTOM,
    ),
    Guide("proportional", "absolute slope of difference on mean", 0.20, 0.50, status=_CUSTOM),
    Guide(
        "prevalence",
        "prevalence index",
        0.60,
        0.90,
        source="Byrt, Bishop & Carlin 1993 for the index",
        status=_CUSTOM,
    ),
    Guide(
        "rater_bias",
        "bias index",
        0.10,
        0.25,
        source="Byrt, Bishop & Carlin 1993 for the index",
        status=_CUSTOM,
    ),
    Guide(
        "drift",
        "change over the clips in standard errors of measurement",
        0.30,
        1.0,
        status=_CUSTOM,
    ),
    Guide("double_rated", "share of items rated twice", 0.20, 0.10, False, status=_CUSTOM),
    Guide(
        "bound_declared",
        "bounds without a reason given beforehand",
        None,
        0,
        source="Lakens 2017, Soc Psychol Personal Sci 8:355-362",
    ),
    Guide(
        "precise",
        "width of the 90 % interval over the width of the bounds",
        1.0,
        None,
        status=_CUSTOM,
    ),
    Guide(
        "primaries",
        "comparisons called primary",
        1,
        1,
        source="one primary, Holm within a named family",
        status=_CUSTOM,
    ),
)

GUIDES: Final[Mapping[str, Guide]] = {guide.name: guide for guide in _GUIDES}
"""All guides by name."""


def with_own_thresholds(thresholds: Iterable) -> dict[str, Guide]:
    """Give all guides, with those a study sets itself put in place.

    Parameters
    ----------
    thresholds : iterable of Threshold
        Entries ``name, look, act, source`` as the study file holds them.

    Raises
    ------
    InputError
        If a name is unknown or thresholds run the wrong way.
    """
    guides = dict(GUIDES)
    for own in thresholds:
        if own.name not in guides:
            raise InputError(
                "a threshold names an unknown guide", [own.name], f"use one of {', '.join(guides)}"
            )
        guide = guides[own.name]
        if own.look is not None and own.act is not None:
            ordered = own.look <= own.act if guide.high_is_bad else own.look >= own.act
            if not ordered:
                raise InputError(
                    f"threshold {own.name!r}: act is milder than look", [own.look, own.act]
                )
        guides[own.name] = replace(
            guide, look=own.look, act=own.act, source=own.source, status="set by this study"
        )
    return guides
