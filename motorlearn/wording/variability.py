"""What a model of level and spread says of a condition, in sentences."""

from collections.abc import Mapping
from itertools import combinations
from typing import Any

import numpy as np

from motorlearn import digits
from motorlearn.mixed import VariabilityFit

BESIDE = (
    "This spread is that of a person's scores about where they lie at the time, as variable error "
    "is; in two dimensions bivariate variable error stands beside it."
)


def variability_sentences(
    fit: VariabilityFit, by: str, *, within: str | None = None
) -> tuple[str, ...]:
    """Say how variable performers are under each condition, with ratios and their intervals.

    Parameters
    ----------
    fit : VariabilityFit
        A model of level and spread.
    by : str
        Category of the spread whose levels are compared.
    within : str, optional
        Category within whose levels they are.

    Raises
    ------
    InputError
        If the spread does not follow one of the columns.

    Examples
    --------
    >>> import pandas as pd
    >>> from motorlearn.mixed import fit_variability
    >>> rng = np.random.default_rng(1)
    >>> person = np.repeat(np.arange(20), 20)
    >>> table = pd.DataFrame({
    ...     "participant": person,
    ...     "group": np.where(person < 10, "blocked", "random"),
    ...     "radial_error": rng.normal(25, np.where(person < 10, 2, 4)),
    ... })
    >>> fit = fit_variability("radial_error ~ group", table, spread="group")
    >>> variability_sentences(fit, "group")[0][:56]
    'A typical performer of random scattered 1.96 times as mu'
    """
    levels = list(fit.spreads(by).frame[by])
    pairs = [(a, b) for a, b in combinations(range(len(levels)), 2)]
    kind = {
        f"{levels[b]} - {levels[a]}": list(np.eye(len(levels))[b] - np.eye(len(levels))[a])
        for a, b in pairs
    }
    rows = fit.ratios(by, within=within, kind=kind).frame.to_dict("records")
    told = []
    for place, row in enumerate(rows):
        a, b = pairs[place % len(pairs)]
        where = "" if within is None else f" at {row[within]}"
        told.append(_one({str(k): v for k, v in row.items()}, levels[b], levels[a], where))
    return (*told, BESIDE)


def _one(row: Mapping[str, Any], later: object, earlier: object, where: str) -> str:
    limits = [digits.significant(row[name]) for name in ("conf_low", "conf_high")]
    open_ended = (
        ""
        if not row["conf_low"] <= 1 <= row["conf_high"]
        else (" The interval holds 1: which of them scatters more is not known.")
    )
    return (
        f"A typical performer of {later} scattered {digits.significant(row['estimate'])} times as "
        f"much about their own mean as one of {earlier}{where}, interval {' to '.join(limits)}, "
        f"t({digits.degrees_of_freedom(row['df'])}) = {digits.number(row['statistic'])}, "
        f"{digits.p_clause(row['p_adjusted'])}.{open_ended}"
    )
