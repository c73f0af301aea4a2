"""Processes timed alone, and one line of JSON per timed action for the table of run.py."""

import json
import resource
import shutil
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent


def tell(
    action: str,
    seconds: float,
    *,
    peer: str = "",
    peer_seconds: float | None = None,
    ratio: float | None = None,
    cpu: float | None = None,
    gib: float | None = None,
    least: float | None = None,
    most: float | None = None,
    most_gib: float | None = None,
    note: str = "",
) -> None:
    """Print one row: seconds of ours and of the peer, and what is wanted.

    ``ratio`` is the peer's time over ours, unless one is given; ``cpu`` the seconds of processor
    time, which a busy machine lengthens less; ``gib`` the peak memory. Wanted are ``least`` as
    ratio, ``most`` seconds and ``most_gib``.
    """
    if ratio is None and peer_seconds is not None:
        ratio = peer_seconds / seconds
    row = {key: value for key, value in locals().items() if value not in (None, "")}
    print(json.dumps(row), flush=True)


def alone(command: list[str]) -> dict[str, float]:
    """Wall and processor seconds of a process of its own, imports included.

    The peak memory is that of the largest process so far.
    """
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run([sys.executable, *command], check=True)
    taken, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    return {
        "seconds": taken,
        "cpu": after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime,
        "gib": after.ru_maxrss / 2**20,
    }


def from_r(script: str, *arguments: object) -> list[str] | None:
    """Fields that a script of R prints; None where R or one of its packages is not there."""
    if shutil.which("Rscript") is None:
        return None
    command = ["Rscript", str(HERE / script), *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True)
    return done.stdout.strip().split(",") if done.returncode == 0 else None


def beside_r(fit: Callable[[], Any], runs: int, script: str, *arguments: object) -> dict[str, Any]:
    """Fit here and in R in turn: medians for :func:`tell`; prints −2 log likelihood of both.

    The last two fields that the script prints are its seconds and its −2 log likelihood.
    """
    ours, theirs = [], []
    for _ in range(runs):
        began = time.perf_counter()
        found = fit()
        ours.append(time.perf_counter() - began)
        told = from_r(script, *arguments)
        if told is not None:
            theirs.append(float(told[-2]))
    if not theirs:
        return {"seconds": statistics.median(ours), "note": "R or its package is not installed"}
    print(f"  -2 log likelihood {-2 * found.loglik:.5f} and {float(told[-1]):.5f}")
    return {"seconds": statistics.median(ours), "peer_seconds": statistics.median(theirs)}
