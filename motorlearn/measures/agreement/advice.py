"""Which agreement coefficient fits the score a study uses, and how to read it."""

from collections.abc import Mapping, Sequence

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


def applying_coefficient(kind: str, raters: int, averaged: int, *, complete_share: float) -> str:
    """Name the coefficient that describes the score the study analyses.

    Examples
    --------
    >>> applying_coefficient("continuous", 2, 1, complete_share=1.0)
    'ICC(A,1)'
    >>> applying_coefficient("ordinal", 2, 1, complete_share=1.0)
    'weighted kappa'
    >>> applying_coefficient("nominal", 3, 1, complete_share=1.0)
    "Fleiss' kappa"
    """
    if complete_share < 0.8:
        metric = {"continuous": "interval"}.get(kind, kind)
        return f"Krippendorff's alpha ({metric})"
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
    row: Mapping, averaged: int, pairs: Sequence[Mapping], limits: Sequence[Mapping]
) -> tuple[str, ...]:
    """Say in sentences which coefficient applies and what else a reader must know."""
    return (
        _which(row, averaged),
        _reading(row),
        *(_paradox(pair) for pair in pairs if _is_paradox(pair)),
        *(_proportional(limit) for limit in limits if limit["slope_p"] < 0.05),
    )


def _which(row: Mapping, averaged: int) -> str:
    who = "one rater" if averaged == 1 else f"the mean of {averaged} raters"
    return f"The study analyses the score of {who}: {row['term']} is the coefficient that applies."


def _reading(row: Mapping) -> str:
    if row["estimate"] != row["estimate"]:
        return (
            f"{row['term']} is undefined here: the scores hardly vary. "
            "Read the percentage agreement and AC1, and say so."
        )
    reach = digits.interval(row["conf_low"], row["conf_high"])
    text = f"{row['term']} = {digits.number(row['estimate'])} ({reach})"
    if row["term"].startswith("ICC"):
        return (
            f"{text}; by its lower limit {read_icc(row['conf_low'])} (Koo and Li 2016; custom). "
            "It falls where items differ little, even if raters agree: read it beside the "
            "measurement error."
        )
    if "alpha" in row["term"]:
        return f"{text}; customary demand .80, tentative from .667 (Krippendorff; custom)."
    return f"{text}; {read_kappa(row['estimate'])} (Landis and Koch 1977; arbitrary)."


def _is_paradox(pair: Mapping) -> bool:
    return pair["agreement"] > 0.8 and pair["ac1"] - pair["kappa"] > 0.2


def _paradox(pair: Mapping) -> str:
    return (
        f"Raters {pair['first']} and {pair['second']} agree on "
        f"{digits.percent(pair['agreement'])} of items although kappa is "
        f"{digits.number(pair['kappa'])}: one category is rare (prevalence index "
        f"{digits.number(pair['prevalence'])}), so read "
        f"AC1 = {digits.number(pair['ac1'])} beside it."
    )


def _proportional(limit: Mapping) -> str:
    return (
        f"The difference between raters {limit['first']} and {limit['second']} changes with the "
        f"size of the score (slope {digits.number(limit['slope'])}, "
        f"{digits.interval(limit['slope_low'], limit['slope_high'])}): one pair of limits does "
        "not fit the whole range."
    )
