"""Effects of practice order in published syntheses: where to start, never where to stop."""

from typing import Final

import pandas as pd

_TRANSFER = "Czyż et al. 2024, Front Psychol 15:1377122, doi:10.3389/fpsyg.2024.1377122"
_RETENTION = "Czyż et al. 2024, Sci Rep 14:15974"
_SPORT = "Ammar et al. 2024, Educ Psychol Rev (physical education and sport, 36 studies)"
_BRADY = "Brady 2004, Percept Mot Skills 99:116-126"
_ROWS: Final = (
    ("transfer", "overall", 0.55, "standardised mean difference", _TRANSFER, "abstract read"),
    ("transfer", "laboratory", 0.75, "standardised mean difference", _TRANSFER, "abstract read"),
    ("transfer", "applied", 0.34, "not significant", _TRANSFER, "abstract read"),
    ("retention", "overall", None, "described as medium, 54 studies", _RETENTION, "abstract read"),
    ("retention", "laboratory", None, "described as clear", _RETENTION, "abstract read"),
    ("retention", "applied", None, "described as almost nil", _RETENTION, "abstract read"),
    ("retention", "overall", 0.38, "effect size", _BRADY, "from memory"),
    ("retention", "laboratory", 0.57, "basic research", _BRADY, "from memory"),
    ("retention", "applied", 0.19, "applied research", _BRADY, "from memory"),
    (
        "change, posttest to retention",
        "applied",
        -0.35,
        "high interference lost less",
        _SPORT,
        "abstract read",
    ),
    (
        "change, pretest to retention",
        "applied",
        -0.13,
        "not significant",
        _SPORT,
        "abstract read",
    ),
)


def prior_effects() -> pd.DataFrame:
    """Published effects of high against low contextual interference, with their source.

    Positive values favour random over blocked practice, except in the two rows of changes, which
    are quoted as printed. A missing value stands where the source's abstract gives a word and no
    number. Look at the laboratory and the applied value side by side; neither is a default.

    Returns
    -------
    DataFrame
        ``test, setting, effect, note, source, status``

    Examples
    --------
    >>> table = prior_effects()
    >>> table.query("test == 'transfer'")["effect"].tolist()
    [0.55, 0.75, 0.34]
    """
    return pd.DataFrame(_ROWS, columns=["test", "setting", "effect", "note", "source", "status"])


def prior_pair(phase: str) -> pd.DataFrame:
    """Laboratory and applied value with a number, for transfer or for any other test."""
    test = "transfer" if phase == "transfer" else "retention"
    table = prior_effects().dropna(subset="effect")
    chosen = (table["test"] == test) & table["setting"].isin(["laboratory", "applied"])
    return table[chosen].reset_index(drop=True)
