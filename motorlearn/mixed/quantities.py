"""What an estimate is, in words: by family, link and scale."""

from motorlearn.exceptions import InputError
from motorlearn.mixed.formula.formulas import is_logarithm
from motorlearn.mixed.responses import COUNTS, HITS
from motorlearn.mixed.result import MixedFit

SCALES = {
    "link": "on the scale of the linear predictor",
    "typical": "for a participant whose random effects are zero",
    "average": "averaged over participants",
    "median": "medians, for a participant whose random effects are zero",
    "ratio": "ratio, for a participant whose random effects are zero",
}
OF_MEANS = ("link", "typical", "average", "median")
GEOMETRIC = "ratio of geometric means"
EXPLANATION = (
    "A typical participant has random effects of zero; the average is taken over the spread of "
    "participants. With a curved link the two differ: by the logit and probit links the average "
    "probability lies nearer to one half. An odds ratio speaks of one typical participant, a "
    "difference of averages of the whole group."
)
OF_RATINGS = (
    "A typical participant has random effects of zero; the average is taken over the spread of "
    "participants. An odds ratio is that of a rating above any given one: the model takes it to be "
    "the same for all of them."
)
OF_LOGARITHMS = (
    "A typical participant has random effects of zero; the mean over the spread of participants "
    "is larger, because a logarithmic scale stretches the upper part. Ratios are the same for both."
)
EACH = "each"


def explanation(fit: MixedFit) -> str:
    """How typical participants and averages differ."""
    if fit.family == "ordinal":
        return OF_RATINGS
    if fit.family in HITS:
        return EXPLANATION
    return OF_LOGARITHMS if fit.link == "log" else ""


def quantity(fit: MixedFit, scale: str, slope: str | None, rating: object = None) -> str:
    """Name of what is estimated."""
    if slope is not None:
        return f"slope in {slope}" + (" (factor per unit)" if scale == "ratio" else "")
    if scale == "ratio":
        return _ratio(fit)
    if fit.family == "gaussian":
        return "mean"
    if scale == "median":
        return "median, typical participant"
    names = {"ordinal": "mean rating"} | dict.fromkeys(HITS, "probability")
    name = names.get(fit.family, "mean count" if fit.family in COUNTS else "mean")
    if rating is not None:
        name = "probability" if rating == EACH else f"probability of {rating}"
    on_link = "log median" if fit.family == "lognormal" else fit.link
    on_link = f"{on_link} of higher ratings" if fit.family == "ordinal" else on_link
    return {
        "link": f"{on_link}, typical participant",
        "typical": f"{name}, typical participant",
        "average": f"{name}, average over participants",
    }[scale]


def _ratio(fit: MixedFit) -> str:
    if fit.family == "ordinal":
        return "odds ratio of higher ratings, typical participant"
    if fit.link == "logit":
        return "odds ratio, typical participant"
    return GEOMETRIC if fit.linear else "ratio of means"


def check_scale(
    fit: MixedFit, scale: str, scales: tuple[str, ...], slope: str | None, rating: object
) -> None:
    """Refuse a scale that the model does not have.

    Raises
    ------
    InputError
        With the scales that it has.
    """
    if scale not in scales:
        raise InputError("the scale is not known", [scale], f"use one of {scales}")
    if slope is not None and scale not in ("link", "ratio"):
        raise InputError(
            "slopes are those of the linear predictor",
            [scale],
            "use scale='link' or 'ratio', or ask for means at= two places",
        )
    logs = fit.link in ("logit", "log") or is_logarithm(fit.formula)
    if scale == "ratio" and not logs:
        raise InputError(
            "a ratio needs a logit or logarithmic link, or an outcome that is the logarithm of a "
            "column",
            [fit.formula],
            "use scale='link', 'typical' or 'average'",
        )
    if scale == "median" and fit.family != "lognormal":
        raise InputError(
            "medians are those of a lognormal model", [fit.family], "use scale='typical'"
        )
    if fit.family == "lognormal" and scale in ("typical", "average") and fit.design.residual:
        raise InputError(
            "means of times whose spread differs between levels are not made",
            [scale],
            "use scale='median' or 'ratio'",
        )
    if rating is not None and (fit.family != "ordinal" or scale not in ("typical", "average")):
        raise InputError(
            "the probability of a rating is that of an ordinal model on the scale 'typical' or "
            "'average'",
            [fit.family, scale],
            "fit family='ordinal' and use scale='average'",
        )


def place_of(fit: MixedFit, rating: object) -> int:
    """Place of a rating, from 0.

    Raises
    ------
    InputError
        If it is not a rating of the model.
    """
    categories = list(fit.design.categories)
    if rating not in categories:
        raise InputError(
            "the rating is not one of the model",
            [rating],
            f"use one of {', '.join(map(str, categories))}",
        )
    return categories.index(rating)
