"""From a table or a Parquet data set to batches of learners; whole learners, in fixed memory."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain, pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from motorlearn.curves.batch.closely import Closely
from motorlearn.curves.batch.one_batch import PLAIN, Batch
from motorlearn.curves.forms import FORMS, named_form
from motorlearn.curves.options import check_column, check_first, check_labels, check_table, one_of
from motorlearn.curves.single.rows import (
    as_numbers,
    check_counts,
    check_hits,
    check_repeats,
    check_size,
    hit_or_miss,
    of_plain_size,
)
from motorlearn.exceptions import ColumnError, FileError, InputError
from motorlearn.trials.counted import VOID, counted_rows

LEARNERS_AT_ONCE = 20_000
ROWS_AT_ONCE = 1_000_000
DAMAGED_PARQUET = (pa.ArrowException, AttributeError, LookupError, OSError, TypeError, ValueError)
"""What is raised where a Parquet file is damaged, in its pages, its schema or its metadata."""


@dataclass(frozen=True)
class Columns:
    """Which columns play which part, and what the curves need of them."""

    by: tuple[str, ...]
    practice: str
    outcome: str
    attempts: str | None
    weights: str | None
    forms: tuple[str, ...]
    first: float
    repeated: str
    binomial: bool | None = None
    asked: Closely = PLAIN

    @property
    def names(self) -> list[str]:
        """Every column that is read."""
        parts = [*self.by, self.practice, self.outcome, self.attempts, self.weights]
        parts += [self.asked.session]
        return list(dict.fromkeys(name for name in parts if name is not None))


Piece = tuple[pd.DataFrame, Batch]
Runs = tuple[np.ndarray | None, np.ndarray, pd.DataFrame]
"""Order of the rows, if they are to be sorted; where each learner's rows start; the learners."""
Names = str | Sequence[str]


def chosen_columns(
    outcome: str,
    practice: str,
    by: Names,
    forms: Names,
    attempts: str | None,
    weights: str | None,
    first: float,
    repeated: str,
) -> Columns:
    """Check the names and choices given and say which columns play which part."""
    by = _names(by, "by")
    names = tuple(dict.fromkeys(named_form(form).name for form in _names(forms, "forms")))
    if attempts is not None and weights is not None:
        raise InputError("attempts and weights cannot both be given")
    one_of(repeated, ("refuse", "allow"), "way with repeated counts")
    for name, what in ((outcome, "the outcome"), (practice, "practice")):
        check_column(name, what)
    for given, what in ((attempts, "attempts"), (weights, "weights")):
        if given is not None:
            check_column(given, what)
    return Columns(by, practice, outcome, attempts, weights, names, check_first(first), repeated)


def _names(given: Names, what: str) -> tuple[str, ...]:
    """One name or several."""
    names = (given,) if isinstance(given, str) else given
    if not isinstance(names, list | tuple | pd.Index) or not len(names):
        raise InputError(f"{what} must name one at least", [given])
    return tuple(names)


def table_pieces(table: pd.DataFrame, columns: Columns) -> Iterator[Piece]:
    """Learners of a table in batches, in the order in which they first appear."""
    refuse_absent(table, columns)
    yield from _pieces(table, columns, _runs(table, columns.by))


def refuse_absent(table: pd.DataFrame, columns: Columns) -> None:
    """Refuse a table without rows, or without a column that the curves need, or with two of it."""
    check_table(table, columns.names, "the curves need")


def _runs(table: pd.DataFrame, by: Sequence[str]) -> Runs:
    """Where each learner's rows start, after sorting them together where they are not."""
    change = np.zeros(max(len(table) - 1, 0), bool)
    for name in by:
        here = changes(table[name])
        if here is None:
            rows = np.flatnonzero(table[name].isna()) + 1
            raise InputError(f"column {name!r} names no learner in rows", rows)
        change |= here
    starts = np.r_[0, np.flatnonzero(change) + 1]
    keys = table[list(by)].iloc[starts].reset_index(drop=True)
    if _rising(keys) or not keys.duplicated().any():
        return None, starts, keys
    codes = table.groupby(list(by), sort=False, observed=True).ngroup().to_numpy()
    order = np.argsort(codes, kind="stable")
    starts = np.r_[0, np.flatnonzero(np.diff(codes[order])) + 1]
    return order, starts, table[list(by)].iloc[order[starts]].reset_index(drop=True)


def _other_words(words: pa.Array) -> np.ndarray:
    """Where a word differs from the one before; letter by letter where all are equally long."""
    ends, length = None, 0
    if len(words) > 1 and not words.offset and words.type == pa.large_string():
        ends = np.frombuffer(words.buffers()[1], np.int64, len(words) + 1)
        length = int(ends[1] - ends[0])
    if ends is None or not length or not np.all(np.diff(ends) == length):
        found: np.ndarray = pc.not_equal(words[1:], words[:-1]).to_numpy(zero_copy_only=False)
        return found
    letters = np.frombuffer(words.buffers()[2], np.uint8, int(ends[-1]))[int(ends[0]) :]
    other = np.zeros(len(words) - 1, bool)
    other[np.flatnonzero(letters[length:] != letters[:-length]) // length] = True
    return other


def _rising(keys: pd.DataFrame) -> bool:
    """Whether the keys are one column of numbers or words in strict order, so that none recurs."""
    column = keys.iloc[:, 0]
    if keys.shape[1] > 1:
        return False
    if isinstance(column.dtype, pd.StringDtype):
        words = _arrow(column)
        return bool(pc.all(pc.greater(words[1:], words[:-1]), min_count=0).as_py())
    values = column.to_numpy()
    return values.dtype.kind in "iuf" and bool(np.all(values[1:] > values[:-1]))


def _arrow(column: pd.Series) -> pa.Array:
    words = pa.array(column)
    return words.combine_chunks() if isinstance(words, pa.ChunkedArray) else words


def changes(column: pd.Series) -> np.ndarray | None:
    """Where a row differs from the one before; None if some row is empty."""
    if isinstance(column.dtype, np.dtype) and column.dtype.kind in "iufb":
        values = column.to_numpy()
        empty = column.dtype.kind == "f" and bool(np.isnan(values).any())
        return None if empty else values[1:] != values[:-1]
    if isinstance(column.dtype, pd.StringDtype):
        words = _arrow(column)
        if words.null_count:
            return None
        return _other_words(words)
    try:
        codes = pd.factorize(column)[0]
    except TypeError as problem:
        raise InputError(
            f"column {column.name!r} holds what cannot be a name", [problem], "write words"
        ) from problem
    return None if np.any(codes < 0) else codes[1:] != codes[:-1]


def _pieces(table: pd.DataFrame, columns: Columns, runs: Runs) -> Iterator[Piece]:
    order, starts, keys = runs
    table = table if order is None else table.iloc[order]
    ends = np.r_[starts[1:], len(table)]
    n = as_numbers(table[columns.practice], f"column {columns.practice!r}")
    y = as_numbers(table[columns.outcome], f"column {columns.outcome!r}", hits=True)
    extra = columns.attempts or columns.weights
    weights = None if extra is None else as_numbers(table[extra], f"column {extra!r}")
    binomial = columns.attempts is not None or bool(columns.binomial)
    if binomial and weights is None:
        weights = np.ones(len(y))
    _check(columns, n, y, weights, binomial)
    session = _sessions(table, columns)
    parts = max(round(len(starts) / LEARNERS_AT_ONCE), 1)
    cuts = [len(starts) * k // parts for k in range(parts + 1)]
    for low, high in pairwise(cuts):
        rows = slice(starts[low], ends[high - 1])
        batch = Batch(
            ends[low:high] - starts[low],
            n[rows],
            y[rows],
            None if weights is None else weights[rows],
            binomial,
            None if session is None else session[rows],
        )
        part = keys.iloc[low:high]
        _check_repeats(batch, part, columns)
        yield part, batch


def _sessions(table: pd.DataFrame, columns: Columns) -> np.ndarray | None:
    """Codes of sessions, where they are asked for."""
    name = columns.asked.session
    if name is None:
        return None
    check_labels(table, [name])
    codes: np.ndarray = pd.factorize(table[name])[0]
    return codes


def _check(
    columns: Columns, n: np.ndarray, y: np.ndarray, weights: np.ndarray | None, binomial: bool
) -> None:
    if not of_plain_size(n):
        if not np.isfinite(n).all():
            rows = np.flatnonzero(~np.isfinite(n)) + 1
            raise InputError(f"column {columns.practice!r} is missing or infinite in rows", rows)
        check_size(n, f"column {columns.practice!r}: numbers")
    if not of_plain_size(y):
        if np.isinf(y).any():
            rows = np.flatnonzero(np.isinf(y)) + 1
            raise InputError(f"column {columns.outcome!r} is infinite in rows", rows)
        check_size(y, f"column {columns.outcome!r}: numbers")
    lowest = n.min(keepdims=True)
    for form in columns.forms:
        check_counts(FORMS[form], lowest, columns.first)
    if weights is None:
        return
    there = np.isfinite(y)
    if binomial:
        check_hits(y[there], weights[there])
    elif not np.all(weights[there] > 0):
        raise InputError(f"column {columns.weights!r} must be above 0 everywhere")


def _check_repeats(batch: Batch, keys: pd.DataFrame, columns: Columns) -> None:
    """Refuse learners with practice counts that occur twice by mistake."""
    if columns.repeated == "allow" or len(batch.n) < 2:
        return
    inner = np.ones(len(batch.n) - 1, bool)
    inner[batch.ends[:-1] - 1] = False
    unsure = np.flatnonzero(inner & (batch.n[1:] <= batch.n[:-1]))
    for learner in np.unique(np.searchsorted(batch.ends, unsure, side="right")):
        rows = slice(batch.ends[learner - 1] if learner else 0, batch.ends[learner])
        try:
            check_repeats(
                batch.n[rows], batch.y[rows], binomial=batch.binomial, repeated=columns.repeated
            )
        except InputError as problem:
            who = ", ".join(map(str, keys.iloc[learner]))
            raise InputError(f"{problem.cause} for {who}", problem.values, problem.remedy) from None


def hits_and_misses(table: pd.DataFrame, columns: Columns) -> bool:
    """Whether the outcome is 0 and 1 alone, so that it needs the binomial likelihood."""
    if columns.attempts or columns.weights or columns.outcome not in table.columns:
        return columns.attempts is not None
    y = as_numbers(table[columns.outcome], f"column {columns.outcome!r}", hits=True)
    first = y[:1000]
    if not np.all((first == 0) | (first == 1) | np.isnan(first)):
        return False
    return hit_or_miss(y[~np.isnan(y)])


def parquet_pieces(path: Path, columns: Columns) -> tuple[Iterator[Piece], Columns]:
    """Batches of a Parquet data set, and the columns with what its opening says of the outcome."""
    frames = _parquet_runs(path, columns.by, columns)
    opening = next(frames, None)
    if opening is None:
        raise InputError("the Parquet data set has no rows", [str(path)])
    columns = replace(columns, binomial=hits_and_misses(opening[0], columns))

    def pieces() -> Iterator[Piece]:
        for frame, runs in chain([opening], frames):
            yield from _pieces(frame, columns, runs)

    return pieces(), columns


def _parquet_runs(
    path: Path, by: Sequence[str], columns: Columns
) -> Iterator[tuple[pd.DataFrame, Runs]]:
    """Frames of whole learners from a Parquet file or a folder of them, and their runs.

    Raises
    ------
    FileError
        If nothing is there, a file is damaged, or the rows of a learner lie apart.
    """
    listed = sorted(path.glob("**/*.parquet")) if path.is_dir() else [path]
    files = [file for file in listed if file.is_file()]
    if not files:
        raise FileError("there is no Parquet data set here", [str(path)])
    seen: list[np.ndarray] = []
    in_order, before = True, None
    for whole in _whole_learners(_frames(files, columns), by):
        runs = _runs(whole, by)
        keys = runs[2]
        in_order &= _rising(keys) and (before is None or bool(before < keys.iloc[0, 0]))
        before = keys.iloc[-1, 0]
        seen.append(pd.util.hash_pandas_object(keys, index=False).to_numpy())
        yield whole, runs
    marks = np.concatenate(seen) if seen else np.zeros(0)
    if not in_order and len(np.unique(marks)) < len(marks):
        raise FileError(
            "the rows of some learners lie apart in the Parquet data set",
            [str(path)],
            "sort it by learner",
        )


def _whole_learners(frames: Iterable[pd.DataFrame], by: Sequence[str]) -> Iterator[pd.DataFrame]:
    """Frames cut between learners; who lies across two of them comes in a frame of one."""
    rest: pd.DataFrame | None = None
    for frame in frames:
        begin = 0
        if rest is not None:
            same = _same(frame, rest.iloc[-1], by)
            begin = len(frame) if same.all() else int(np.argmin(same))
            rest = pd.concat([rest, frame.iloc[:begin]], ignore_index=True)
            if begin == len(frame):
                continue
            yield rest
        back = _same(frame, frame.iloc[-1], by)[::-1]
        cut = 0 if back.all() else len(frame) - int(np.argmin(back))
        if cut > begin:
            yield frame.iloc[begin:cut]
        rest = frame.iloc[max(cut, begin) :].reset_index(drop=True)
    if rest is not None and len(rest):
        yield rest


def _frames(files: Sequence[Path], columns: Columns) -> Iterator[pd.DataFrame]:
    for file in files:
        try:
            yield from _parts(file, columns)
        except InputError:
            raise
        except DAMAGED_PARQUET as problem:
            raise FileError(
                "this is not a Parquet file, or it is damaged", [str(file)], "write it again"
            ) from problem


def _parts(file: Path, columns: Columns) -> Iterator[pd.DataFrame]:
    with pq.ParquetFile(file) as reader:
        absent = [name for name in columns.names if name not in reader.schema_arrow.names]
        if absent:
            raise ColumnError(f"{file.name} lacks columns that the curves need", absent)
        void = [VOID] if VOID in reader.schema_arrow.names else []
        for part in reader.iter_batches(
            batch_size=ROWS_AT_ONCE, columns=list(dict.fromkeys([*columns.names, *void]))
        ):
            part.validate(full=True)
            frame = part.to_pandas(split_blocks=True)
            yield _void_emptied(frame, columns.outcome) if void else frame


def _void_emptied(frame: pd.DataFrame, outcome: str) -> pd.DataFrame:
    """Rows that do not count, without an outcome, so that they are left out and counted."""
    return frame.assign(**{outcome: frame[outcome].where(counted_rows(frame))})


def _same(frame: pd.DataFrame, row: pd.Series, by: Sequence[str]) -> np.ndarray:
    """Rows of the learner of one row."""
    found: np.ndarray = np.logical_and.reduce(
        [(frame[name] == row[name]).to_numpy(bool) for name in by]
    )
    return found
