"""Fill in field sheets the way a person would, for tests that read them back."""

from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd

import motorlearn as ml
from motorlearn.plan import Answers, programme_text, write_plan, write_sheets

TESTS = ("pretest", "week 2", "week 4", "one week after")
DATES = ("2026-03-02", "2026-03-15", "2026-03-29", "2026-04-02")
PRACTICE_DAYS = (0, 3, 7, 10, 14, 17, 21, 24)


def programme_folder(folder: Path, *, size: int = 14, seed: int = 5) -> Path:
    """Make the folder of a programme with blank sheets."""
    answers = Answers(title="Ring push", size=size, test_trials=20, seed=seed)
    write_plan(folder, answers, text=programme_text(answers))
    write_sheets(ml.read_design(folder), folder / "sheets", seed=seed)
    return folder


def heading_row(sheet) -> int:
    """Row of the headings of a field sheet."""
    return next(r for r in range(2, 60) if sheet.cell(r, 1).value in ("participant", "test"))


def fill_tests(folder: Path, *, tests: int = 4, seed: int = 1, rise: float = 0.12) -> None:
    """Type hits and misses of the first tests into the grid."""
    file = folder / "sheets" / "tests.xlsx"
    book = openpyxl.load_workbook(file)
    rng = np.random.default_rng(seed)
    people = book[TESTS[0]].max_row - heading_row(book[TESTS[0]])
    skill = rng.uniform(0.15, 0.45, people)
    for number, (name, date) in enumerate(zip(TESTS[:tests], DATES, strict=False)):
        sheet = book[name]
        top = heading_row(sheet)
        _fact(sheet, "date", date)
        for person in range(people):
            hits = rng.random(20) < np.clip(skill[person] + rise * number, 0, 0.95)
            for box in range(20):
                sheet.cell(top + 1 + person, 2 + box).value = int(hits[box])
    book.save(file)


def fill_sessions(folder: Path, *, sessions: int = 8, seed: int = 2) -> None:
    """Note who was there, pain and criteria on the pages of the first sessions."""
    file = folder / "sheets" / "sessions.xlsx"
    book = openpyxl.load_workbook(file)
    rng = np.random.default_rng(seed)
    for number in range(1, sessions + 1):
        sheet = book[f"session {number}"]
        top = heading_row(sheet)
        _fact(sheet, "date", f"2026-03-{2 + PRACTICE_DAYS[number - 1]:02d}")
        names = {sheet.cell(top, c).value: c for c in range(1, sheet.max_column + 1)}
        for row in range(top + 1, sheet.max_row + 1):
            sheet.cell(row, names["present"]).value = "yes" if rng.random() < 0.9 else "no"
            sheet.cell(row, names["pain_before"]).value = 0
            sheet.cell(row, names["pain_after"]).value = int(rng.random() < 0.05) * 3
            for name, column in names.items():
                if name and name.startswith("met: "):
                    sheet.cell(row, column).value = "yes" if rng.random() < number / 10 else "no"
    book.save(file)


def fill_ratings(folder: Path, *, seed: int = 3) -> None:
    """Give every clip a score that rises from test to test."""
    file = folder / "sheets" / "ratings.csv"
    ratings = pd.read_csv(file, dtype=str)
    key = pd.read_csv(folder / "sheets" / "concealed" / "clips.csv").set_index("clip")
    rng = np.random.default_rng(seed)
    place = key.loc[ratings["clip"], "phase"].map({"pretest": 0, "progress": 1, "retention": 1.6})
    score = np.clip(np.round(0.8 + place.to_numpy(float) + rng.normal(0, 0.6, len(ratings))), 0, 3)
    ratings.assign(score=score.astype(int)).to_csv(file, index=False)


def _fact(sheet, word: str, value: str) -> None:
    row = next(r for r in range(1, heading_row(sheet)) if sheet.cell(r, 1).value == word)
    sheet.cell(row, 2).value = value
