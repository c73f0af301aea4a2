"""A data package: Table Schema and descriptor for the tables of a study.

The descriptor follows the Data Package standard, version 2 (datapackage.org): one resource per
table, each field with type, meaning, unit and limits, each file with its size and SHA-256 sum.
"""

import csv
import datetime
import hashlib
import io
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from motorlearn.exceptions import InputError
from motorlearn.tables.writers import spreadsheet_safe
from motorlearn.vocabulary import COLUMNS

PROFILE: Final = "https://datapackage.org/profiles/2.0/datapackage.json"
_END: Final = "\r\n"
_QUOTED: Final = (",", '"', "\r", "\n")
_KEYS: Final = {"participants": ["participant"]}
_LICENCES: Final = {
    "CC0-1.0": "https://creativecommons.org/publicdomain/zero/1.0/",
    "CC-BY-4.0": "https://creativecommons.org/licenses/by/4.0/",
    "GPL-3.0-or-later": "https://www.gnu.org/licenses/gpl-3.0.html",
}


def data_package(
    frames: Mapping[str, pd.DataFrame],
    *,
    name: str,
    title: str = "",
    description: str = "",
    units: Mapping[str, str] | None = None,
    meanings: Mapping[str, str] | None = None,
    licence: str = "",
    created: str = "",
    folder: str | Path | None = None,
    paths: Mapping[str, str] | None = None,
) -> dict[str, Any]:
    """Describe the tables of a study as a Data Package, ready to be written as JSON.

    Parameters
    ----------
    frames : mapping of str to DataFrame
        Tables by name; the file of table ``trials`` is ``trials.csv``.
    name : str
        Short name of the package: lower-case letters, digits, ``-``, ``_`` and ``.``.
    title, description : str
        For a reader.
    units : mapping of str to str, optional
        Unit of a quantity (``length``, ``time``, ``speed``, ``error``) or of a column.
    meanings : mapping of str to str, optional
        Meaning of columns that are not standard ones.
    licence : str
        SPDX identifier of the licence of the data, for example ``CC0-1.0``.
    created : str
        Date and time of making, ISO 8601 with a zone (``2026-03-02T12:00:00Z``).
    folder : path-like, optional
        Where the files are; size and SHA-256 sum of each are then recorded.
    paths : mapping of str to str, optional
        File of a table below the folder, where it is not the name with ``.csv``.

    Returns
    -------
    dict
        The descriptor (``datapackage.json``).

    Raises
    ------
    InputError
        If the name has characters the standard does not allow.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"participant": ["p01"], "trial": [1], "x": [2.5]})
    >>> package = data_package({"trials": table}, name="demo", units={"length": "cm"})
    >>> package["resources"][0]["schema"]["fields"][2]["unit"]
    'cm'
    """
    if not re.fullmatch(r"[a-z0-9._-]+", name):
        raise InputError(
            "the name of a data package holds other characters than a-z, 0-9, '-', '_' and '.'",
            [name],
            "choose a plain name",
        )
    head: dict[str, Any] = {
        "$schema": PROFILE,
        "name": name,
        "title": title,
        "description": description,
    }
    head |= {"created": created} if created else {}
    head |= {"licenses": [_licence(licence)]} if licence else {}
    resources = [
        _resource(label, frame, units or {}, meanings or {}, folder, (paths or {}).get(label))
        for label, frame in frames.items()
    ]
    return {key: value for key, value in head.items() if value} | {"resources": resources}


def table_schema(
    frame: pd.DataFrame,
    *,
    units: Mapping[str, str] | None = None,
    meanings: Mapping[str, str] | None = None,
    key: Sequence[str] = (),
) -> dict[str, Any]:
    """Describe the columns of one table as a Table Schema."""
    fields = [_field(str(name), frame[name], units or {}, meanings or {}) for name in frame.columns]
    schema: dict[str, Any] = {"fields": fields, "missingValues": [""]}
    if key:
        schema["primaryKey"] = list(key)
    return schema


def table_bytes(frame: pd.DataFrame) -> bytes:
    """Write a table as CSV (RFC 4180, UTF-8, decimal point) that a spreadsheet will not run.

    Whole numbers are written without a decimal point even where the column has gaps; a text that
    begins like a formula gets an apostrophe.
    """
    columns = [_cells(frame.iloc[:, place]) for place in range(frame.shape[1])]
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator=_END, quoting=csv.QUOTE_MINIMAL)
    writer.writerow(spreadsheet_safe(str(name)) for name in frame.columns)
    # What needs no quotes is joined: the writer would look at every letter of every number.
    if len(columns) > 1 and all(plain for _, plain in columns):
        rows = zip(*(cells for cells, _ in columns), strict=True)
        buffer.writelines(",".join(row) + _END for row in rows)
    else:
        writer.writerows(zip(*(cells for cells, _ in columns), strict=True))
    return buffer.getvalue().encode("utf-8")


def _cells(values: pd.Series) -> tuple[list[str], bool]:
    """Cells of a column as they are written, and whether none of them needs quotes."""
    if pd.api.types.is_bool_dtype(values) or _whole(values):
        whole = values.astype("Int64").to_numpy(dtype=object, na_value="").tolist()
        return list(map(str, whole)), True
    if _is_real(values):
        exact = values.dtype not in ("float32", "float16")
        numbers = values.to_numpy(na_value=np.nan)
        real = map(repr, numbers.astype("float64").tolist()) if exact else map(str, numbers)
        return ["" if text == "nan" else text for text in real], True
    codes, distinct = pd.factorize(values)
    texts = [*(spreadsheet_safe(_said(value)) for value in distinct), ""]
    plain = not any(mark in text for text in texts for mark in _QUOTED)
    return [texts[code] for code in codes.tolist()], plain


def unit_of(column: str, units: Mapping[str, str]) -> str:
    """Find the unit of a column: its own where declared, else that of its kind of quantity."""
    meaning = COLUMNS.get(column)
    quantity = meaning.unit_of if meaning is not None else ""
    fallback = units.get("length", "") if quantity == "error" else ""
    return units.get(column) or units.get(quantity, "") or fallback


def _is_real(values: pd.Series) -> bool:
    """Whether a column holds real numbers; complex ones are written as texts."""
    numeric = pd.api.types.is_numeric_dtype(values)
    return numeric and not pd.api.types.is_complex_dtype(values)


def _said(value: object) -> str:
    """Write a moment as ISO 8601 has it, and anything else as it is."""
    return value.isoformat() if isinstance(value, datetime.datetime) else str(value)


def _whole(values: pd.Series) -> bool:
    if pd.api.types.is_integer_dtype(values):
        return True
    if not pd.api.types.is_float_dtype(values):
        return False
    present = values.dropna()
    meaning = COLUMNS.get(str(values.name))
    counted = meaning is not None and meaning.kind in ("count", "flag")
    return counted and bool((present == present.round()).all())


def _field(
    name: str, values: pd.Series, units: Mapping[str, str], meanings: Mapping[str, str]
) -> dict[str, Any]:
    meaning = COLUMNS.get(name)
    field: dict[str, Any] = {"name": name, "type": _type(values)}
    text = meanings.get(name) or (meaning.meaning if meaning else "")
    field |= {"description": text} if text else {}
    unit = unit_of(name, units)
    field |= {"unit": unit} if unit else {}
    limits: dict[str, Any] = {}
    if meaning is not None and field["type"] in ("integer", "number"):
        limits |= {} if meaning.lower is None else {"minimum": meaning.lower}
        limits |= {} if meaning.upper is None else {"maximum": meaning.upper}
    if name == "participant":
        limits["required"] = True
    return field | ({"constraints": limits} if limits else {})


def _type(values: pd.Series) -> str:
    if pd.api.types.is_bool_dtype(values) or _whole(values):
        return "integer"
    if _is_real(values):
        return "number"
    if pd.api.types.is_datetime64_any_dtype(values):
        return "datetime"
    return "string"


def _resource(
    name: str,
    frame: pd.DataFrame,
    units: Mapping[str, str],
    meanings: Mapping[str, str],
    folder: str | Path | None,
    place: str | None,
) -> dict[str, Any]:
    resource: dict[str, Any] = {
        "name": name,
        "type": "table",
        "path": place or f"{name}.csv",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
    }
    file = Path(folder) / resource["path"] if folder is not None else None
    if file is not None and file.is_file():
        content = file.read_bytes()
        resource["bytes"] = len(content)
        resource["hash"] = "sha256:" + hashlib.sha256(content).hexdigest()
    key = _KEYS.get(name, ())
    resource["schema"] = table_schema(frame, units=units, meanings=meanings, key=key)
    return resource


def _licence(licence: str) -> dict[str, str]:
    path = _LICENCES.get(licence)
    return {"name": licence} | ({"path": path} if path else {})
