"""Make two invented, messy files such as a study may receive: a weekly workbook and a site log.

Run ``python data/messy/make.py`` from the top of the project. Seed 20261126; nobody real is in it.
"""

import csv
import io
from pathlib import Path

import numpy as np
import openpyxl
from openpyxl.comments import Comment

HERE = Path(__file__).parent
SEED = 20261126


def weekly(rng: np.random.Generator) -> openpyxl.Workbook:
    """Hits of 20 at week 2, week 4 and one week after the programme, with usual faults."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Tests"
    sheet.append(["Ring push, hits of 20"])
    sheet.append(["", "", "week 2", None, "week 4", None, "1 week later", None])
    sheet.append(["ID", "Group", "hits", "of", "hits", "of", "hits", "of"])
    for number in range(1, 25):
        skill = rng.normal(0.35, 0.1)
        shares = np.clip([skill, skill + 0.1, skill + 0.08], 0.02, 0.98)
        hits = rng.binomial(20, shares).tolist()
        row = [f"P{number:02d}", "B" if number % 2 else "R"]
        sheet.append(row + [cell for hit in hits for cell in (hit, 20)])
    sheet["C5"] = "12/20"
    sheet["E6"] = "abs"
    sheet["G7"] = "0,6"
    sheet["G8"] = "55 %"
    sheet["C9"] = "8"
    sheet["E10"] = "=C10+2"
    sheet["G11"] = 23
    sheet["F12"] = 18
    sheet["A13"] = "P7"
    sheet["G14"] = None
    sheet["C15"].comment = Comment("arrived late", "tester")
    sheet.row_dimensions[20].hidden = True
    sheet.append([])
    sheet.append(["Mean", None, 8.1, 20, 9.9, 20, 9.4, 20])
    for area in ("C2:D2", "E2:F2", "G2:H2"):
        sheet.merge_cells(area)
    return book


def log(rng: np.random.Generator) -> str:
    """A log of trials with semicolons, decimal commas, days first, one session in metres."""
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, delimiter=";", lineterminator="\r\n")
    writer.writerow(["id", "group", "phase", "session", "trial", "x", "y", "hit", "date"])
    days = {"pretest": ("1", "02/03/2026"), "acquisition": ("1", "02/03/2026")}
    days |= {"retention": ("2", "17/03/2026")}
    for number in range(1, 9):
        for phase, (session, date) in days.items():
            for trial in range(1, 11):
                x, y = rng.normal(0, 15, 2).round(1)
                hit = int(np.hypot(x, y) <= 20)
                scale = 100 if (number, phase) == (5, "retention") else 1
                cells = [f"{v / scale:.3f}".rstrip("0").rstrip(".") for v in (x, y)]
                group = "blocked" if number % 2 else "random"
                row = [f"p{number}", group, phase, session, trial, *cells, hit, date]
                writer.writerow([str(cell).replace(".", ",") for cell in row])
    lines = buffer.getvalue().split("\r\n")
    lines[12] = lines[12].replace(";blocked;", ";random;")
    lines[40] = lines[39]
    return "\r\n".join(lines)


if __name__ == "__main__":
    generator = np.random.default_rng(SEED)
    weekly(generator).save(HERE / "weekly.xlsx")
    (HERE / "log.csv").write_text(log(generator), encoding="utf-8", newline="")
