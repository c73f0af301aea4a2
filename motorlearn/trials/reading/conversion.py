"""Changes of unit that a person decided; each is logged with the number of values it touched."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.design import Conversion
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.trials.reading.standard import Standard
from motorlearn.vocabulary import CHANGE_COLUMNS

UNITS: Final = {
    "length": {"mm": 0.001, "cm": 0.01, "m": 1.0, "in": 0.0254, "ft": 0.3048},
    "time": {"ms": 0.001, "s": 1.0, "min": 60.0, "h": 3600.0},
    "speed": {"m/s": 1.0, "cm/s": 0.01, "km/h": 1 / 3.6, "mph": 0.44704},
}
"""Units by quantity, each in terms of m, s and m/s (exact by definition)."""


def factor(source: str, target: str) -> float:
    """Give the number a value in one unit is multiplied by to be in the other.

    Raises
    ------
    InputError
        If the units are unknown or measure different quantities.

    Examples
    --------
    >>> factor("m", "cm"), round(factor("km/h", "m/s"), 6)
    (100.0, 0.277778)
    """
    for units in UNITS.values():
        if source in units and target in units:
            return units[source] / units[target]
    known = ", ".join(name for units in UNITS.values() for name in units)
    raise InputError(
        "there is no conversion between these units", [source, target], f"known units: {known}"
    )


def convert_units(standard: Standard, conversions: Sequence[Conversion]) -> Standard:
    """Apply the conversions of a recipe in order.

    Raises
    ------
    ColumnError
        If a conversion names a column that is not there.
    """
    for conversion in conversions:
        standard = _converted(standard, conversion)
    return standard


def _converted(standard: Standard, conversion: Conversion) -> Standard:
    table = standard.sheet.table.copy()
    absent = [n for n in (conversion.column, *conversion.where) if n not in table.columns]
    if absent:
        raise ColumnError("a conversion names a column that is not there", absent)
    lines = np.ones(len(table), dtype=bool)
    for name, wanted in conversion.where.items():
        lines &= (table[name].astype("str") == str(wanted)).to_numpy(dtype=bool)
    values = table[conversion.column].to_numpy(dtype=float).copy()
    values[lines] *= factor(conversion.source, conversion.target)
    table[conversion.column] = values
    touched = int(np.isfinite(values[lines]).sum())
    change = (
        standard.sheet.file,
        standard.sheet.title,
        pd.NA,
        standard.sheet.column(conversion.column),
        conversion.source,
        conversion.target,
        f"unit converted ({touched} values)",
    )
    logged = pd.DataFrame([change], columns=list(CHANGE_COLUMNS)).astype({"row": "Int64"})
    return replace(
        standard,
        sheet=replace(standard.sheet, table=table),
        changes=pd.concat([standard.changes, logged], ignore_index=True),
        units={**standard.units, conversion.column: conversion.target},
    )
