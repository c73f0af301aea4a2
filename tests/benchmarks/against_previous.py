"""Time the commands a user waits for, in units of ``import pandas``, beside the previous release.

Run ``python tests/benchmarks/against_previous.py [REVISION]``: the revision (by default the one
that says "Version 1.0.0") is checked out into a temporary folder and runs with the same Python and
packages, in turn with this one. Machines differ and are never quite quiet, so every time stands
beside ``import pandas`` taken in the same minute; processor time is lengthened less by a busy
machine than the wall. Each version runs once before it is timed, so that its modules are compiled,
as those of an installed package are. ``against_1.0.0.csv`` keeps
one run (RUNS=1) on two cores that others used as well, Python 3.11, pandas 3.0, scipy 1.17,
statsmodels 0.15 and matplotlib 3.11, in units of ``import pandas`` of that run; processor times
are the ones to compare there. In five turns with nothing but ``import pandas`` beside it the audit
took 8.4 times as long by the processor (13.7 before what draws was left out of it), and 7.3 times
since a command ends without a last search for rings of objects. In three turns on a busy machine
the rerun took .79 of the processor time that it took before what draws, styles tables and packs
workbooks stayed unloaded, Word cells were written directly and files were read with less work.
There is no general-purpose peer for a whole
report.
"""

import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from statistics import median

from row import tell

ROOT = Path(__file__).parents[2]
STUDY = ROOT / "data" / "ring-push"
KEPT = Path(__file__).parent / "against_1.0.0.csv"
KEPT_COLUMNS = "action,wanted,now_processor,now_wall,release_1_0_0_processor,release_1_0_0_wall"
RUNS = int(os.environ.get("RUNS", "3"))
MAIN = "from motorlearn.commands import main; main()"


@dataclass(frozen=True)
class Time:
    """Seconds of the wall and of the processors."""

    wall: float
    cpu: float


def run(code: list[str], package: Path) -> Time:
    """One command in a process of its own; a command that ends in 1 found problems."""
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    environment = {**os.environ, "PYTHONPATH": str(package)}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)  # an installed package is compiled
    done = subprocess.run(
        [sys.executable, *code], env=environment, cwd=package, capture_output=True, text=True
    )
    taken, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode not in (0, 1):
        raise SystemExit(f"{code} failed in {package}:\n{done.stderr[-2000:]}")
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Time(taken, cpu)


def previous(folder: Path, asked: list[str]) -> Path:
    """A tree of the previous release."""
    revision = asked[0] if asked else _release()
    place = folder / "previous"
    place.mkdir()
    archive = subprocess.run(
        ["git", "archive", revision], cwd=ROOT, check=True, capture_output=True
    ).stdout
    subprocess.run(["tar", "-x", "-C", str(place)], input=archive, check=True)
    return place


def _release() -> str:
    said = subprocess.run(
        ["git", "log", "--format=%H", "--grep=^Version 1.0.0"],
        cwd=ROOT,
        check=True,
        capture_output=True,
        text=True,
    ).stdout.split()
    if not said:
        raise SystemExit("the history has no release; name a revision")
    return said[0]


def spoilt(folder: Path, rows: int = 10_000) -> Path:
    """The shipped study with about so many problems in its trials."""
    place = folder / "spoilt"
    shutil.copytree(STUDY, place)
    lines = (place / "trials.csv").read_text("utf-8").splitlines()
    names = lines[0].split(",")
    at = names.index("radial_error")
    for i in range(1, min(rows, len(lines) - 1) + 1):
        cells = lines[i].split(",")
        cells[at] = "-1"
        lines[i] = ",".join(cells)
    (place / "trials.csv").write_text("\n".join(lines) + "\n", "utf-8")
    return place


def main(asked: list[str]) -> None:
    """Every command of both versions in turn, and medians of ratios."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        trees = {"now": ROOT, "before": previous(folder, asked)}
        bad = str(spoilt(folder))
        wanted = {"check": 7, "check of 10,000 problems": 4 + 7, "audit": 8, "cold report": 35,
                  "rerun after a change of words": 13}  # fmt: skip
        times: dict[tuple[str, str], list[Time]] = {}
        pandas = []
        for tree in trees.values():
            warm = ["report", str(STUDY), "--out", str(folder / tree.name / "warm"), "--quiet"]
            run(["-c", MAIN, *warm], tree)
        for turn in range(RUNS):
            for version, tree in trees.items():
                out = str(folder / f"{version}-{turn}")
                commands = {
                    "check": ["check", str(STUDY)],
                    "check of 10,000 problems": ["check", bad],
                    "audit": ["audit", str(STUDY)],
                    "cold report": ["report", str(STUDY), "--out", out, "--quiet"],
                    "rerun after a change of words": [
                        "report", str(STUDY), "--out", out, "--quiet", "--final",
                    ],
                }  # fmt: skip
                for action, command in commands.items():
                    pandas.append(run(["-c", "import pandas"], tree))
                    took = run(["-c", MAIN, *command], tree)
                    times.setdefault((action, version), []).append(took)
        wall, cpu = (median(getattr(t, kind) for t in pandas) for kind in ("wall", "cpu"))
        rows = []
        for action, most in wanted.items():
            now, before = (times[action, version] for version in trees)
            ratio = median(t.wall for t in now) / wall
            spent = median(t.cpu for t in now) / cpu
            was = median(t.wall for t in before) / wall
            had = median(t.cpu for t in before) / cpu
            rows.append(f'"{action}",{most},{spent:.1f},{ratio:.1f},{had:.1f},{was:.1f}')
            tell(
                f"{action}, shipped study",
                median(t.wall for t in now),
                cpu=median(t.cpu for t in now),
                peer="previous release",
                peer_seconds=median(t.wall for t in before),
                note=(
                    f"{ratio:.1f} times import pandas (wall), {spent:.1f} (processor); before "
                    f"{was:.1f} and {had:.1f}; wanted {most}"
                ),
            )
        KEPT.write_text("\n".join([KEPT_COLUMNS, *rows]) + "\n")


if __name__ == "__main__":
    main(sys.argv[1:])
