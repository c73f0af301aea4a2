"""Text files: encoding, separator and decimal mark found with evidence, cells kept as text.

A well-formed file is read by pyarrow; one with blank, short or long lines by the slower ``csv``
module, so that every line keeps its number and nothing falls out.
"""

import codecs
import csv
import io
import itertools
import re
from collections.abc import Iterable, Iterator
from typing import Final

import numpy as np
import pandas as pd
import pyarrow as pa
from pyarrow import csv as arrow_csv

from motorlearn.exceptions import FileError
from motorlearn.files import shortened
from motorlearn.trials.checking.problems import gather, problem_frame
from motorlearn.trials.containers.grid import MOST_COLUMNS, Grid, refuse_vast_table

SEPARATORS: Final = {",": "comma", ";": "semicolon", "\t": "tab", "|": "vertical bar"}
_BOMS: Final = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_ODD: Final = re.compile(r"[\x00-\x08\x0b\x0e-\x19\x1b-\x1f]")
_COMMA_NUMBER: Final = re.compile(r"[+-]?\d+,\d+")
_POINT_NUMBER: Final = re.compile(r"[+-]?\d+\.\d+")
_THOUSANDS: Final = re.compile(r"[+-]?[1-9]\d{0,2}([.,]\d{3})+")
_BOTH_MARKS: Final = re.compile(r"[+-]?\d{1,3}(?:([.,])\d{3})+(?!\1)([.,])\d+")
_SAMPLE: Final = 1 << 16
_CHUNK: Final = 50_000
_Cells = tuple[np.ndarray, tuple[pa.ChunkedArray, ...], list[tuple[int, int, int]]]
"""Row numbers, columns, and the lines of another width: row, width, usual width."""
_UNCERTAIN: Final = "uncertain, "


def read_delimited(
    content: bytes, file: str, *, separator: str = "", decimal: str = "", encoding: str = ""
) -> Grid:
    """Read a CSV, TSV or similar text file; what is not named is detected.

    Raises
    ------
    FileError
        If the file is empty or is not text.
    """
    text, used, how = decode(content, file, encoding)
    marks = [] if how != "guessed" else [_encoding_doubt(text, used, file)]
    sample = _sample_lines(text)
    mark, why = (separator, "as declared") if separator else find_separator(sample)
    body = text if used in ("utf-8", "ascii") and content[:1] != b"\xef" else text.encode("utf-8")
    _refuse_wide(sample, mark, file)
    rows, columns, ragged = _cells(content if body is text else body, mark, file)
    point, point_why = (decimal, "as declared") if decimal else find_decimal(sample, mark)
    marks += [_ragged_marks(ragged, file)] if ragged else []
    if point_why.startswith(_UNCERTAIN):
        marks.append(_decimal_doubt(point, file))
    elif point == "," and not decimal:
        marks.append(_decimal_note(mark, point_why, file))
    evidence = {
        "encoding": f"{used} ({how})",
        "separator": f"{SEPARATORS.get(mark, mark)}: {why}",
        "decimal mark": f"{'comma' if point == ',' else 'point'}: {point_why}",
    }
    return Grid(file, columns, rows, marks=gather(marks), evidence=evidence, decimal=point)


def decode(content: bytes, file: str, encoding: str = "") -> tuple[str, str, str]:
    """Decode a text file; gives the text, the encoding and how it is known."""
    if not content.strip(b"\x00\t\r\n \xef\xbb\xbf\xff\xfe"):
        raise FileError("the file is empty", [file], "check that it was saved")
    if encoding:
        return _decoded(content, encoding, file), encoding, "as declared"
    for bom, name in _BOMS:
        if content.startswith(bom):
            return _decoded(content, name, file), name, "byte order mark"
    wide = _wide_encoding(content)
    if wide:
        return _decoded(content, wide, file), wide, "every second byte is zero"
    try:
        text, name, how = content.decode("utf-8"), "utf-8", "valid throughout"
    except UnicodeDecodeError:
        text, name, how = *_single_byte(content), "guessed"
    _check_is_text(text, file)
    return text, name, how


def find_separator(lines: list[str]) -> tuple[str, str]:
    """Find the separator that cuts the sampled lines into the same number of fields most often."""
    best, best_key, why = ",", (0.0, 0), "no separator was found, each line is one field"
    for separator, name in SEPARATORS.items():
        counts = [len(fields) for fields in _parse_sample(lines, separator) if any(fields)]
        if not counts:
            continue
        width = max(set(counts), key=lambda count: (counts.count(count), count))
        share = counts.count(width) / len(counts)
        key = (round(share * min(width - 1, 3), 3), width)
        if width > 1 and key > best_key:
            best, best_key = separator, key
            why = f"{name} cuts {counts.count(width)} of {len(counts)} lines into {width} fields"
    return best, why


def find_decimal(lines: list[str], separator: str) -> tuple[str, str]:
    """Find the decimal mark from the cells that can only be decimals."""
    sampled = (cell for fields in _parse_sample(lines, separator) for cell in fields)
    cells = [cell.strip() for cell in sampled if "," in cell or "." in cell]
    commas = [cell for cell in cells if _COMMA_NUMBER.fullmatch(cell)]
    points = [cell for cell in cells if _POINT_NUMBER.fullmatch(cell)]
    sure_commas = [cell for cell in commas if not _THOUSANDS.fullmatch(cell)]
    sure_points = [cell for cell in points if not _THOUSANDS.fullmatch(cell)]
    both = [found[2] for cell in cells if (found := _BOTH_MARKS.fullmatch(cell))]
    sure_commas += [mark for mark in both if mark == ","]
    sure_points += [mark for mark in both if mark == "."]
    why = f"{len(commas)} cells such as 1,5 and {len(points)} such as 1.5 in the sample"
    if not sure_commas and not sure_points and (commas or points) and separator != ",":
        why = _UNCERTAIN + why
    if len(sure_commas) != len(sure_points):
        return ("," if len(sure_commas) > len(sure_points) else "."), why
    return ("," if len(commas) > len(points) and separator != "," else "."), why


def _refuse_wide(sample: list[str], separator: str, file: str) -> None:
    """Refuse absurdly many columns or lines before anything is cut."""
    widest = max((line.count(separator) for line in sample), default=0) + 1
    refuse_vast_table(1, widest if widest > 20 * MOST_COLUMNS else 1, file)


def _cells(text: str | bytes, separator: str, file: str) -> _Cells:
    body = text if isinstance(text, bytes) else text.encode("utf-8")
    try:
        return _fast_cells(body, separator, file)
    except (pa.ArrowInvalid, pa.ArrowKeyError, csv.Error, StopIteration):
        return _careful_cells(body.decode("utf-8"), separator, file)


def _fast_cells(body: bytes, separator: str, file: str) -> _Cells:
    if body.startswith(codecs.BOM_UTF8):
        body = body[len(codecs.BOM_UTF8) :]
    end = len(body.rstrip(b"\r\n"))
    buffer = pa.py_buffer(body).slice(0, end)
    first = next(csv.reader(io.StringIO(_first_record(body), newline=""), delimiter=separator))
    refuse_vast_table(body.count(b"\n"), len(first), file)
    names = [str(place) for place in range(len(first))]
    table = arrow_csv.read_csv(
        pa.BufferReader(buffer),
        read_options=arrow_csv.ReadOptions(column_names=names, block_size=1 << 23),
        parse_options=arrow_csv.ParseOptions(
            delimiter=separator, newlines_in_values=b'"' in body, ignore_empty_lines=False
        ),
        convert_options=arrow_csv.ConvertOptions(
            column_types=dict.fromkeys(names, pa.string()), strings_can_be_null=False
        ),
    )
    return np.arange(1, table.num_rows + 1), tuple(table.columns), []


def _careful_cells(text: str, separator: str, file: str) -> _Cells:
    chunks: list[list[pa.Array]] = []
    widths: list[int] = []
    size = widest = 0
    for lines in _batches(text, separator, file):
        width = max((len(line) for line in lines), default=0)
        widths += [len(line) for line in lines]
        widest = max(widest, width)
        refuse_vast_table(len(widths), widest, file)
        padded = [line + [""] * (width - len(line)) for line in lines]
        chunks.append([pa.array(column, pa.string()) for column in zip(*padded, strict=True)])
        size += len(lines)
    while widths and widths[-1] == 0:
        widths.pop()
    columns = _stacked(chunks, len(widths))
    return np.arange(1, len(widths) + 1), columns, _ragged_lines(widths)


def _stacked(chunks: list[list[pa.Array]], size: int) -> tuple[pa.ChunkedArray, ...]:
    width = max((len(chunk) for chunk in chunks), default=0)
    lengths = [len(chunk[0]) if chunk else _CHUNK for chunk in chunks]
    columns = []
    for place in range(width):
        parts = [
            chunk[place] if place < len(chunk) else pa.array([""] * length, pa.string())
            for chunk, length in zip(chunks, lengths, strict=True)
        ]
        columns.append(pa.chunked_array(parts, pa.string()).slice(0, size))
    return tuple(columns)


def _batches(text: str, separator: str, file: str) -> Iterator[list[list[str]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    lines = _narrow(reader, file)
    try:
        while batch := list(itertools.islice(lines, _CHUNK)):
            yield batch
    except csv.Error as problem:
        raise FileError(
            f"line {reader.line_num} cannot be cut into fields ({problem})",
            remedy="look for a quotation mark that is never closed",
        ) from problem


def _narrow(lines: Iterable[list[str]], file: str) -> Iterator[list[str]]:
    """Lines as they come, up to one that is too wide to be kept with the others."""
    for line in lines:
        if len(line) > MOST_COLUMNS:
            refuse_vast_table(1, len(line), file)
        yield line


def _ragged_lines(widths: list[int]) -> list[tuple[int, int, int]]:
    filled = [width for width in widths if width]
    if not filled:
        return []
    usual = max(set(filled), key=filled.count)
    start = filled.index(usual)
    return [
        (row, width, usual)
        for row, width in enumerate(widths, 1)
        if width and width != usual and row > start + 1
    ]


def _ragged_marks(ragged: list[tuple[int, int, int]], file: str) -> pd.DataFrame:
    return problem_frame(
        "row with another number of fields",
        severity="error",
        file=file,
        row=[row for row, _, _ in ragged],
        value=[f"{width} fields instead of {usual}" for _, width, usual in ragged],
        advice="look for a separator inside a text, or a value that is missing",
    )


def _decimal_doubt(point: str, file: str) -> pd.DataFrame:
    name = "comma" if point == "," else "point"
    return problem_frame(
        "decimal mark uncertain",
        severity="doubt",
        file=file,
        advice=f"every number with a mark has three digits behind it (1.500 or 1,500): the {name} "
        "was taken as decimal mark, not as thousands; declare it in the import recipe if it is not",
    )


def _decimal_note(mark: str, why: str, file: str) -> pd.DataFrame:
    name = SEPARATORS.get(mark, mark)
    return problem_frame(
        "decimal comma found",
        severity="note",
        file=file,
        value=why,
        advice=f"numbers were read with a decimal comma and fields cut at each {name}; declare "
        "both in the import recipe if that is wrong",
    )


def _encoding_doubt(text: str, encoding: str, file: str) -> pd.DataFrame:
    parts = re.findall(r"[\w\x80-\U0010ffff]+", text[:1_000_000])  # each sign looked at once
    words = [part for part in parts if not part.isascii()]
    return problem_frame(
        "encoding guessed",
        severity="doubt",
        file=file,
        value=", ".join(shortened(word) for word in dict.fromkeys(words[:5])),
        advice=f"the file is not UTF-8 and was read as {encoding}; check that these words are "
        "right, or save the file as UTF-8",
    )


def _decoded(content: bytes, encoding: str, file: str) -> str:
    try:
        text = content.decode(encoding)
    except (UnicodeDecodeError, LookupError) as problem:
        raise FileError(
            f"the file is not valid {encoding} text", [file], "save it as UTF-8"
        ) from problem
    _check_is_text(text, file)
    return text


def _wide_encoding(content: bytes) -> str:
    sample = content[:4096]
    half = len(sample) // 2
    if half < 2:
        return ""
    if sample[1::2].count(0) > 0.7 * half and sample[::2].count(0) < 0.1 * half:
        return "utf-16-le"
    if sample[::2].count(0) > 0.7 * half and sample[1::2].count(0) < 0.1 * half:
        return "utf-16-be"
    return ""


def _single_byte(content: bytes) -> tuple[str, str]:
    try:
        return content.decode("cp1252"), "cp1252"
    except UnicodeDecodeError:
        return content.decode("latin-1"), "latin-1"


def _check_is_text(text: str, file: str) -> None:
    sample = text[:_SAMPLE]
    odd = len(_ODD.findall(sample))
    if "\x00" in text or odd > max(2, 0.01 * len(sample)):
        raise FileError(
            "the file is not text", [file], "name a CSV, TSV, Excel, ODS or Parquet file"
        )


def _sample_lines(text: str) -> list[str]:
    head = text[:_SAMPLE].splitlines()
    if len(text) <= _SAMPLE:
        return head
    middle = text[len(text) // 2 : len(text) // 2 + _SAMPLE].splitlines()
    return head[:-1] + middle[1:-1]


def _parse_sample(lines: list[str], separator: str) -> list[list[str]]:
    try:
        return list(csv.reader(lines, delimiter=separator))
    except csv.Error:
        return [line.split(separator) for line in lines]


def _first_record(body: bytes) -> str:
    return body[:_SAMPLE].decode("utf-8", errors="replace")
