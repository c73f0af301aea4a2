"""Effects of practice order in published syntheses: where to start, never where to stop."""

import math
from typing import Final

import pandas as pd

from motorlearn.design import Design, Sample

_TRANSFER = "Czyż et al. 2024, Front Psychol 15:1377122, doi:10.3389/fpsyg.2024.1377122"
_RETENTION = "Czyż et al. 2024, Sci Rep 14:15974, doi:10.1038/s41598-024-65753-3"
_SPORT = (
    "Ammar et al. 2024, Educ Psychol Rev 36(2), doi:10.1007/s10648-024-09892-z (physical education "
    "and sport, 36 studies)"
)
_BRADY = "Brady 2004, Percept Mot Skills 99:116-126"
_SMD = "standardised mean difference"
_SEEN, _MEMORY = "abstract read", "from memory"
_ADULT, _OLDER = 18, 60
_INTERFERENCE = {"blocked", "serial", "random", "increasing"}
YOUNG, OLDER = "young", "older adults"
_ROWS: Final = (
    ("transfer", "overall", "all", 0.55, _SMD, _TRANSFER, _SEEN),
    ("transfer", "laboratory", "all", 0.75, _SMD, _TRANSFER, _SEEN),
    ("transfer", "applied", "all", 0.34, "not significant", _TRANSFER, _SEEN),
    ("transfer", "overall", YOUNG, 0.12, "negligible, not significant", _TRANSFER, _SEEN),
    ("transfer", "overall", "adults", 0.54, _SMD, _TRANSFER, _SEEN),
    ("transfer", "overall", OLDER, 1.28, _SMD, _TRANSFER, _SEEN),
    ("retention", "overall", "all", None, "described as medium, 54 studies", _RETENTION, _SEEN),
    ("retention", "laboratory", "all", None, "described as effective", _RETENTION, _SEEN),
    ("retention", "applied", "all", None, "described as almost negligible", _RETENTION, _SEEN),
    (
        "retention",
        "overall",
        YOUNG,
        None,
        "described as negligible, not significant",
        _RETENTION,
        _SEEN,
    ),
    ("retention", "overall", "adults", None, "described as medium", _RETENTION, _SEEN),
    ("retention", "overall", OLDER, None, "described as large", _RETENTION, _SEEN),
    ("retention", "overall", "all", 0.38, "effect size", _BRADY, _MEMORY),
    ("retention", "laboratory", "all", 0.57, "basic research", _BRADY, _MEMORY),
    ("retention", "applied", "all", 0.19, "applied research", _BRADY, _MEMORY),
    (
        "change, posttest to retention",
        "applied",
        "all",
        -0.35,
        "high interference lost less",
        _SPORT,
        _SEEN,
    ),
    (
        "change, pretest to retention",
        "applied",
        "all",
        -0.13,
        "in favour of high interference, not significant",
        _SPORT,
        _SEEN,
    ),
    (
        "change, pretest to posttest",
        "applied",
        "all",
        0.10,
        "in favour of low interference, not significant",
        _SPORT,
        _SEEN,
    ),
)


def prior_effects() -> pd.DataFrame:
    """Published effects of high against low contextual interference, with their source.

    Positive values favour random over blocked practice, except in the rows of changes, which are
    quoted as printed and where negative values do. A missing value stands where the source's
    abstract gives a word and no number. Look at the laboratory and the applied value side by side;
    neither is a default.

    Returns
    -------
    DataFrame
        ``test, setting, people, effect, note, source, status``; ``people`` are those of an age
        group as the authors divide them, or all.

    Examples
    --------
    >>> table = prior_effects()
    >>> table.query("test == 'transfer' and people == 'all'")["effect"].tolist()
    [0.55, 0.75, 0.34]
    """
    columns = ["test", "setting", "people", "effect", "note", "source", "status"]
    return pd.DataFrame(_ROWS, columns=columns)


def prior_pair(phase: str) -> pd.DataFrame:
    """Laboratory and applied value with a number, for transfer or for any other test."""
    table = prior_effects().dropna(subset="effect")
    chosen = (table["test"] == _kind(phase)) & table["setting"].isin(["laboratory", "applied"])
    return table[chosen].reset_index(drop=True)


def age_group(sample: Sample) -> str | None:
    """The age group whose published effects stand beside the others, where the plan has one.

    ``young`` where people under 18 may take part, ``older adults`` where nobody under 60 may.
    """
    ages = [age for age in (sample.age_low, sample.age_high) if age is not None]
    if sample.minors or (ages and min(ages) < _ADULT):
        return YOUNG
    return OLDER if sample.age_low is not None and sample.age_low >= _OLDER else None


def prior_of_age(phase: str, sample: Sample) -> pd.DataFrame:
    """Published effects of practice order in the plan's age group; no row where it has none."""
    table = prior_effects()
    chosen = (table["test"] == _kind(phase)) & (table["people"] == age_group(sample))
    return table[chosen].reset_index(drop=True)


def age_notes(phase: str, sample: Sample) -> tuple[str, ...]:
    """Say what was found on practice order in people of the plan's age."""
    return tuple(
        f"In {_PEOPLE[row.people]} the pooled effect of random over blocked practice on {row.test} "
        "was "
        f"{row.note if math.isnan(row.effect) else f'd = {row.effect:g} ({row.note})'} "
        f"({row.source}; {row.status})."
        for row in prior_of_age(phase, sample).itertuples()
    )


def orders_compared(design: Design) -> set[str]:
    """Practice orders of the plan's groups, of those that interfere differently."""
    return {str(group.schedule) for group in design.groups} & _INTERFERENCE


def _kind(phase: str) -> str:
    return "transfer" if phase == "transfer" else "retention"


_PEOPLE: Final = {YOUNG: "young participants", OLDER: "older adults"}
