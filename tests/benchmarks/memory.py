"""Measure the most memory that check, audit and report hold at once, of two studies.

    python tests/benchmarks/memory.py

The ring-push study of the documentation, and an invented one of a million rows (100 people with
2,500 pushes before practice, 5,000 in it and 2,500 after a day). What counts is the largest
process of the command, as the system tells it when the process ends (``ru_maxrss``, the "maximum
resident set size" of ``time -v``); pictures drawn in processes beside it are in it where they are
the larger ones. ``memory.csv`` keeps the last run, in MiB; ``docs/goals.csv`` says what was aimed
at.
"""

import csv
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

ROOT = Path(__file__).parents[2]
MAIN = "from motorlearn.commands import main; main()"
PEOPLE, PARTS = 100, (("pretest", 2_500), ("acquisition", 5_000), ("retention", 2_500))
PLAN = """[study]
title = "A million pushes"
[[groups]]
name = "blocked"
[[groups]]
name = "random"
[[practice]]
session = 1
day = 0
blocks = 50
trials_per_block = 100
[[tests]]
phase = "pretest"
trials = 2500
[[tests]]
phase = "retention"
trials = 2500
interval_days = 1
[[outcomes]]
name = "radial_error"
unit = "cm"
better = "lower"
[primary]
outcome = "radial_error"
groups = ["blocked", "random"]
[units]
length = "cm"
"""


def write_million(folder: Path) -> None:
    """An invented study of a million rows."""
    rng = np.random.default_rng(20)
    parts = [
        pd.DataFrame(
            {
                "participant": f"P{person:03d}",
                "group": ("blocked", "random")[person % 2],
                "phase": phase,
                "block": np.arange(count) // 100 + 1,
                "trial": np.arange(1, count + 1),
                "radial_error": np.hypot(*rng.normal(0, 20, (2, count))).round(2),
            }
        )
        for person in range(PEOPLE)
        for phase, count in PARTS
    ]
    folder.mkdir()
    (folder / "study.toml").write_text(PLAN)
    pd.concat(parts).to_csv(folder / "trials.csv", index=False)


def peak(command: list[str]) -> tuple[float, float]:
    """MiB of the largest process of a command, and its seconds of processor."""
    process = subprocess.Popen(
        [sys.executable, "-c", MAIN, *command], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
    )
    _, status, used = os.wait4(process.pid, 0)
    if os.waitstatus_to_exitcode(status) not in (0, 1):
        raise SystemExit(f"{command} failed: {process.stderr.read().decode()[-2000:]}")
    return used.ru_maxrss / 1024, used.ru_utime + used.ru_stime


def measured() -> Iterator[list[str]]:
    """One row for each study and command."""
    with tempfile.TemporaryDirectory() as place:
        million, shown = Path(place) / "million", Path(place) / "ring-push"
        write_million(million)
        shutil.copytree(ROOT / "data" / "ring-push", shown)
        for name, folder in (("ring push", shown), ("a million rows", million)):
            for verb in ("check", "audit", "report"):
                out = ["--out", str(Path(place) / f"{folder.name}-report")]
                most, cpu = peak([verb, str(folder), *(out if verb == "report" else [])])
                print(f"{name}, {verb}: {most:.0f} MiB, {cpu:.1f} s", flush=True)
                yield [f"{name}, {verb}", f"{most:.0f}", f"{cpu:.1f}"]


if __name__ == "__main__":
    rows = list(measured())
    with Path(__file__).with_suffix(".csv").open("w", newline="") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(["action", "peak_mib", "seconds_of_processor"])
        table.writerows(rows)
