"""What a pilot says about the numbers a sample size rests on, as the plan wants them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from motorlearn.mixed.replicates import fit_binomial_many
from motorlearn.vocabulary import DELAYED_PHASES

_QUADRATURE = 9


@dataclass(frozen=True)
class Components:
    """Spread of one test: true standard deviation between people, and within one person.

    Parameters
    ----------
    mean : float
        Mean of people's means; for hits the hit rate.
    between : float
        Standard deviation of true scores; for hits on the scale of log odds. Zero where people do
        not differ more than chance makes them differ.
    within : float
        Standard deviation of single trials of a person; NaN for hits.
    reliability : float
        Of a person's mean.
    """

    mean: float
    between: float
    within: float
    reliability: float


def components(part: pd.DataFrame, *, hits: bool) -> Components:
    """Components of variance of one test, from ``participant, value`` without gaps.

    One-way: ``MS_between = k between^2 + within^2`` and ``MS_within = within^2``, k the mean
    number of trials weighted for unequal numbers; for hits a binomial model with normal log odds.
    """
    groups = part.groupby("participant")["value"]
    sizes, means = groups.size().to_numpy(float), groups.mean()
    n, total = len(means), sizes.sum()
    centred = part["value"] - part["participant"].map(means)
    ms_within = float((centred**2).sum() / max(total - n, 1))
    away = means.to_numpy() - part["value"].mean()
    ms_between = float((sizes * away**2).sum() / (n - 1))
    typical = (total - (sizes**2).sum() / total) / (n - 1)
    true = max(ms_between - ms_within, 0.0) / typical
    reliability = true / (true + ms_within / typical) if ms_between > 0 else 0.0
    if not hits:
        return Components(float(means.mean()), math.sqrt(true), math.sqrt(ms_within), reliability)
    return Components(float(means.mean()), _log_odds_sd(groups.sum(), sizes), np.nan, reliability)


def _log_odds_sd(hits: pd.Series, attempts: np.ndarray) -> float:
    made = hits.to_numpy(float)
    if made.sum() in (0, attempts.sum()):
        return 0.0
    fit = fit_binomial_many(
        np.ones((len(made), 1)), made, attempts, np.arange(len(made)), quadrature=_QUADRATURE
    )
    return float(np.sqrt(fit.psi[0, 0, 0]))


def assumptions_frame(known: pd.DataFrame, *, phase: str, hits: bool) -> pd.DataFrame:
    """Values for ``[assumptions]`` from the tests of a pilot: ``name, value, source``.

    ``stability`` is the correlation of scores at the two tests, divided by the root of both
    reliabilities. What cannot be told is NaN, with the reason in ``source``. Gains and effects are
    left out: a pilot is too small to plan from them.
    """
    tests = list(dict.fromkeys(known["phase"]))
    first = components(known[known["phase"] == phase], hits=hits)
    rows = [
        _assumed("baseline", first.mean, f"mean at {phase}"),
        _assumed("between_sd", first.between or np.nan, _between_words(first, phase)),
    ]
    if not hits:
        rows.append(_assumed("within_sd", first.within, f"trials of one person at {phase}"))
    rows.append(_assumed("stability", *_stability(known, tests, phase, hits)))
    return pd.DataFrame(rows)


def _assumed(name: str, value: float, source: str) -> dict[str, str | float]:
    return {"name": name, "value": value, "source": source}


def _between_words(found: Components, phase: str) -> str:
    if found.between > 0:
        return f"true scores at {phase}, chance of single trials taken out"
    return f"people did not differ more than chance at {phase}: take it from a comparable study"


def _stability(
    known: pd.DataFrame, tests: Sequence[str], phase: str, hits: bool
) -> tuple[float, str]:
    later = [name for name in tests if name in DELAYED_PHASES] or [
        name for name in tests if name != phase
    ]
    if not later:
        return np.nan, ("one test: the correlation of true scores is not known")
    both = [known[known["phase"] == name] for name in (phase, later[-1])]
    means = [part.groupby("participant")["value"].mean() for part in both]
    pair = pd.concat(means, axis=1, join="inner")
    kept = math.prod(math.sqrt(components(part, hits=hits).reliability) for part in both)
    if len(pair) < 3 or kept == 0 or (pair.std() == 0).any():
        return np.nan, ("people did not differ enough to tell")
    r = float(pair.corr().iloc[0, 1]) / kept
    words = f"{phase} and {later[-1]}, {len(pair)} people, reliability taken out"
    return min(max(r, 0.0), 1.0), words


def assumptions_text(frame: pd.DataFrame, people: int) -> str:
    """Write the section ``[assumptions]`` of a plan; what is not known stays a remark."""
    lines = ["[assumptions]"]
    for row in frame.itertuples():
        known = not np.isnan(row.value)
        text = f"{row.name} = {row.value:.4g}" if known else f"# {row.name} ="
        lines.append(f"{text:<24} # {row.source}")
    lines.append(f'source = "pilot of {people} people"')
    return "\n".join(lines) + "\n"
