"""Run every benchmark beside the general-purpose peers on this machine; print one table.

    python tests/benchmarks/run.py [import_time] [reading] [scores] [curves] ...

Each module runs by itself in a process of its own, one after the other, and tells its rows as lines
of JSON. R with lme4, lmerTest, nlme, ordinal and glmmTMB is used where it is installed; where it is
not, the table says so. Leave the machine alone meanwhile. Exits with 1 where a module fails, not
where a wish is missed: times belong to a machine. ``measured.csv`` keeps the newest rows of every
module with the machine, for the page that ``docs/measured.py`` writes.
"""

import csv
import json
import os
import platform
import shutil
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

HERE = Path(__file__).parent
MODULES = ("import_time", "reading", "scores", "curves", "mixed", "families", "power", "report")
LIBRARIES = ("motorlearn", "numpy", "scipy", "pandas", "statsmodels", "pyarrow", "matplotlib")
R_LIBRARIES = ("lme4", "lmerTest", "nlme", "ordinal", "glmmTMB")
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
LOAD = os.getloadavg()[0]
KEPT = HERE / "measured.csv"
KEPT_COLUMNS = ("module", "action", "seconds", "cpu", "gib", "peer", "ratio", "machine")
HEADINGS = ("action", "ours", "CPU", "peak", "peer", "peer's", "ratio", "wanted", "held")


def machine() -> list[str]:
    """Describe processor, memory, system and versions."""
    names = [
        line.split(":", 1)[1].strip()
        for line in Path("/proc/cpuinfo").read_text().splitlines()
        if line.startswith("model name")
    ]
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    processor = names[0] if names else platform.machine()
    cores = len(os.sched_getaffinity(0))
    libraries = ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
    return [
        f"machine: {processor}, {cores} cores, {memory:.0f} GiB, {platform.system()}; "
        f"linear algebra on one thread; load at the start {LOAD:.1f}",
        f"Python {platform.python_version()}; {libraries}",
        r_versions(),
    ]


def r_versions() -> str:
    """Describe R and its packages, or their absence."""
    if shutil.which("Rscript") is None:
        return "R is not installed: rows that need it have no peer"
    packages = ", ".join(f"'; {name} ', format(packageVersion('{name}'))" for name in R_LIBRARIES)
    script = f"cat(R.version.string, {packages}, sep = '')"
    done = subprocess.run(["Rscript", "-e", script], capture_output=True, text=True)
    return done.stdout.strip() or "R is installed without " + ", ".join(R_LIBRARIES)


def run(module: str) -> tuple[list[dict], str]:
    """Rows of one module, and why it failed if it did."""
    environment = os.environ | dict.fromkeys(THREADS, "1")
    done = subprocess.run(
        [sys.executable, str(HERE / f"{module}.py")],
        env=environment,
        capture_output=True,
        text=True,
    )
    rows = []
    for line in done.stdout.splitlines():
        if line.startswith("{"):
            rows.append(json.loads(line))
        else:
            print(f"  {line.strip()}", flush=True)
    failed = (
        (done.stderr.strip().splitlines()[-1:] or [f"ended with {done.returncode}"])
        if done.returncode
        else []
    )
    return rows, " ".join(failed)


def seconds(value: float | None) -> str:
    """Seconds in the unit that reads best."""
    if value is None:
        return ""
    return f"{value * 1e3:.3g} ms" if value < 1 else f"{value:.3g} s"


def wishes(row: dict) -> list[tuple[str, bool | None]]:
    """Each wish of a row, and whether it held; None where it could not be tried."""
    found: list[tuple[str, bool | None]] = []
    if "least" in row:
        held = row["ratio"] >= row["least"] if "ratio" in row else None
        found.append((f"ratio >= {row['least']:.3g}", held))
    if "most" in row:
        found.append((f"<= {row['most']:g} s", row["seconds"] <= row["most"]))
    if "most_gib" in row:
        found.append((f"<= {row['most_gib']:g} GiB", row["gib"] <= row["most_gib"]))
    return found


def cells(row: dict) -> list[str]:
    """One row as text."""
    asked = wishes(row)
    words = {True: "yes", False: "NO", None: "not tried"}
    return [
        row["action"],
        seconds(row["seconds"]),
        seconds(row.get("cpu")),
        f"{row['gib']:.2f} GiB" if "gib" in row else "",
        row.get("peer", row.get("note", "")),
        seconds(row.get("peer_seconds")),
        f"{row['ratio']:.3g}" if "ratio" in row else "",
        ", ".join(wish for wish, _ in asked),
        ", ".join(words[held] for _, held in asked),
    ]


def keep(measured: dict[str, list[dict]]) -> None:
    """Put rows in the place of those that the same modules gave before."""
    earlier = []
    if KEPT.exists():
        with KEPT.open(newline="") as file:
            earlier = [row for row in csv.DictReader(file) if row["module"] not in measured]
    where = " ".join(machine()[:2])
    fresh = [
        {**row, "module": name, "machine": where} for name, rows in measured.items() for row in rows
    ]
    with KEPT.open("w", newline="") as file:
        table = csv.DictWriter(file, KEPT_COLUMNS, extrasaction="ignore", lineterminator="\n")
        table.writeheader()
        table.writerows([*earlier, *fresh])


def main(wanted: list[str]) -> int:
    """Run the modules and print the table in Markdown."""
    lines, failures, measured = [], [], {}
    for module in wanted or MODULES:
        print(module, flush=True)
        rows, failure = run(module)
        lines += [cells(row) for row in rows]
        if failure:
            failures.append(f"{module} failed: {failure}")
        elif rows:
            measured[module] = rows
    keep(measured)
    widths = [max(map(len, column)) for column in zip(HEADINGS, *lines)]
    print()
    print("\n".join(machine()), end="\n\n")
    for line in (HEADINGS, ["-" * width for width in widths], *lines):
        padded = (cell.ljust(width) for cell, width in zip(line, widths))
        print("| " + " | ".join(padded) + " |")
    print("\n".join(failures))
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
