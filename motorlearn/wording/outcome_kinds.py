"""Why the mixed model of trials is the one it is, and what its estimates are on."""

from motorlearn.mixed import MixedFit

WHY = {
    "ordinal": (
        "The plan calls this outcome a rating, so the model is one of ordered categories "
        "(cumulative {link}): steps between ratings need not be equal, and nobody can be rated "
        "beyond the ends of the scale."
    ),
    "negative-binomial": (
        "The plan calls this outcome a count, so the model is negative binomial with a logarithmic "
        "link: a count cannot fall below zero, and its spread grows with its mean."
    ),
    "lognormal": (
        "The plan calls this outcome a time, so the model is one of its logarithm: times are "
        "positive and skewed to the right, and differences of logarithms are ratios of medians."
    ),
}
SCALES = {
    "ordinal": "the {link} of a higher rating",
    "negative-binomial": "the logarithm of the mean count, on which differences are ratios",
    "lognormal": "the logarithm of the time, on which differences are ratios",
    "binomial": "the log odds of a hit",
}


def why_this_model(fit: MixedFit) -> str:
    """The sentence on the choice of family, empty where the plan names no kind."""
    return WHY.get(fit.family, "").format(link=fit.link)


def scale_of_model(fit: MixedFit, ratio: bool) -> str:
    """What the estimates of the model are on."""
    if ratio and fit.family == "gaussian":
        return "the log scale, on which differences are ratios"
    return SCALES.get(fit.family, "the outcome's own scale").format(link=fit.link)
