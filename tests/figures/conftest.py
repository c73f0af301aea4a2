"""Hand-made frames of the shapes that the figures take; ring-push numbers, invented."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest

from motorlearn.design import Outcome

RADIAL = Outcome(name="radial_error", unit="cm", better="lower", label="mean radial error")
TESTS = {"pretest": 38.0, "posttest": 22.0, "retention": 25.0, "transfer": 29.0}


@dataclass(frozen=True)
class Frames:
    """What one small study gives to the figures."""

    groups: list[str]
    outcome: Outcome
    scores: pd.DataFrame
    points: pd.DataFrame
    trials: pd.DataFrame

    @property
    def tests(self) -> pd.DataFrame:
        return self.scores[self.scores["phase"] != "acquisition"]


def make_frames(sizes: dict[str, int], *, blocks: int = 6, seed: int = 5) -> Frames:
    """Draw scores for groups of these sizes: two practice sessions and four tests."""
    rng = np.random.default_rng(seed)
    keys = [
        ("acquisition", s, b, 34 - 2.0 * (6 * (s - 1) + b) ** 0.7)
        for s in (1, 2)
        for b in range(1, blocks + 1)
    ]
    keys += [(phase, np.nan, np.nan, value) for phase, value in TESTS.items()]
    rows = []
    for place, (group, n) in enumerate(sizes.items()):
        for i in range(n):
            own = rng.normal(0, 4)
            for phase, session, block, level in keys:
                score = abs(level + own + 0.5 * place + rng.normal(0, 2))
                rows.append((f"{group[:1]}{i:02d}", group, phase, session, block, score))
    scores = pd.DataFrame(
        rows, columns=["participant", "group", "phase", "session", "block", "score"]
    )
    points = (
        scores.groupby(["group", "phase", "session", "block"], dropna=False)["score"]
        .agg(n="count", mean="mean", sd="std")
        .reset_index()
    )
    half = 2 * points["sd"].fillna(0) / np.sqrt(points["n"])
    points = points.assign(conf_low=points["mean"] - half, conf_high=points["mean"] + half)
    return Frames(list(sizes), RADIAL, scores, points, _landings(sizes, rng))


def _landings(sizes: dict[str, int], rng: np.random.Generator) -> pd.DataFrame:
    parts = []
    for group, n in sizes.items():
        for phase in ("pretest", "retention"):
            xy = rng.normal([1, -4], [14, 20], size=(30 * n, 2))
            parts.append(pd.DataFrame(xy, columns=["x", "y"]).assign(group=group, phase=phase))
    return pd.concat(parts, ignore_index=True)


SHAPES = {
    "three groups": {"blocked": 24, "serial": 23, "random": 22},
    "two unequal": {"blocked": 5, "random": 19},
    "one group": {"programme": 12},
    "six groups": {f"group {name}": 8 for name in "ABCDEF"},
    "long names": {"self-controlled feedback": 9, "yoked and informed": 8, "yoked": 7},
    "two people": {"blocked": 1, "random": 1},
}


@pytest.fixture(params=SHAPES, scope="module")
def frames(request) -> Frames:
    return make_frames(SHAPES[request.param])


@pytest.fixture(name="make_frames", scope="module")
def frame_maker():
    return make_frames


@pytest.fixture(scope="module")
def three() -> Frames:
    return make_frames(SHAPES["three groups"])
