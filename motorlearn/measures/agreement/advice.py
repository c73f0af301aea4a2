"""Which agreement coefficient fits the score a study uses, and how to read it."""

from collections.abc import Mapping, Sequence
from typing import Any

from motorlearn import digits

KOO_LI = ((0.5, "poor"), (0.75, "moderate"), (0.9, "good"), (float("inf"), "excellent"))
"""Reading of the lower limit of an ICC (Koo and Li 2016)."""

LANDIS_KOCH = (
    (0.0, "poor"),
    (0.2, "slight"),
    (0.4, "fair"),
    (0.6, "moderate"),
    (0.8, "substantial"),
    (float("inf"), "almost perfect"),
)
"""Reading of kappa (Landis and Koch 1977), arbitrary by its authors' own words."""

WIDE = 0.4
"""Width of an interval beyond which the reading of a coefficient is not settled (custom)."""

RARE = 3.0
"""Items' worth of ratings below which a rare category makes intervals rough (simulated)."""

FEW_CATEGORIES = 5
"""Categories up to which a single rare one decides a coefficient (custom)."""

FEW_RATERS = 5
"""Raters below which the variance between raters is hardly known (custom)."""


def applying_coefficient(kind: str, raters: int, averaged: int) -> str:
    """Name the coefficient that describes the score the study analyses.

    Missing cells do not change it: the intraclass correlation comes from variance components, and
    the coefficients of categories take any number of ratings of an item.

    Examples
    --------
    >>> applying_coefficient("continuous", 2, 1)
    'ICC(A,1)'
    >>> applying_coefficient("ordinal", 2, 1)
    'weighted kappa'
    >>> applying_coefficient("nominal", 3, 1)
    "Fleiss' kappa"
    """
    if kind == "continuous" or averaged > 1:
        return "ICC(A,k)" if averaged == raters > 1 else f"ICC(A,{averaged})"
    if raters > 2:
        return "Krippendorff's alpha (ordinal)" if kind == "ordinal" else "Fleiss' kappa"
    return "weighted kappa" if kind == "ordinal" else "Cohen's kappa"


def read_icc(low: float) -> str:
    """Put the lower limit of an ICC into Koo and Li's word.

    Examples
    --------
    >>> read_icc(0.62)
    'moderate'
    """
    return next(word for bound, word in KOO_LI if low < bound)


def read_kappa(kappa: float) -> str:
    """Put a kappa into Landis and Koch's word."""
    return next(word for bound, word in LANDIS_KOCH if round(kappa, 9) <= bound)


def advice_sentences(
    row: Mapping[str, Any],
    averaged: int,
    raters: int,
    pairs: Sequence[Mapping[str, Any]],
    limits: Sequence[Mapping[str, Any]],
    categories: Mapping[str, float],
) -> tuple[str, ...]:
    """Say in sentences which coefficient applies and what else a reader must know.

    ``categories`` holds how many items' worth of ratings each category has; empty for scores.
    """
    return (
        _which(row, averaged),
        _reading(row),
        *_few(row, raters),
        *_rough(row, categories),
        *(_paradox(pair) for pair in pairs if _is_paradox(pair)),
        *(_proportional(limit) for limit in limits if limit["slope_p"] < 0.05),
    )


def _which(row: Mapping[str, Any], averaged: int) -> str:
    who = "one rater" if averaged == 1 else f"the mean of {averaged} raters"
    return f"The study analyses the score of {who}: {row['term']} is the coefficient that applies."


def _reading(row: Mapping[str, Any]) -> str:
    if row["estimate"] != row["estimate"]:
        return (
            f"{row['term']} is undefined here: the scores hardly vary. "
            "Read the percentage agreement and AC1, and say so."
        )
    reach = digits.interval(row["conf_low"], row["conf_high"])
    text = f"{row['term']} = {digits.number(row['estimate'])} ({reach})"
    if row["family"] == "icc":
        return (
            f"{text}; by its lower limit {read_icc(row['conf_low'])} (Koo and Li 2016; custom). "
            "It falls where items differ little, even if raters agree: read it beside the "
            "measurement error."
        )
    if row["family"] == "alpha":
        return f"{text}; customary demand .80, tentative from .667 (Krippendorff; custom)."
    low, high = read_kappa(row["conf_low"]), read_kappa(row["conf_high"])
    span = low if low == high else f"anything from {low} to {high}"
    return f"{text}; {span} by its interval (Landis and Koch 1977; arbitrary)."


def _few(row: Mapping[str, Any], raters: int) -> tuple[str, ...]:
    """What small samples cannot show."""
    width = row["conf_high"] - row["conf_low"]
    if not width > WIDE:
        return ()
    text = (
        f"{row['n']} items do not tell good agreement from poor: the interval is "
        f"{digits.number(width)} wide."
    )
    if row["form"] == "agreement" and raters < FEW_RATERS:
        text += (
            f" {raters} raters say little about how raters in general differ in level; more items "
            "do not mend that, more raters do."
        )
    return (text,)


def _rough(row: Mapping[str, Any], categories: Mapping[str, float]) -> tuple[str, ...]:
    """Where the interval itself is not to be trusted."""
    if not 1 < len(categories) <= FEW_CATEGORIES or row["estimate"] != row["estimate"]:
        return ()
    rarest = min(categories, key=lambda name: categories[name])
    if categories[rarest] >= RARE:
        return ()
    return (
        f"Do not lean on the interval: category {rarest} has the ratings of "
        f"{digits.number(categories[rarest], 1)} items. With so rare a category 95 % intervals "
        "held the truth in 92 to 100 % of simulated samples, and samples without it have no "
        "coefficient at all.",
    )


def _is_paradox(pair: Mapping[str, Any]) -> bool:
    return bool(pair["agreement"] > 0.8 and pair["ac1"] - pair["kappa"] > 0.2)


def _paradox(pair: Mapping[str, Any]) -> str:
    return (
        f"Raters {pair['first']} and {pair['second']} agree on "
        f"{digits.percent(pair['agreement'])} of items although kappa is "
        f"{digits.number(pair['kappa'])}: one category is rare (prevalence index "
        f"{digits.number(pair['prevalence'])}), so read "
        f"AC1 = {digits.number(pair['ac1'])} beside it."
    )


def _proportional(limit: Mapping[str, Any]) -> str:
    return (
        f"The difference between raters {limit['first']} and {limit['second']} changes with the "
        f"size of the score (slope {digits.number(limit['slope'])}, "
        f"{digits.interval(limit['slope_low'], limit['slope_high'])}): one pair of limits does "
        "not fit the whole range."
    )
