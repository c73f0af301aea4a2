"""A small study whose data keep every rule, for tests that then break one; a file with odd rows."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

PLAN = """
[study]
title = "Ring push, small"

[target]
radius = 20.0

[units]
length = "cm"

[[groups]]
name = "blocked"
[[groups]]
name = "random"

[[tasks]]
name = "straight"
[[tasks]]
name = "bank"

[[practice]]
session = 1
day = 0
blocks = 2
trials_per_block = 2

[[tests]]
phase = "pretest"
trials = 2
[[tests]]
phase = "retention"
trials = 2
interval_days = 7
window_days = 1

[[outcomes]]
name = "radial_error"
unit = "cm"
better = "lower"

[files]
trials = "trials.csv"
participants = "participants.csv"
"""

PHASES = (
    ("pretest", 1, "2026-03-02"),
    ("acquisition", 1, "2026-03-02"),
    ("acquisition", 2, "2026-03-02"),
    ("retention", 1, "2026-03-09"),
)


def good_trials() -> pd.DataFrame:
    """Two trials in each of four blocks for four people, nothing wrong."""
    rows = []
    for who, (name, group) in enumerate(
        [("p01", "blocked"), ("p02", "random"), ("p03", "blocked"), ("p04", "random")]
    ):
        for phase, block, date in PHASES:
            for trial in (1, 2):
                x, y = 3.0 * trial + who, 4.0 * (block + who)
                r = round((x * x + y * y) ** 0.5, 3)
                number = trial + (2 if phase == "acquisition" and block == 2 else 0)
                task = "straight" if trial == 1 else "bank"
                told = int(phase == "acquisition")
                session = 2 if phase == "retention" else 1
                place = (name, group, phase, session, block, number, task)
                rows.append((*place, int(r <= 20), x, y, r, told, "", date))
    names = "participant group phase session block trial task hit x y radial_error feedback void"
    return pd.DataFrame(rows, columns=[*names.split(), "date"])


@dataclass
class StudyFolder:
    """A study folder that can be altered and written again."""

    path: Path
    plan: str
    trials: pd.DataFrame
    participants: pd.DataFrame

    def write(self) -> Path:
        (self.path / "study.toml").write_text(self.plan, encoding="utf-8")
        self.trials.to_csv(self.path / "trials.csv", index=False)
        self.participants.to_csv(self.path / "participants.csv", index=False)
        return self.path


@pytest.fixture
def study_folder(tmp_path):
    trials = good_trials()
    people = trials[["participant", "group"]].drop_duplicates()
    return StudyFolder(tmp_path, PLAN, trials, people)


@pytest.fixture
def slides(tmp_path):
    """Landing points: a device's default, pushes that left the floor, free practice, a lost one."""
    rng = np.random.default_rng(5)
    frames = []
    for person in range(1, 21):
        for part, phase in enumerate(("pretest", "acquisition", "retention")):
            blocks = 1 if part != 1 else 3 + person % 3
            x, y = rng.normal(0, 20, (2, blocks * 10)).round(3)
            y[y > 30] = 90.0
            lost = (y < -28) & (part != 1)
            x[lost], y[lost] = np.nan, np.nan
            if person == 7 and part != 1:
                x[:], y[:] = np.nan, np.nan
            frames.append(
                pd.DataFrame(
                    {
                        "participant": f"P{person:02d}",
                        "group": ("blocked", "random")[person % 2],
                        "phase": phase,
                        "block": np.repeat(np.arange(1, blocks + 1), 10),
                        "trial": np.tile(np.arange(1, 11), blocks),
                        "x": x,
                        "y": y,
                    }
                )
            )
    file = tmp_path / "slides.csv"
    pd.concat(frames).to_csv(file, index=False)
    return file
