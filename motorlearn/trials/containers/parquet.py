"""Parquet files as a grid of texts, so that they pass the same checks as any other file."""

from typing import Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from motorlearn.exceptions import FileError
from motorlearn.trials.containers.grid import Grid, refuse_vast_table
from motorlearn.trials.containers.markup import absurd
from motorlearn.trials.containers.safety import MOST_BYTES

_MOST_LETTERS: Final = 400 << 20
_PIECE: Final = 1 << 16
_DAMAGE: Final = (pa.ArrowException, OSError, ValueError, IndexError, KeyError, OverflowError)


def read_parquet(content: bytes, file: str) -> Grid:
    """Read a Parquet file; missing values become empty cells.

    Raises
    ------
    FileError
        If the file is damaged, too large when unpacked, holds nested columns or two of one name.
    """
    try:
        source = _opened(content, file)
        columns, letters = [], 0
        for name in source.schema_arrow.names:
            column, size = _column(source, name, file)
            letters += size
            if letters > _MOST_LETTERS:
                raise absurd(file)
            columns.append(column)
    except FileError:
        raise
    except _DAMAGE as problem:
        raise FileError("the Parquet file is damaged", [file], "save it again") from problem
    rows = np.arange(0, source.metadata.num_rows + 1)
    return Grid(file, tuple(columns), rows, evidence={"format": "Parquet"})


def _opened(content: bytes, file: str) -> pq.ParquetFile:
    """Open a file after a look at its sizes; columns of texts stay lists of distinct ones."""
    buffer = pa.BufferReader(content)
    plain = pq.ParquetFile(buffer)
    about, schema = plain.metadata, plain.schema_arrow
    refuse_vast_table(about.num_rows, about.num_columns, file)
    sizes = [about.row_group(place).total_byte_size for place in range(about.num_row_groups)]
    if sum(sizes) > MOST_BYTES:
        raise absurd(file)
    twice = sorted({name for name in schema.names if schema.names.count(name) > 1})
    if twice:
        raise FileError(f"{file} has two columns of the same name", twice, "rename one of them")
    for entry in schema:
        kind = entry.type.value_type if pa.types.is_dictionary(entry.type) else entry.type
        if pa.types.is_nested(kind) or _is_bytes(kind):
            raise FileError(
                f"column {entry.name!r} holds {kind} values", [file], "save one value per cell"
            )
    texts = [entry.name for entry in schema if _is_text(entry.type)]
    return pq.ParquetFile(buffer, read_dictionary=texts)


def _column(source: pq.ParquetFile, name: str, file: str) -> tuple[pa.ChunkedArray, int]:
    """One column as texts under its name, and its number of letters."""
    parts = [pa.array([name], pa.string())]
    letters = 0
    for batch in source.iter_batches(batch_size=_PIECE, columns=[name], use_threads=False):
        values = batch.column(0)
        values.validate(full=True)
        letters += _letters(values)
        if letters > _MOST_LETTERS:
            raise absurd(file)
        parts.append(_texts(values))
    return pa.chunked_array(parts, pa.string()), letters


def _letters(values: pa.Array) -> int:
    """Bytes that a column takes once every value is written out."""
    if not pa.types.is_dictionary(values.type):
        return 24 * len(values)
    if not _is_text(values.type.value_type):
        return 24 * len(values)
    sizes = pc.fill_null(pc.binary_length(values.dictionary), 0)
    return pc.sum(pc.cast(pc.take(sizes, values.indices), pa.int64())).as_py() or 0


def _texts(values: pa.Array) -> pa.Array:
    if pa.types.is_dictionary(values.type):
        values = values.cast(values.type.value_type)
    if pa.types.is_floating(values.type):
        values = pc.if_else(pc.is_nan(values), None, values)
    return pc.fill_null(pc.cast(values, pa.string()), "")


def _is_text(kind: pa.DataType) -> bool:
    return bool(pa.types.is_string(kind) or pa.types.is_large_string(kind))


def _is_bytes(kind: pa.DataType) -> bool:
    return bool(pa.types.is_binary(kind) or pa.types.is_large_binary(kind))
