"""Covariates of people beside the baseline: age, site, strata."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.compare.participants import Columns, PhaseScores
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.linear.coding import treatment_columns
from motorlearn.rows import LEFT_OUT


@dataclass(frozen=True)
class Covariates:
    """One row per participant, in the order of the scores.

    Parameters
    ----------
    values : array (n, columns)
        Numbers as they are, labels as one column for every level but the first; NaN where missing.
    terms : tuple of str
        Covariate of each column.
    levels : tuple of str
        Level that a column stands for; empty for a number.
    """

    values: NDArray[np.float64]
    terms: tuple[str, ...]
    levels: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The covariates, each once."""
        return tuple(dict.fromkeys(self.terms))

    @property
    def columns(self) -> tuple[str, ...]:
        """Name of each column in a message."""
        return tuple(
            f"{term} {level}".strip() for term, level in zip(self.terms, self.levels, strict=True)
        )


def covariates_of(
    table: pd.DataFrame,
    columns: Columns,
    data: PhaseScores,
    names: Sequence[str],
    factors: Sequence[str] = (),
) -> Covariates | None:
    """Read each participant's covariates from the rows of a table.

    Raises
    ------
    ColumnError, InputError
        If a covariate is no column, plays another part, differs within a person, is the same for
        everybody or is known of nobody.
    """
    if isinstance(names, str):
        names = (names,)
    if not names:
        return None
    _check(table, (*columns.used().values(), *factors), names)
    own = table[table[columns.participant].isin(data.participants)]
    parts: list[NDArray[np.float64]] = []
    terms: list[str] = []
    levels: list[str] = []
    for name in names:
        values = _by_person(own, columns.participant, name).reindex(data.participants)
        block, labels = _columns(values, name)
        parts.append(block)
        terms += [name] * len(labels)
        levels += labels
    return Covariates(np.hstack(parts), tuple(terms), tuple(levels))


def all_left_out(data: PhaseScores, covariates: Covariates | None) -> pd.DataFrame:
    """Who is left out, those of whom a covariate is missing too."""
    if covariates is None:
        return data.left_out
    rows = []
    for i in np.flatnonzero(np.isnan(covariates.values).any(axis=1)):
        lost = dict.fromkeys(np.array(covariates.terms)[np.isnan(covariates.values[i])])
        rows.append(
            LEFT_OUT.row(
                participant=data.participants[i],
                group=data.groups[data.codes[i]],
                reason=f"no value of {', '.join(lost)}: not in the adjusted comparison",
            )
        )
    return pd.concat([data.left_out, LEFT_OUT.frame(rows)], ignore_index=True)


def people_frame(covariates: Covariates | None, data: PhaseScores) -> pd.DataFrame:
    """Covariates of every participant, one column for each number and for each level but one."""
    frame = pd.DataFrame({"participant": data.participants})
    if covariates is None:
        return frame
    return frame.assign(**dict(zip(covariates.columns, covariates.values.T, strict=True)))


def _check(table: pd.DataFrame, used: Sequence[str], names: Sequence[str]) -> None:
    absent = [name for name in names if name not in table]
    if absent:
        raise ColumnError(
            "a covariate is no column of the table",
            absent,
            f"its columns are {', '.join(map(str, table.columns))}",
        )
    twice = sorted({name for name in names if list(names).count(name) > 1})
    taken = [name for name in names if name in used]
    if twice or taken:
        raise InputError(
            "a covariate is named twice or is another part of the comparison already",
            twice or taken,
            "name each once; the test before practice is baseline=",
        )


def _by_person(table: pd.DataFrame, participant: str, name: str) -> pd.Series:
    known = table[[participant, name]].dropna()
    people = known.drop_duplicates().groupby(participant, observed=True)[name]
    several = people.size()
    if (several > 1).any():
        raise InputError(
            f"covariate {name!r} differs within a person",
            several.index[several > 1][:10],
            "a covariate describes the person; average it per person, or correct the rows",
        )
    if not len(several):
        raise InputError(f"covariate {name!r} is known of nobody", [name], "fill in its column")
    return people.first()


def _columns(values: pd.Series, name: str) -> tuple[NDArray[np.float64], list[str]]:
    known = values.dropna()
    if known.nunique() < 2:
        raise InputError(
            f"covariate {name!r} is the same for everybody", [known.iloc[0]], "leave it out"
        )
    if pd.api.types.is_numeric_dtype(values) and not pd.api.types.is_bool_dtype(values):
        numbers = values.to_numpy(dtype=float)
        if not np.isfinite(numbers[~np.isnan(numbers)]).all():
            raise InputError(f"covariate {name!r} is not finite", [name], "correct its values")
        return numbers[:, None], [""]
    levels = sorted(map(str, known.unique()))
    if len(levels) > len(known) // 2:
        raise InputError(
            f"covariate {name!r} has a label of its own for almost everybody",
            levels[:5],
            "give numbers as numbers; labels are for groups of people",
        )
    codes = pd.Categorical(values.astype("str"), categories=levels).codes.astype(np.intp)
    block = treatment_columns(np.where(codes < 0, 0, codes), len(levels))
    block[values.isna().to_numpy()] = np.nan
    return block, levels[1:]
