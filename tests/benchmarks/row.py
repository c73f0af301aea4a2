"""Processes timed alone, and one line of JSON per timed action for the table of run.py."""

import json
import resource
import subprocess
import sys
import time


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
