"""Assumptions of change within one group: paired differences between two tests."""

from collections.abc import Hashable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from motorlearn import digits
from motorlearn.audit.context import Context
from motorlearn.audit.report import Check, Conclusion, Remedy, Step, judged
from motorlearn.compare import PhaseComparison
from motorlearn.linear import one_sample

Floats = NDArray[np.float64]


def paired_checks(
    result: PhaseComparison, context: Context, phases: Sequence[Hashable]
) -> Iterator[tuple[str, Check]]:
    """Give the checks of change to each chosen test, where there is a single group."""
    options = result.recipe.options
    if len(options["groups"]) > 1:
        return
    wide = result.scores.pivot(index="participant", columns="phase", values="score")
    start = options["baseline"] if options["baseline"] is not None else options["phases"][0]
    ratio = options["effect"] == "ratio"
    for phase in phases:
        if phase == start:
            continue
        both = wide[[start, phase]].dropna()
        if len(both) < 4:
            continue
        values = np.log(both) if ratio else both
        change = (values[phase] - values[start]).to_numpy(dtype=float)
        name = f"change from {start} to {phase}"
        yield name, _shape(change, ratio, context)
        if not _alike(change):
            yield name, _influence(change, both.index.to_numpy(), ratio, context)


def sign_flip_p(change: Floats, *, flips: int = 4999, seed: int = 0) -> float:
    """Two-sided p of a mean change when every change could as well have had the other sign."""
    rng = np.random.default_rng(seed)
    signs = rng.choice([-1.0, 1.0], size=(flips, len(change)))
    means = np.abs(signs @ change)
    return float((1 + np.sum(means >= abs(change.sum()) * (1 - 1e-12))) / (1 + flips))


def _conclusion(change: Floats, ratio: bool, p: float | None = None) -> Conclusion:
    t = one_sample(change)
    numbers = np.array([t.estimate, t.conf_low, t.conf_high])
    a, b, c = np.exp(numbers) if ratio else numbers
    label = f"change, {'ratio' if ratio else 'difference'}"
    return Conclusion(label, float(a), float(b), float(c), t.p if p is None else p)


_NORMAL = ("changes are roughly normal", "skewness of the changes (figure: normal quantiles)")


def _alike(change: Floats) -> bool:
    """Whether all changes are one value, up to rounding."""
    return bool(np.ptp(change) <= 1e-9 * max(1.0, float(np.abs(change).max())))


def _shape(change: Floats, ratio: bool, context: Context) -> Check:
    if _alike(change):
        return judged(
            *_NORMAL,
            np.nan,
            context.guide("skewness"),
            f"All {len(change)} changes are alike, so their shape cannot be judged.",
            "Look whether the same score was entered for everybody.",
        )
    skew = float(stats.skew(change, bias=False))
    p = float(stats.shapiro(change).pvalue)
    remedy = None
    if context.remedies:
        flipped = sign_flip_p(change, seed=context.seed)
        ranked = float(stats.wilcoxon(change).pvalue)
        remedy = Remedy(
            (_conclusion(change, ratio),),
            (
                Step("signs of the changes flipped", (_conclusion(change, ratio, flipped),)),
                Step("signed ranks", (_conclusion(change, ratio, ranked),)),
            ),
        )
    return judged(
        *_NORMAL,
        abs(skew),
        context.guide("skewness"),
        f"{len(change)} changes; Shapiro {digits.p_clause(p)}.",
        "Flip signs, or use ranks. With one group no test separates practice from repeated "
        "testing and regression to the mean.",
        chance=p,
        remedy=remedy,
    )


def _influence(change: Floats, people: NDArray, ratio: bool, context: Context) -> Check:
    before = _conclusion(change, ratio)
    without = [_conclusion(np.delete(change, i), ratio) for i in range(len(change))]
    flips = [str(name) for name, c in zip(people, without) if c.direction != before.direction]
    return judged(
        "no single participant decides",
        "participants whose removal changes the conclusion",
        float(len(flips)),
        context.guide("flips"),
        f"The conclusion changes without: {', '.join(flips)}." if flips else "",
        "Report the result with and without the participants named; leave nobody out for it.",
    )
