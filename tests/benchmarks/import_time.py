"""Time importing the package beside importing pandas, each in a fresh process.

Run ``python tests/benchmarks/import_time.py``. Wanted: at most 1.2 times the time of pandas.
"""

import statistics
import subprocess
import sys

from row import tell

RUNS = 15
SCRIPT = "import time; s = time.perf_counter(); import {}; print(time.perf_counter() - s)"


def once(module: str) -> float:
    """Seconds of one import in a fresh process, without the start of the interpreter."""
    command = [sys.executable, "-c", SCRIPT.format(module)]
    return float(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def main() -> None:
    """Import both in turn, and a name behind the front door, and print medians."""
    taken: dict[str, list[float]] = {"motorlearn": [], "pandas": [], "motorlearn.trials": []}
    for _ in range(RUNS):
        for module, times in taken.items():
            times.append(once(module))
    ours, theirs, trials = (statistics.median(times) for times in taken.values())
    tell("import motorlearn", ours, peer="import pandas", peer_seconds=theirs, least=1 / 1.2)
    tell("import motorlearn.trials", trials, peer="import pandas", peer_seconds=theirs)


if __name__ == "__main__":
    main()
