"""Open a file of any known kind as a grid of texts, after the safety checks."""

from pathlib import Path
from typing import Final

from motorlearn.exceptions import FileError
from motorlearn.trials import containers
from motorlearn.trials.containers.delimited import read_delimited
from motorlearn.trials.containers.grid import Grid
from motorlearn.trials.containers.parquet import read_parquet
from motorlearn.trials.containers.safety import read_bytes, unpack_gzip

SPSS: Final = ".sav"
STATA: Final = ".dta"
_ZIP: Final = b"PK\x03\x04"
_OLE: Final = b"\xd0\xcf\x11\xe0"
_GZIP: Final = b"\x1f\x8b"
_PARQUET: Final = b"PAR1"
_REFUSED: Final = {".pkl", ".pickle", ".joblib", ".npy", ".npz", ".rds", ".rdata", ".mat", ".h5"}


def open_grid(
    path: str | Path,
    *,
    sheet: str | int | None = None,
    separator: str = "",
    decimal: str = "",
    encoding: str = "",
) -> Grid:
    """Open a CSV (also packed with gzip), TSV, Excel, ODS, Parquet, SPSS or Stata file as texts.

    Raises
    ------
    FileError
        If the file is absent, empty, damaged, of an unknown kind or unsafe.
    """
    file = Path(path)
    if file.suffix.lower() in _REFUSED:
        raise FileError(
            "files of this kind can hold programs and are not read",
            [file.name],
            "save the data as CSV, Excel or Parquet",
        )
    content = read_bytes(file)
    if content.startswith(_GZIP):
        content = unpack_gzip(content, file.name)
    if file.suffix.lower() in (SPSS, STATA):
        return containers.read_statistics_file(file)
    if content.startswith(_PARQUET):
        return read_parquet(content, file.name)
    if content.startswith(_ZIP):
        old = file.suffix.lower() == ".ods"
        reader = containers.read_old_workbook if old else containers.read_workbook
        return reader(content, file.name, sheet)
    if content.startswith(_OLE):
        return containers.read_old_workbook(content, file.name, sheet)
    if sheet is not None:
        raise FileError("a text file has no sheets", [file.name], "leave out sheet")
    return read_delimited(
        content, file.name, separator=separator, decimal=decimal, encoding=encoding
    )
