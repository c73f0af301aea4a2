"""Files of SPSS and Stata as a grid of texts, with their value labels and declared missing codes.

They are read by pyreadstat, which the extra ``spss-stata`` installs.
"""

import datetime
import math
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa

from motorlearn.exceptions import FileError
from motorlearn.trials.containers.grid import Grid
from motorlearn.trials.containers.safety import MOST_BYTES

try:
    import pyreadstat
except ImportError:  # the extra is not installed: the file is refused in words
    pyreadstat = None  # type: ignore[assignment]

SPSS: Final = ".sav"
_ZERO_ONE: Final = {"0", "1"}


def read_statistics_file(path: Path) -> Grid:
    """Read a file of SPSS (``.sav``) or Stata (``.dta``).

    Codes are given as their labels where a nominal variable has a label for every value that
    occurs, except in variables of zeros and ones, which stay numbers. Values that the file declares
    as missing become empty cells. What was done stands in the evidence, by variable.

    Raises
    ------
    FileError
        If pyreadstat is not installed, or the file is damaged or too large.
    """
    if pyreadstat is None:
        raise FileError(
            "files of SPSS and Stata need the package pyreadstat",
            [path.name],
            "run  pip install pyreadstat,  or save the data as CSV",
        )
    reader = pyreadstat.read_sav if path.suffix.lower() == SPSS else pyreadstat.read_dta
    try:
        _, before = reader(str(path), metadataonly=True, user_missing=True)
        if (before.number_rows or 0) * (before.number_columns or 0) * 8 > MOST_BYTES:
            raise FileError("the file would unpack to an absurd size and was not read", [path.name])
        values, meta = reader(str(path), output_format="dict")
    except (pyreadstat.ReadstatError, UnicodeDecodeError, MemoryError) as problem:
        raise FileError("the file is damaged", [path.name], "save it again") from problem
    columns, evidence = [], {"format": "SPSS" if path.suffix.lower() == SPSS else "Stata"}
    for name in meta.column_names:
        texts = [_text(value) for value in values[name]]
        labels = {_text(code): str(label) for code, label in _labels(meta, name).items()}
        if _are_names(meta, name, set(texts) - {""}, labels):
            texts = [labels.get(text, text) for text in texts]
            said = ", ".join(f"{code} = {label}" for code, label in labels.items())
            evidence[f"labels of {name}"] = said
        columns.append(pa.chunked_array([pa.array([name, *texts], pa.string())]))
    for name, ranges in (before.missing_ranges or {}).items():
        evidence[f"declared missing in {name}"] = ", ".join(_range(entry) for entry in ranges)
    lines = len(columns[0]) if columns else 0
    return Grid(path.name, tuple(columns), np.arange(lines), evidence=evidence)


def _labels(meta: Any, name: str) -> dict[Any, str]:
    labels: dict[Any, str] = (meta.variable_value_labels or {}).get(name, {})
    return labels


def _are_names(meta: Any, name: str, present: set[str], labels: dict[str, str]) -> bool:
    """Tell codes that stand for names from numbers that carry labels, such as a rating."""
    measure = (getattr(meta, "variable_measure", None) or {}).get(name, "unknown")
    nominal = measure in ("nominal", "unknown")
    return nominal and bool(present) and present <= set(labels) and not present <= _ZERO_ONE


def _range(entry: Any) -> str:
    low, high = _text(entry["lo"]), _text(entry["hi"])
    return low if low == high else f"{low} to {high}"


def _text(value: Any) -> str:
    match value:
        case None:
            return ""
        case float() if math.isnan(value):
            return ""
        case float() if value.is_integer() and abs(value) < 1e15:
            return str(int(value))
        case datetime.date() | datetime.time():
            return value.isoformat()
        case str():
            return value.rstrip()
    return str(value)
