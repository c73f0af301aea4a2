"""A table of rates that grows some studies at a time, so that it can be stopped and run again."""

import math
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

Cell = tuple[dict[str, Any], Callable[[range], pd.Series]]
"""What names a line of the table, and the rates of the studies with these seeds."""


def grow(
    file: Path, cells: Sequence[Cell], *, goal: int, chunk: int, until: float = math.inf
) -> None:
    """Add studies to every line in turn until each has ``goal`` of them or the time has come.

    ``until`` is a reading of ``time.monotonic``. The file is written after every addition, and what
    it held before counts.
    """
    lines = pd.read_csv(file).to_dict("records") if file.exists() else []
    for done in range(0, goal, chunk):
        for named, rates in cells:
            at = [line for line in lines if all(str(line[k]) == str(v) for k, v in named.items())]
            line = at[0] if at else named | {"studies": 0}
            if not at:
                lines.append(line)
            before = int(line["studies"])
            if before > done:
                continue
            if time.monotonic() > until:
                return
            for name, value in rates(range(before, before + chunk)).items():
                old = line.get(str(name), 0.0) * before
                line[str(name)] = (old + value * chunk) / (before + chunk)
            line["studies"] = before + chunk
            pd.DataFrame(lines).round(4).to_csv(file, index=False)


def means(once: Callable[..., Mapping[str, float]], *cell: Any) -> Callable[[range], pd.Series]:
    """What ``once(*cell, seed)`` gives, averaged over seeds."""
    return lambda seeds: pd.DataFrame([once(*cell, seed) for seed in seeds]).mean()


def grow_as_asked(tables: Mapping[Path, Sequence[Cell]], *, goal: int, chunk: int) -> None:
    """Grow tables one after the other by the words ``[studies] [seconds]`` of the command."""
    words = sys.argv[1:]
    goal = int(words[0]) if words else goal
    until = time.monotonic() + float(words[1]) if len(words) > 1 else math.inf
    for file, cells in tables.items():
        grow(file, cells, goal=goal, chunk=chunk, until=until)
