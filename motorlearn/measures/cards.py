"""Definition cards: what each measure is, in one place for tables, captions and methods texts."""

import difflib
from dataclasses import dataclass
from typing import Final

from motorlearn.exceptions import InputError


@dataclass(frozen=True)
class Card:
    """Definition of one measure.

    Parameters
    ----------
    name : str
        Name of the column in a table of scores.
    label : str
        Name as a reader sees it.
    symbol : str
        Usual abbreviation.
    equation : str
        Definition.
    unit : str
        Where its unit comes from: ``error``, ``length``, ``time`` (the unit of that quantity in
        the study), ``share``, ``logit`` or ``hits``; a registered measure may name a unit itself.
    better : str
        ``lower``, ``higher``, ``nearer zero`` or ``neither``.
    divisor : str
        Divisor of the mean or the mean square.
    source : str
        Where the definition comes from, and whether it was read or recalled.
    """

    name: str
    label: str
    symbol: str
    equation: str
    unit: str
    better: str
    divisor: str
    source: str


_HENRY = "Henry 1974, J Motor Behav 6:149-154; Schmidt & Lee, Motor Control and Learning (memory)"
_HANCOCK = "Hancock, Butler & Fischman 1995, J Motor Behav 27:241-250 (memory)"
_WILSON = "Wilson 1927, JASA 22:209-212; Newcombe 1998, Stat Med 17:857-872"
_COMMON = "common practice, no source"

_CARDS = (
    Card("constant_error", "constant error", "CE", "mean(e)", "error", "nearer zero", "n", _HENRY),
    Card(
        "absolute_constant_error",
        "absolute constant error",
        "|CE|",
        "|mean(e)|",
        "error",
        "lower",
        "n",
        _HENRY,
    ),
    Card(
        "variable_error",
        "variable error",
        "VE",
        "sqrt(mean((e - CE)²))",
        "error",
        "lower",
        "n",
        _HENRY,
    ),
    Card(
        "variable_error_corrected",
        "variable error, corrected for few trials",
        "VEc",
        "VE / (sqrt(2/n) Γ(n/2) / Γ((n - 1)/2))",
        "error",
        "lower",
        "n, then by the share that n normal trials show",
        "expected value of a normal sample's standard deviation (derived)",
    ),
    Card("absolute_error", "absolute error", "AE", "mean(|e|)", "error", "lower", "n", _HENRY),
    Card(
        "total_error",
        "total error",
        "E",
        "sqrt(mean(e²)) = sqrt(CE² + VE²)",
        "error",
        "lower",
        "n",
        _HENRY,
    ),
    Card(
        "mean_radial_error",
        "mean radial error",
        "MRE",
        "mean(sqrt(x² + y²))",
        "length",
        "lower",
        "n",
        _HANCOCK,
    ),
    Card(
        "centroid_radial_error",
        "subject-centroid radial error",
        "SRE",
        "sqrt(x̄² + ȳ²)",
        "length",
        "lower",
        "n",
        _HANCOCK,
    ),
    Card(
        "bivariate_variable_error",
        "bivariate variable error",
        "BVE",
        "sqrt(mean((x - x̄)² + (y - ȳ)²))",
        "length",
        "lower",
        "n",
        _HANCOCK,
    ),
    Card(
        "bivariate_variable_error_corrected",
        "bivariate variable error, corrected for few trials",
        "BVEc",
        "BVE / (sqrt(1/n) Γ(n - ½) / Γ(n - 1))",
        "length",
        "lower",
        "n, then by the share that n normal points of equal spread show",
        "expected value of a normal sample's standard deviation (derived)",
    ),
    Card("hit_rate", "hit rate", "p", "hits / attempts", "share", "higher", "attempts", _COMMON),
    Card("hits", "hits", "k", "number of hits", "hits", "higher", "none", _COMMON),
    Card(
        "hit_low",
        "lower 95 % limit of the hit rate",
        "",
        "Wilson score interval",
        "share",
        "higher",
        "attempts",
        _WILSON,
    ),
    Card(
        "hit_high",
        "upper 95 % limit of the hit rate",
        "",
        "Wilson score interval",
        "share",
        "higher",
        "attempts",
        _WILSON,
    ),
    Card(
        "empirical_logit",
        "empirical logit",
        "",
        "ln((k + ½) / (n - k + ½))",
        "logit",
        "higher",
        "none",
        _COMMON,
    ),
    Card("mean_time", "mean time", "", "mean(time)", "time", "lower", "n", _COMMON),
)

CARDS: Final = {card.name: card for card in _CARDS}
"""Definition cards by name of the measure."""

DIRECTIONS: Final = ("lower", "higher", "nearer zero", "neither")
"""Directions in which a measure can be better."""

_OWN: dict[str, Card] = {}

_SAME_DIRECTION = {
    "hit": "hit_rate",
    "radial_error": "mean_radial_error",
    "time": "mean_time",
    "error": "constant_error",
}


def keep_own_card(name: str, card: Card | None) -> None:
    """Keep the card of a registered measure, or with None drop it."""
    if card is None:
        _OWN.pop(name, None)
    else:
        _OWN[name] = card


def own_card(name: str) -> Card | None:
    """Card of a registered measure, None for every other name."""
    return _OWN.get(name)


def definition(name: str) -> Card:
    """Definition card of a measure, standard or registered.

    Raises
    ------
    InputError
        If there is no such measure; the nearest known one is named.

    Examples
    --------
    >>> definition("bivariate_variable_error").divisor
    'n'
    """
    known = CARDS | _OWN
    if name not in known:
        near = difflib.get_close_matches(name, known, n=1)
        raise InputError(
            "there is no definition card for this measure",
            [name],
            f"did you mean {near[0]!r}?" if near else "see motorlearn.measures.CARDS",
        )
    return known[name]


def better_direction(name: str) -> str | None:
    """Direction in which a measure or a standard column is better, None where nothing is known.

    Examples
    --------
    >>> better_direction("radial_error"), better_direction("hit"), better_direction("speed")
    ('lower', 'higher', None)
    """
    card = CARDS.get(_SAME_DIRECTION.get(name, name), own_card(name))
    return card.better if card is not None and card.better in ("lower", "higher") else None
