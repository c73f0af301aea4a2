"""The mixed model of trials that suits the kind of an outcome, as the plan declares it."""

import pandas as pd

from motorlearn.design import TimeRules
from motorlearn.exceptions import InputError
from motorlearn.mixed import MixedFit, fit_mixed

FAMILY_OF = {"rating": "ordinal", "count": "negative-binomial", "time": "lognormal"}
"""Families of the kinds that are neither hits nor plain scores."""


def model_of_kind(rows: pd.DataFrame, column: str, terms: str, kind: str) -> MixedFit:
    """Fit ratings by cumulative odds, counts as negative binomial, and times by their logarithm.

    People differ at random at each test where they have several rows there.

    Parameters
    ----------
    rows : DataFrame
        Trials with ``participant``, ``test`` and the outcome.
    column : str
        The outcome.
    terms : str
        Fixed part.
    kind : {"rating", "count", "time"}
        What the plan calls the outcome.

    Raises
    ------
    InputError
        If values do not fit the kind.
    """
    family = FAMILY_OF[kind]
    repeated = bool(rows.duplicated(["participant", "test"]).any())
    if family == "lognormal":
        random = {"participant": "1 + test" if repeated else "1"}
    else:
        random = {"participant/test" if repeated else "participant": "1"}
    try:
        return fit_mixed(f"`{column}` ~ {terms}", rows, random=random, family=family)
    except InputError as problem:
        raise InputError(
            f"the plan calls {column!r} a {kind}, and its values do not fit that: {problem.cause}",
            problem.values,
            problem.remedy,
        ) from None


def model_of_contrast(rows: pd.DataFrame, column: str, terms: str, rules: TimeRules) -> MixedFit:
    """Fit times of two kinds of trials, such as random and sequence trials, at each test.

    The second kind is the reference, so that terms with the column of the contrast speak of first
    less second, or of their ratio on a log scale. People differ at random in each kind of trials at
    each test, because people and not trials were allocated.

    Parameters
    ----------
    rows : DataFrame
        Trials with ``participant``, ``test``, the times and the column of the contrast.
    column : str
        The times.
    terms : str
        Fixed part, without the contrast.
    rules : TimeRules
        Rules of the plan, with a contrast.
    """
    name = rules.contrast
    kinds = [rules.second, rules.first]
    told = rows[name].astype("str")
    rows = rows[told.isin([str(kind) for kind in kinds])]
    rows = rows.assign(
        **{
            name: pd.Categorical(rows[name].astype("str"), [str(kind) for kind in kinds]),
            column: rows[column] - rules.shift,
        }
    )
    repeated = bool(rows.duplicated(["participant", "test", name]).any())
    people = f"1 + test * `{name}`" if repeated else "1 + test"
    family = "gaussian" if rules.scale == "raw" else "lognormal"
    formula = f"`{column}` ~ ({terms}) * `{name}`"
    return fit_mixed(formula, rows, random={"participant": people}, family=family)
