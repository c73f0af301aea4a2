"""Parquet files as a grid of texts, so that they pass the same checks as any other file."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from motorlearn.exceptions import FileError
from motorlearn.trials.containers.grid import Grid
from motorlearn.trials.containers.safety import MOST_BYTES


def read_parquet(content: bytes, file: str) -> Grid:
    """Read a Parquet file; missing values become empty cells.

    Raises
    ------
    FileError
        If the file is damaged, too large when unpacked, or holds nested columns.
    """
    try:
        source = pq.ParquetFile(pa.BufferReader(content))
        size = sum(
            source.metadata.row_group(place).total_byte_size
            for place in range(source.metadata.num_row_groups)
        )
        if size > MOST_BYTES:
            raise FileError(
                "the packed file would unpack to an absurd size and was not read", [file]
            )
        table = source.read()
        table.validate(full=True)
        columns = tuple(_texts(name, table[name], file) for name in table.column_names)
    except (pa.ArrowException, OSError, ValueError, IndexError) as problem:
        if isinstance(problem, FileError):
            raise
        raise FileError("the Parquet file is damaged", [file], "save it again") from problem
    rows = np.arange(0, table.num_rows + 1)
    return Grid(file, columns, rows, evidence={"format": "Parquet"})


def _texts(name: str, column: pa.ChunkedArray, file: str) -> pa.ChunkedArray:
    if pa.types.is_nested(column.type) or pa.types.is_binary(column.type):
        raise FileError(
            f"column {name!r} holds {column.type} values", [file], "save one value per cell"
        )
    if pa.types.is_dictionary(column.type):
        column = column.cast(column.type.value_type)
    if pa.types.is_floating(column.type):
        column = pc.if_else(pc.is_nan(column), None, column)
    texts = pc.fill_null(pc.cast(column, pa.string()), "")
    return pa.chunked_array([pa.array([name], pa.string()), *texts.chunks], pa.string())
