"""Noise of simulated curves: as the residuals at hand show it, for p values by simulation."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

PILOTS, TURNS = 100, 2
"""Simulated curves by which the noise is held against its residuals, and how often."""
SCORING_STEPS = 12
MOST_POWER, MOST_CORRELATION = 2.0, 0.95


@dataclass(frozen=True)
class NoiseSeen:
    """Correlation of neighbouring scores, and the power of practice with which their SD goes.

    ``possible`` are pairs of both (2, samples) that the scores leave possible: few scores say
    little about their correlation, and a p that took it for known would be too small.
    """

    correlation: float
    power: float
    log_practice: np.ndarray
    possible: np.ndarray

    def draws(self, count: int, rng: np.random.Generator) -> np.ndarray:
        """Noise with a mean square of 1, shape (scores, count)."""
        chosen = self.possible[:, rng.integers(self.possible.shape[1], size=count)]
        return _drawn(chosen, self.log_practice, rng)

    @property
    def terms(self) -> dict[str, float]:
        """The two numbers by name."""
        return {"correlation": self.correlation, "spread_power": self.power}


def _drawn(pairs: np.ndarray, x: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Noise of samples that have a correlation and a power each."""
    correlation, power = pairs
    noise = rng.normal(size=(len(x), len(correlation)))
    fresh = np.sqrt(1 - correlation**2)
    for k in range(1, len(noise)):
        noise[k] = correlation * noise[k - 1] + fresh * noise[k]
    sd = np.exp(np.outer(x, power))
    found: np.ndarray = noise * sd / np.sqrt(np.mean(sd**2, axis=0))
    return found


def noise_in_words(terms: Mapping[str, float]) -> str:
    """What p was simulated with."""
    return (
        f"Simulated with scores of neighbours correlated by {terms['correlation']:.2f} and an SD "
        f"that goes with the power {terms['spread_power']:.2f} of practice, as in these scores."
    )


def noise_seen(
    n: np.ndarray,
    residuals: np.ndarray,
    again: Callable[[np.ndarray], np.ndarray],
    rng: np.random.Generator,
) -> NoiseSeen:
    """Noise with which simulated curves leave residuals like these.

    A curve that was searched for takes part of the noise with it, so that its residuals are too
    little correlated. ``again`` gives the residuals of simulated noise (scores, samples); the noise
    is moved by what theirs fall short of what was put in.
    """
    x = np.log(n - n.min() + 1)
    x = x - x.mean()
    seen = np.array(_terms(residuals[:, None], x))
    bounds = np.array([[0.0, -MOST_POWER], [MOST_CORRELATION, MOST_POWER]])[:, :, None]
    now = np.clip(seen, *bounds)
    for _ in range(TURNS):
        left = np.array(_terms(again(_drawn(np.repeat(now, PILOTS, axis=1), x, rng)), x))
        now = np.clip(now + seen - np.median(left, axis=1, keepdims=True), *bounds)
    off = left - np.median(left, axis=1, keepdims=True)
    return NoiseSeen(float(now[0, 0]), float(now[1, 0]), x, np.clip(now - off, *bounds))


def _terms(residuals: np.ndarray, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Correlation and power of each column: gamma regression of squares, then neighbours."""
    squares = residuals**2
    mean = np.maximum(squares.mean(axis=0), 1e-300)
    level, slope = np.log(mean), np.zeros(residuals.shape[1])
    for _ in range(SCORING_STEPS):
        off = squares * np.exp(-level - np.outer(x, slope)) - 1
        level = level + np.clip(off.mean(axis=0), -1, 1)
        step = np.clip(x @ off / max(float(x @ x), 1e-300), -1, 1)
        slope = np.clip(slope + step, -2 * MOST_POWER, 2 * MOST_POWER)
    alike = residuals * np.exp(-0.5 * np.outer(x, slope))
    whole = np.maximum(np.sum(alike**2, axis=0), 1e-300)
    return np.sum(alike[1:] * alike[:-1], axis=0) / whole, 0.5 * slope
