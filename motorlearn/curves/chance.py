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
    """Correlation of neighbouring scores, and the power of practice with which their SD goes."""

    correlation: float
    power: float
    log_practice: np.ndarray

    def draws(self, count: int, rng: np.random.Generator) -> np.ndarray:
        """Noise with a mean square of 1, shape (scores, count)."""
        noise = rng.normal(size=(len(self.log_practice), count))
        fresh = np.sqrt(1 - self.correlation**2)
        for k in range(1, len(noise)):
            noise[k] = self.correlation * noise[k - 1] + fresh * noise[k]
        sd = np.exp(self.power * self.log_practice)
        found: np.ndarray = noise * (sd / np.sqrt(np.mean(sd**2)))[:, None]
        return found

    @property
    def terms(self) -> dict[str, float]:
        """The two numbers by name."""
        return {"correlation": self.correlation, "spread_power": self.power}


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
    seen = np.array(_terms(residuals[:, None], x))[:, 0]
    bounds = np.array([[0.0, -MOST_POWER], [MOST_CORRELATION, MOST_POWER]])
    now = np.clip(seen, *bounds)
    for _ in range(TURNS):
        left = again(NoiseSeen(*now.tolist(), x).draws(PILOTS, rng))
        now = np.clip(now + seen - np.median(_terms(left, x), axis=1), *bounds)
    return NoiseSeen(*now.tolist(), x)


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
