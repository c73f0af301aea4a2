"""The kind of outcome of each family."""

from motorlearn.mixed.solve.likelihoods import (
    BetaBinomial,
    Binomial,
    Gamma,
    Likelihood,
    NegativeBinomial,
    Poisson,
)
from motorlearn.mixed.solve.ratings import Ordinal


def likelihood_of(family: str, link: str, categories: int = 0) -> Likelihood:
    """Kind of outcome of a family.

    Examples
    --------
    >>> likelihood_of("ordinal", "logit", 4).n_extra
    2
    """
    if family == "ordinal":
        return Ordinal(link, categories)
    if family == "beta-binomial":
        return BetaBinomial(link)
    if family == "poisson":
        return Poisson()
    if family == "negative-binomial":
        return NegativeBinomial()
    return Gamma() if family == "gamma" else Binomial(link)
