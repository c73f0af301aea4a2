"""Invented technique ratings: clips, two raters, a drift, a share rated twice."""

from typing import Final

import numpy as np
import pandas as pd

FILMED: Final = ("pretest", "posttest", "retention")
"""Tests that are filmed, where the plan has them."""

ITEMS: Final = ("stance", "grip", "backswing", "contact", "follow_through")
CLIPS_PER_PHASE: Final = 6
DOUBLE_SHARE: Final = 0.20
CLIP_SD: Final = 1.4
RATER_SD: Final = 0.2
RESIDUAL_SD: Final = 0.75
DRIFT: Final = 0.3
SKIPPED: Final = 12
_PHASE_MEANS: Final = {"pretest": 4.6, "posttest": 6.0, "retention": 5.6}
_PERSON_SD: Final = 0.9
_EASE: Final = (-9.0, -1.5, 0.5, 1.0, 1.5)
_ITEM_SD: Final = 1.8
_ITEM_NOISE: Final = 0.8


def draw_ratings(people: pd.DataFrame, skill: np.ndarray, rng: np.random.Generator) -> pd.DataFrame:
    """Draw the ratings of every clip that could be filmed.

    Rater A rates all clips in shuffled order, rater B a fifth of them; B becomes more generous in
    the second half of the work and skips some clips.

    Parameters
    ----------
    people : DataFrame
        ``participant, phase``: one row for each test that was filmed.
    skill : ndarray, shape (rows of people,)
        Standard score of the participant's accuracy, higher is better.
    rng : Generator
        Source of chance.

    Returns
    -------
    DataFrame
        ``participant, phase, clip, position, item, rater, score``; five items scored 0 to 2.
    """
    clips = people.loc[people.index.repeat(CLIPS_PER_PHASE)].reset_index(drop=True)
    n = len(clips)
    codes = rng.permutation(n)
    clips["clip"] = [f"C{code + 1:04d}" for code in codes]
    person = clips["participant"].map(_person_effects(people, skill, rng)).to_numpy(float)
    mean = clips["phase"].map(_PHASE_MEANS).to_numpy(float)
    between = max(CLIP_SD**2 - _PERSON_SD**2 - np.var(mean), 0.0)
    quality = mean + person + np.sqrt(between) * rng.standard_normal(n)
    steps = np.array(_EASE) + _ITEM_SD * rng.standard_normal((n, len(ITEMS)))
    rater = RATER_SD * rng.standard_normal(2)
    parts = []
    for name, effect, drift, chosen in (
        ("A", rater[0], 0.0, np.arange(n)),
        ("B", rater[1], DRIFT, rng.permutation(n)[: int(np.ceil(DOUBLE_SHARE * n))]),
    ):
        order = rng.permutation(chosen)
        later = np.arange(len(order)) >= len(order) / 2
        if name == "B":
            kept = np.sort(rng.permutation(len(order))[min(SKIPPED, len(order) // 4) :])
            order, later = order[kept], later[kept]
        total = quality[order] + effect + drift * later
        parts.append(_rate(clips.iloc[order], total, steps[order], name, rng))
    return pd.concat(parts, ignore_index=True)


def _person_effects(
    people: pd.DataFrame, skill: np.ndarray, rng: np.random.Generator
) -> dict[str, float]:
    known = dict(zip(people["participant"], skill, strict=True))
    return {
        name: _PERSON_SD * (0.5 * value + np.sqrt(0.75) * rng.standard_normal())
        for name, value in known.items()
    }


def _rate(
    clips: pd.DataFrame, total: np.ndarray, steps: np.ndarray, rater: str, rng: np.random.Generator
) -> pd.DataFrame:
    """Turn what a rater sees into five items whose sum is the rounded total."""
    # Rounding to whole points adds 1/12 to the residual variance.
    residual = np.sqrt(RESIDUAL_SD**2 - 1 / 12)
    points = np.clip(np.round(total + residual * rng.standard_normal(len(total))), 0, 10)
    scores = _share_points(points, steps + _ITEM_NOISE * rng.standard_normal(steps.shape))
    frame = clips.loc[clips.index.repeat(len(ITEMS)), ["participant", "phase", "clip"]]
    return frame.reset_index(drop=True).assign(
        position=np.repeat(np.arange(1, len(clips) + 1), len(ITEMS)),
        item=np.tile(np.array(ITEMS, dtype=object), len(clips)),
        rater=rater,
        score=scores.ravel(),
    )


def _share_points(points: np.ndarray, ease: np.ndarray) -> np.ndarray:
    """Give the points to the easiest steps; the second step of an item follows its first."""
    n, items = ease.shape
    both = np.concatenate([ease, ease + 2.0], axis=1)
    rank = both.argsort(axis=1).argsort(axis=1)
    given: np.ndarray = (rank < points[:, None]).reshape(n, 2, items).sum(axis=1)
    return given
