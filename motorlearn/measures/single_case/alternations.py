"""Orders of alternating conditions: counted, listed by their sums, drawn at random."""

from functools import cache

import numpy as np

from motorlearn.design.randomisation import Randomisation


def count_alternations(draw: Randomisation, n: int) -> int:
    """Number of orders of ``n`` sessions."""
    if draw.alternation == "pairs":
        return int(2 ** (n // 2))
    return _ways(n, n // 2, -1, 0, draw.longest_run)


@cache
def _ways(left: int, ones: int, last: int, run: int, longest: int) -> int:
    """Orders of what is left, with so many B among it, after a run of ``last``."""
    if ones < 0 or ones > left or run > longest:
        return 0
    if left == 0:
        return 1
    return sum(
        _ways(left - 1, ones - code, code, run + 1 if code == last else 1, longest)
        for code in (0, 1)
    )


def alternated(
    draw: Randomisation, n: int, simulations: int, rng: np.random.Generator
) -> np.ndarray:
    """Draw orders of ``n`` sessions, each order being equally likely: shape (simulations, n)."""
    if draw.alternation == "pairs":
        first = rng.integers(2, size=(simulations, n // 2))
        return np.stack([first, 1 - first], axis=2).reshape(simulations, -1)
    ways = _table_of_ways(n, draw.longest_run)
    codes = np.empty((simulations, n), dtype=int)
    ones = np.full(simulations, n // 2)
    last, run = np.full(simulations, -1), np.zeros(simulations, dtype=int)
    for place in range(n):
        left = n - place - 1
        runs = [np.where(last == code, run + 1, 1) for code in (0, 1)]
        zero = ways[left, ones, 0, runs[0]]
        one = np.where(ones > 0, ways[left, ones - 1, 1, runs[1]], 0.0)
        code = (rng.random(simulations) * (zero + one) >= zero).astype(int)
        run = np.where(code == 1, runs[1], runs[0])
        ones, last = ones - code, code
        codes[:, place] = code
    return codes


@cache
def _table_of_ways(n: int, longest: int) -> np.ndarray:
    """Orders of what is left, by sessions left, number of B left, last condition and its run."""
    shape = (n + 1, n + 1, 2, longest + 2)
    return np.fromiter(
        (_ways(left, ones, last, run, longest) for left, ones, last, run in np.ndindex(shape)),
        dtype=float,
        count=int(np.prod(shape)),
    ).reshape(shape)


def alternation_sums(
    draw: Randomisation, scores: np.ndarray, held: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Sum and number of the sessions of B under every order.

    Parameters
    ----------
    scores : ndarray of float, shape (sessions,)
        Scores, 0 where the session was not held.
    held : ndarray of bool, shape (sessions,)
        Whether a session was held.
    """
    if draw.alternation == "pairs":
        sums, counts = np.zeros(1), np.zeros(1, dtype=int)
        for pair in range(len(scores) // 2):
            two = slice(2 * pair, 2 * pair + 2)
            sums = np.add.outer(sums, scores[two]).ravel()
            counts = np.add.outer(counts, held[two].astype(int)).ravel()
        return sums, counts
    return _restricted_sums(draw.longest_run, scores, held)


def _restricted_sums(
    longest: int, scores: np.ndarray, held: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Orders grown session by session: by number of B, last condition and run."""
    half = len(scores) // 2
    start = (np.zeros(1), np.zeros(1, dtype=int))
    grown: dict[tuple[int, int, int], tuple[np.ndarray, np.ndarray]] = {(0, -1, 0): start}
    for place, score in enumerate(scores):
        parts: dict[tuple[int, int, int], list[tuple[np.ndarray, np.ndarray]]] = {}
        for (ones, last, run), (sums, counts) in grown.items():
            for code in (0, 1):
                now = (ones + code, code, run + 1 if code == last else 1)
                left = len(scores) - place - 1
                if not _ways(left, half - now[0], code, now[2], longest):
                    continue
                added = (sums + code * score, counts + code * int(held[place]))
                parts.setdefault(now, []).append(added)
        grown = {
            key: (np.concatenate([s for s, _ in both]), np.concatenate([c for _, c in both]))
            for key, both in parts.items()
        }
    ended = list(grown.values())
    return np.concatenate([s for s, _ in ended]), np.concatenate([c for _, c in ended])
