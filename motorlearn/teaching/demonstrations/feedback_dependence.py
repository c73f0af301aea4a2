"""Feedback dependence: practice that leans on feedback looks good until the feedback is gone."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from motorlearn import digits
from motorlearn.exceptions import InputError
from motorlearn.tables import Table
from motorlearn.teaching.demonstrations.demonstration import Demonstration, check_settings
from motorlearn.teaching.demonstrations.two_groups import (
    estimate_columns,
    gap_and_change,
    moment_means,
)

GROUPS = ("feedback every trial", "feedback now and then")
PRESETS = {"guidance": (0.5, 1.0), "null": (1.0, 1.0), "information": (1.0, 0.1)}
"""What a practice trial teaches with feedback and without it, as shares of the full rate."""
RATE = 0.02
HIDDEN = 0.8
TRIALS = 96
TRIALS_PER_BLOCK = 8
TEST_TRIALS = 24

LIMITS: Final[dict[str, tuple[float, float]]] = {
    "every": (2, 12),
    "days": (0, 30),
    "per_group": (4, 500),
}


@dataclass(frozen=True)
class FeedbackDependence(Demonstration):
    """Practice with feedback, and a later test without it, of two groups.

    Parameters
    ----------
    means : DataFrame
        ``moment, order, group, mean, conf_low, conf_high``: mean absolute error in cm.
    people : DataFrame
        ``participant, group, practice, retention``: practice is the mean of all blocks.
    differences : DataFrame
        ``moment, estimate, conf_low, conf_high``: now and then minus every trial, in cm, in
        practice, at the test without feedback, and the change between them.
    """

    means: pd.DataFrame
    people: pd.DataFrame
    differences: pd.DataFrame

    def tables(self) -> list[Table]:
        """The differences."""
        columns = estimate_columns("moment", "difference", "cm")
        title = "Feedback now and then minus feedback every trial, mean absolute error"
        return [Table("feedback", title, columns, self.differences, (self.conclusion,))]


def feedback_dependence(
    *,
    preset: str = "guidance",
    every: int = 3,
    days: float = 2,
    per_group: int = 24,
    seed: int = 1,
) -> FeedbackDependence:
    """Simulate two groups that practise with much and with little feedback.

    A person's aim is off by ``b``, which practice wears off: ``b·exp(-Σ rate)``. Straight after
    feedback a large part of what is left does not show, and it shows again as trials pass without
    feedback, or in the test. Until the test a share ``0.3·(1 - exp(-days/10))`` of what was learned
    is forgotten. The presets say what a trial with and without feedback teaches; which
    of them is true is an open question, and the demonstration assumes one rather than proves it.

    Parameters
    ----------
    preset : {"guidance", "null", "information"}
        ``guidance``: a trial with feedback teaches half of what a trial without it teaches, because
        one leans on it. ``null``: both teach the same. ``information``: a trial without feedback
        teaches next to nothing.
    every : int
        The second group has feedback on every m-th trial, 2 to 12.
    days : float
        Days until the test without feedback, 0 to 30.
    per_group : int
        People in each group, 4 to 500.
    seed : int
        Seed of the people.

    Returns
    -------
    FeedbackDependence
        Errors in cm: less is better.

    Raises
    ------
    InputError
        If a setting is outside its range or the preset is unknown.

    References
    ----------
    Salmoni, A. W., Schmidt, R. A., & Walter, C. B. (1984). Knowledge of results and motor learning:
    a review and critical reappraisal. *Psychological Bulletin*, 95, 355-386.
    https://doi.org/10.1037/0033-2909.95.3.355

    Winstein, C. J., & Schmidt, R. A. (1990). Reduced frequency of knowledge of results enhances
    motor skill learning. *Journal of Experimental Psychology: Learning, Memory, and Cognition*, 16,
    677-691. https://doi.org/10.1037/0278-7393.16.4.677

    Examples
    --------
    >>> shown = feedback_dependence(per_group=200)
    >>> practice, test, change = shown.differences["estimate"]
    >>> practice > 0 > test
    True
    """
    if preset not in PRESETS:
        raise InputError("there is no such preset", [preset], f"choose one of {', '.join(PRESETS)}")
    given = check_settings({"every": every, "days": days, "per_group": per_group}, LIMITS)
    practice, retention = _simulate(PRESETS[preset], int(every), days, int(per_group), seed)
    differences = gap_and_change(
        ("practice", practice.mean(-1)), ("test without feedback", retention)
    )
    return FeedbackDependence(
        settings={"preset": preset, **given, "seed": seed},
        conclusion=_conclusion(differences),
        text=_text(practice, retention, differences, int(every), days),
        means=_means(practice, retention),
        people=_people(practice, retention),
        differences=differences,
    )


def _simulate(
    worth: tuple[float, float], every: int, days: float, n: int, seed: int
) -> tuple[np.ndarray, np.ndarray]:
    """Absolute errors: practice of shape (2, n, blocks), test of shape (2, n)."""
    streams = [np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(3)]
    traits = streams[0].standard_normal((n, 2, 2)).transpose(2, 1, 0)[..., None]
    bias, spread = 30 + 6 * traits[0], 6 * np.exp(0.2 * traits[1])
    since = np.stack([np.zeros(TRIALS, dtype=int), np.arange(TRIALS) % every])
    rate = RATE * np.where(since == 0, worth[0], worth[1])
    # What is left of the bias before each trial, and what the latest feedback hides of that.
    left = np.exp(-np.cumsum(rate, axis=1) + rate)
    hidden = HIDDEN * 0.7**since
    noise = streams[1].standard_normal((n, 2, TRIALS)).transpose(1, 0, 2)
    shown = bias * (left * (1 - hidden))[:, None, :] + spread * noise
    final = np.exp(-rate.sum(axis=1))
    forgot = final + (1 - final) * 0.3 * (1 - np.exp(-days / 10))
    tests = streams[2].standard_normal((n, 2, TEST_TRIALS)).transpose(1, 0, 2)
    test = np.abs(bias * forgot[:, None, None] + spread * tests).mean(-1)
    return np.abs(shown).reshape(2, n, -1, TRIALS_PER_BLOCK).mean(-1), test


def _means(practice: np.ndarray, test: np.ndarray) -> pd.DataFrame:
    blocks = {f"block {b + 1}": practice[..., b] for b in range(practice.shape[-1])}
    return moment_means({**blocks, "test without feedback": test}, GROUPS)


def _people(practice: np.ndarray, test: np.ndarray) -> pd.DataFrame:
    n = test.shape[1]
    return pd.DataFrame(
        {
            "participant": [f"f{g + 1}{i + 1:03d}" for g in range(2) for i in range(n)],
            "group": np.repeat(GROUPS, n),
            "practice": practice.mean(-1).ravel(),
            "retention": test.ravel(),
        }
    )


def _conclusion(differences: pd.DataFrame) -> str:
    practice, test, change = (differences.loc[i, "estimate"] for i in range(3))
    low, high = differences.loc[1, ["conf_low", "conf_high"]]
    moved_low, moved_high = differences.loc[2, ["conf_low", "conf_high"]]
    tested = f"{digits.number(test, 1)} cm, 95 % CI {digits.interval(low, high, 1)}"
    moved = f"the gap moved by {digits.number(change, 1)} cm from practice to the test"
    if low <= 0 <= high:
        ended = (
            f"; feedback on every trial helped while it lasted, which is why {moved}"
            if moved_high < 0
            else ""
        )
        return f"The test leaves open which group erred less ({tested}){ended}."
    better = GROUPS[int(test < 0)]
    if practice * test < 0 and moved_low * moved_high > 0:
        return (
            f"The order turned: at the test the group with {better} erred less ({tested}), {moved}."
        )
    return f"At the test the group with {better} erred less ({tested}), {moved}."


def _text(
    practice: np.ndarray, test: np.ndarray, differences: pd.DataFrame, every: int, days: float
) -> str:
    courses = "; ".join(
        f"{group}: {digits.number(practice[g, :, 0].mean(), 1)} cm in block 1, "
        f"{digits.number(practice[g, :, -1].mean(), 1)} cm in the last block, "
        f"{digits.number(test[g].mean(), 1)} cm at the test"
        for g, group in enumerate(GROUPS)
    )
    signed = "; ".join(
        f"{moment} {digits.number(estimate, 1)} cm (95 % CI {digits.interval(low, high, 1)})"
        for moment, estimate, low, high in differences.itertuples(index=False)
    )
    return (
        f"Mean absolute error over {practice.shape[-1]} practice blocks and a test without "
        f"feedback after {digits.number(days, 0)} days; the second group had feedback on one trial "
        f"of {every}. {courses}. Now and then minus every trial: {signed}."
    )
