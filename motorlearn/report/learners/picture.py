"""A learner's own tests as a small picture: a point and its interval for each test."""

from collections.abc import Callable
from html import escape
from typing import Final

import numpy as np

from motorlearn.report.learners.progress import Learner, Progress
from motorlearn.wording.learners import score_words

_WIDTH, _HEIGHT = 640, 230
_LEFT, _RIGHT, _TOP, _BOTTOM = 60, 60, 26, 46
_INK: Final = "#10386f"


def tests_picture(learner: Learner, progress: Progress) -> str:
    """Draw the tests of one learner as SVG with a text for those who cannot see it."""
    tests = learner.tests
    if tests.empty:
        return ""
    hits = progress.counts_hits
    values = tests[["score", "low", "high"]].to_numpy(float)
    low, high = (0.0, float(tests["n"].max())) if hits else _span(values)
    across = np.linspace(_LEFT + 50, _WIDTH - _RIGHT - 50, len(tests))
    if len(tests) == 1:
        across = np.array([_WIDTH / 2])

    def up(value: float) -> float:
        share = (value - low) / (high - low)
        return _HEIGHT - _BOTTOM - share * (_HEIGHT - _TOP - _BOTTOM)

    parts = [_axis(up, low, high)]
    told = []
    for place, row in zip(across, tests.itertuples(), strict=True):
        words = score_words(row.score, row.n, hits=hits, unit=progress.unit)
        told.append(f"{row.label}: {words}")
        ends = (row.low, row.high) if np.isfinite(row.low) else (row.score, row.score)
        parts.append(
            f'<line x1="{place:.1f}" x2="{place:.1f}" y1="{up(ends[0]):.1f}" '
            f'y2="{up(ends[1]):.1f}" stroke="{_INK}" stroke-width="3" opacity="0.55"/>'
            f'<circle cx="{place:.1f}" cy="{up(row.score):.1f}" r="7" fill="{_INK}"/>'
            f'<text x="{place + 13:.1f}" y="{up(row.score) + 5:.1f}" font-size="15">'
            f"{escape(words)}</text>"
            f'<text x="{place:.1f}" y="{_HEIGHT - 14}" font-size="15" text-anchor="middle">'
            f"{escape(str(row.label))}</text>"
        )
    alt = escape("; ".join(told))
    return (
        f'<svg viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" aria-label="{alt}" '
        f'font-family="sans-serif"><title>{alt}</title>{"".join(parts)}</svg>'
    )


def _span(values: np.ndarray) -> tuple[float, float]:
    known = values[np.isfinite(values)]
    low, high = float(known.min()), float(known.max())
    pad = 0.1 * (high - low) or max(abs(high) * 0.1, 1.0)
    return low - pad, high + pad


def _axis(up: Callable[[float], float], low: float, high: float) -> str:
    marks = np.linspace(low, high, 5)
    shown = [f"{mark:.0f}" if float(mark).is_integer() else f"{mark:.3g}" for mark in marks]
    lines = [
        f'<line x1="{_LEFT}" x2="{_WIDTH - _RIGHT}" y1="{up(mark):.1f}" y2="{up(mark):.1f}" '
        f'stroke="#cccccc" stroke-width="1"/><text x="{_LEFT - 8}" y="{up(mark) + 5:.1f}" '
        f'font-size="13" text-anchor="end">{text}</text>'
        for mark, text in zip(marks, shown, strict=True)
    ]
    return "".join(lines)
