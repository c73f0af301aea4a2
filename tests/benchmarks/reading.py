"""Time reading and checking: a million rows of CSV, a messy workbook, ten thousand problems.

Run ``python tests/benchmarks/reading.py``; each part runs in a process of its own.
"""

import tempfile
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
from row import alone, tell

PEOPLE, TRIALS = 2874, 348
PHASES = {"pretest": 30, "acquisition": 216, "posttest": 36, "retention": 36, "transfer": 30}


def million_rows(path: Path) -> None:
    """Write about a million trials in thirteen columns."""
    rng = np.random.default_rng(1)
    size = PEOPLE * TRIALS
    sizes = list(PHASES.values())
    x, y = rng.normal(0, 15, size).round(1), rng.normal(0, 18, size).round(1)
    groups = rng.choice(["blocked", "serial", "random"], PEOPLE)
    table = pd.DataFrame(
        {
            "participant": np.repeat([f"p{i:05d}" for i in range(PEOPLE)], TRIALS),
            "group": np.repeat(groups, TRIALS),
            "phase": np.tile(np.repeat(list(PHASES), sizes), PEOPLE),
            "session": 1,
            "block": np.tile(np.concatenate([np.arange(k) // 18 + 1 for k in sizes]), PEOPLE),
            "trial": np.tile(np.concatenate([np.arange(k) + 1 for k in sizes]), PEOPLE),
            "task": rng.choice(["straight", "bank", "lob"], size),
            "hit": (np.hypot(x, y) <= 20).astype(int),
            "x": x,
            "y": y,
            "radial_error": np.hypot(x, y).round(1),
            "feedback": np.tile(np.repeat([0, 1, 0, 0, 0], sizes), PEOPLE),
            "date": "2026-03-02",
        }
    )
    table.to_csv(path, index=False)


def messy_workbook(path: Path) -> None:
    """Write a wide workbook of 1,000 people with a fault in every tenth row."""
    rng = np.random.default_rng(2)
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["", "", "week 2", None, "week 4", None, "1 week later", None])
    sheet.append(["ID", "Group", "hits", "of", "hits", "of", "hits", "of"])
    faults = ["12/20", "abs", "0,6", "60 %", 23, "8", "=C3+1", None, "n/a", "twelve"]
    for number in range(1000):
        cells = [cell for hit in rng.binomial(20, 0.4, 3).tolist() for cell in (hit, 20)]
        if number % 10 == 0:
            cells[2 * int(rng.integers(3))] = faults[number // 10 % len(faults)]
        sheet.append([f"P{number:04d}", "B" if number % 2 else "R", *cells])
    sheet.append(["Mean", None, 8, 20, 8, 20, 8, 20])
    sheet.merge_cells("C1:D1")
    book.save(path)


PARTS = {
    "1,000,152 rows of CSV, read and checked": (
        "big.csv",
        "import motorlearn as ml; t = ml.read_trials(FILE); assert len(t.table) == 1_000_152",
        {"most": 10, "most_gib": 1.5},
    ),
    "messy workbook of 1,000 rows, proposed, imported and listed as a page": (
        "messy.xlsx",
        "import motorlearn as ml; p = ml.trials.propose_recipe(FILE); "
        "t = ml.trials.import_trials(FILE, p.recipe); ml.trials.problem_page(t.problems)",
        {"most": 5},
    ),
    "10,000 problems as console list, table and page": (
        "messy.xlsx",
        "import pandas as pd, motorlearn as ml; from motorlearn.trials.checking.problems "
        "import gather, problem_frame as f; "
        "p = gather([f(f'rule {i % 20}', severity='error', advice='look', "
        "file='t.csv', row=i, column='x', value=i) for i in range(20)] * 500); "
        "assert len(p) == 10_000; import time; s = time.perf_counter(); "
        "ml.trials.problem_list(p); ml.trials.problem_page(p); ml.trials.problem_table(p); "
        "print(f'  the three writers alone: {time.perf_counter() - s:.2f} s')",
        {"most": 2},
    ),
}


PLAIN = "import pandas as pd; assert len(pd.read_csv(FILE)) == 1_000_152"


def main() -> None:
    """Make the files, run each part and print wall time and peak memory."""
    with tempfile.TemporaryDirectory() as folder:
        million_rows(Path(folder) / "big.csv")
        messy_workbook(Path(folder) / "messy.xlsx")
        for name, (file, script, wanted) in PARTS.items():
            path = repr(str(Path(folder) / file))
            timed = alone(["-c", script.replace("FILE", path)])
            if file == "big.csv":
                plain = alone(["-c", PLAIN.replace("FILE", path)])["seconds"]
                wanted |= {"peer": "pandas.read_csv, unchecked", "peer_seconds": plain}
            tell(name, **timed, **wanted)


if __name__ == "__main__":
    main()
