"""Performance is not learning: two groups practise, and are tested after a gap.

A small, fast version of the generator of invented studies: the same assumptions, two groups, no
missing data, so that a change of a setting shows at once.
"""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from motorlearn import digits
from motorlearn.plan.simulation.presets import Preset, find_preset
from motorlearn.tables import Column, Table
from motorlearn.teaching.demonstrations.demonstration import Demonstration, check_settings
from motorlearn.teaching.demonstrations.two_groups import (
    estimate_columns,
    gap_and_change,
    moment_means,
)

BLOCKS = 12
TRIALS_PER_BLOCK = 18
TEST_TRIALS = 36
LAST_BLOCKS = 4
GROUPS = ("blocked", "random")

LIMITS: Final[dict[str, tuple[float, float]]] = {
    "days": (0, 60),
    "forgetting": (0.05, 0.95),
    "per_group": (4, 500),
}


@dataclass(frozen=True)
class PracticeAndTests(Demonstration):
    """Practice blocks and tests of two groups.

    Parameters
    ----------
    means : DataFrame
        ``moment, order, group, mean, conf_low, conf_high``: mean radial error in cm. ``moment`` is
        ``block 1`` … ``block 12``, ``immediate test`` or ``retention test``.
    people : DataFrame
        ``participant, group, practice, immediate, retention``: each person's scores in cm;
        practice is the mean of the last four blocks.
    differences : DataFrame
        ``moment, estimate, conf_low, conf_high``: random minus blocked in cm, at the end of
        practice, at the retention test, and the change between the two, which is the interaction.
    reversal : bool
        Whether the interval of the interaction leaves out zero and the difference turns its sign.
    """

    means: pd.DataFrame
    people: pd.DataFrame
    differences: pd.DataFrame
    reversal: bool

    def tables(self) -> list[Table]:
        """The differences, then the means."""
        gaps = estimate_columns("moment", "difference", "cm")
        means = (Column("moment"), Column("group"), Column("mean", "mean", "number", "cm"))
        return [
            Table(
                "differences",
                "Random minus blocked, mean radial error",
                gaps,
                self.differences,
                ("95 % Welch intervals; a positive number means that random practice erred more.",),
            ),
            Table(
                "means",
                "Mean radial error by block and test",
                (*means, *gaps[2:]),
                self.means,
                ("95 % intervals of the mean over people.",),
            ),
        ]


def practice_and_tests(
    *,
    preset: str | Preset = "laboratory",
    days: float = 7,
    forgetting: float = 0.35,
    per_group: int = 24,
    seed: int = 1,
) -> PracticeAndTests:
    """Simulate blocked and random practice with a test at once and one after a gap.

    The log landing spread of a person is ``a + gain·exp(-rate·n)`` plus the effect of the schedule.
    After practice a share ``f(d)`` of the gain is lost, ``1 - f(d) = 0.95·(1 + d)^(-b)``, with b
    such that the share lost after 7 days is `forgetting`. The schedules differ in what is
    forgotten: their effect moves from its value straight after practice in proportion to ``f(d) -
    f(0)``, and has its delayed value where ``f`` is the preset's share lost in 7 days. That course
    is an assumption of this demonstration, not a finding.

    Parameters
    ----------
    preset : str or Preset
        ``laboratory``, ``applied`` or ``null``: what the schedules do, see
        :data:`motorlearn.plan.simulation.presets.PRESETS`.
    days : float
        Days between the end of practice and the retention test, 0 to 60.
    forgetting : float
        Share of the gain lost after 7 days, 0.05 to 0.95.
    per_group : int
        People in each group, 4 to 500.
    seed : int
        Seed of the invented people.

    Returns
    -------
    PracticeAndTests
        Errors in cm: less is better. Differences are random minus blocked.

    Raises
    ------
    InputError
        If a setting is outside its range or the preset is unknown.

    References
    ----------
    Salmoni, A. W., Schmidt, R. A., & Walter, C. B. (1984). Knowledge of results and motor learning:
    a review and critical reappraisal. *Psychological Bulletin*, 95, 355-386.
    https://doi.org/10.1037/0033-2909.95.3.355

    Nieuwenhuis, S., Forstmann, B. U., & Wagenmakers, E.-J. (2011). Erroneous analyses of
    interactions in neuroscience: a problem of significance. *Nature Neuroscience*, 14, 1105-1107.
    https://doi.org/10.1038/nn.2886

    Examples
    --------
    >>> shown = practice_and_tests(per_group=200)
    >>> shown.reversal
    True
    >>> practice_and_tests(preset="null", per_group=200).reversal
    False
    """
    given = check_settings({"days": days, "forgetting": forgetting, "per_group": per_group}, LIMITS)
    assumed = find_preset(preset)
    forgetful = replace(assumed, forgetting_delayed=forgetting)
    worth = _share_of_delayed(assumed, forgetting, days)
    scores = _simulate(forgetful, days, worth, int(per_group), seed)
    differences = gap_and_change(
        ("end of practice", _practice_end(scores)), ("retention test", scores["retention"])
    )
    reversal = _reverses(differences)
    return PracticeAndTests(
        settings={"preset": assumed.name, **given, "seed": seed},
        conclusion=_conclusion(differences, reversal, days),
        text=_text(scores, differences, days),
        means=_means(scores),
        people=_people(scores),
        differences=differences,
        reversal=reversal,
    )


def forgotten(days: float, after_week: float, at_once: float = 0.05) -> float:
    """Share of the gain that is lost after so many days.

    Examples
    --------
    >>> round(forgotten(0, 0.35), 2), round(forgotten(7, 0.35), 2), round(forgotten(28, 0.35), 2)
    (0.05, 0.35, 0.49)
    """
    loss_rate = math.log((1 - at_once) / (1 - after_week)) / math.log(8)
    return float(1 - (1 - at_once) * (1 + days) ** -loss_rate)


@dataclass(frozen=True)
class _People:
    """True values of both groups, each of shape (2, n)."""

    level: np.ndarray
    gain: np.ndarray
    rate: np.ndarray
    bias: np.ndarray
    slip: np.ndarray


def _draw_people(preset: Preset, n: int, rng: np.random.Generator) -> _People:
    # Person by person, so that a larger group keeps its earlier members.
    traits = rng.standard_normal((n, 2, 6)).transpose(2, 1, 0)
    (mean_x, sd_x), (mean_y, sd_y) = preset.bias_x, preset.bias_y
    return _People(
        level=preset.log_sd + preset.log_sd_between * traits[0],
        gain=preset.gain_median * np.exp(preset.gain_log_sd * traits[1]),
        rate=preset.rate_median * np.exp(preset.rate_log_sd * traits[2]),
        bias=np.stack([mean_x + sd_x * traits[3], mean_y + sd_y * traits[4]]),
        slip=preset.forgetting_sd * traits[5],
    )


def _simulate(
    preset: Preset, days: float, worth: float, n: int, seed: int
) -> dict[str, np.ndarray]:
    """Scores of both groups, arrays of shape (2, n, …); the same people whatever the settings."""
    streams = [np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(4)]
    people = _draw_people(preset, n, streams[0])
    practised = np.arange(BLOCKS * TRIALS_PER_BLOCK) / 3
    half = len(practised) // 2
    left = people.gain[..., None] * np.exp(-people.rate[..., None] * practised)
    left[..., half:] += preset.restart * np.exp(-np.arange(half) / 2)
    spread = people.level[..., None] + left + _effect(preset, "acquisition")[..., None]
    practice = _radial_errors(preset, people, spread, "acquisition", streams[1])
    at_once, week = _effect(preset, "posttest"), _effect(preset, "retention")
    delayed = at_once + worth * (week - at_once)
    return {
        "blocks": practice.reshape(2, n, BLOCKS, TRIALS_PER_BLOCK).mean(-1),
        "immediate": _test(preset, people, 0, "posttest", at_once, streams[2]),
        "retention": _test(preset, people, days, "retention", delayed, streams[3]),
    }


def _share_of_delayed(preset: Preset, forgetting: float, days: float) -> float:
    """What is forgotten by then, against what the preset's people forget in a week."""
    at_once = preset.forgetting_immediate
    lost = forgotten(days, forgetting, at_once) - at_once
    return lost / (preset.forgetting_delayed - at_once)


def _effect(preset: Preset, phase: str) -> np.ndarray:
    return np.array([preset.shift(phase, group) for group in GROUPS])[:, None]


def _test(
    preset: Preset,
    people: _People,
    days: float,
    phase: str,
    effect: np.ndarray,
    rng: np.random.Generator,
) -> np.ndarray:
    """Mean radial error of each person in a test so many days after practice."""
    last = people.gain * np.exp(-people.rate * (BLOCKS * TRIALS_PER_BLOCK / 3))
    lost = forgotten(days, preset.forgetting_delayed, preset.forgetting_immediate)
    share = np.clip(lost + people.slip * (days > 0), 0, 1)
    mean = people.level + last + (people.gain - last) * share + effect
    warm_up = preset.warm_up * np.exp(-np.arange(TEST_TRIALS) / 2)
    errors = _radial_errors(preset, people, mean[..., None] + warm_up, phase, rng)
    return np.asarray(errors.mean(-1), dtype=float)


def _radial_errors(
    preset: Preset,
    people: _People,
    log_spread: np.ndarray,
    phase: str,
    rng: np.random.Generator,
) -> np.ndarray:
    spread = np.exp(log_spread)
    _, n, trials = spread.shape
    noise = rng.standard_normal((n, 2, 2, trials)).transpose(2, 1, 0, 3)
    bias = preset.bias_share[phase] * people.bias[..., None]
    x, y = bias[0] + preset.aspect * spread * noise[0], bias[1] + spread * noise[1]
    return np.asarray(np.hypot(x, y), dtype=float)


def _practice_end(scores: dict[str, np.ndarray]) -> np.ndarray:
    return np.asarray(scores["blocks"][..., -LAST_BLOCKS:].mean(-1), dtype=float)


def _reverses(differences: pd.DataFrame) -> bool:
    practice, retention, _ = differences["estimate"]
    low, high = differences.loc[2, ["conf_low", "conf_high"]]
    return bool(practice * retention < 0 and (low > 0 or high < 0))


def _means(scores: dict[str, np.ndarray]) -> pd.DataFrame:
    blocks = {f"block {b + 1}": scores["blocks"][..., b] for b in range(BLOCKS)}
    tests = {f"{name} test": scores[name] for name in ("immediate", "retention")}
    return moment_means({**blocks, **tests}, GROUPS)


def _people(scores: dict[str, np.ndarray]) -> pd.DataFrame:
    n = scores["immediate"].shape[1]
    return pd.DataFrame(
        {
            "participant": [f"{group[0]}{i + 1:03d}" for group in GROUPS for i in range(n)],
            "group": np.repeat(GROUPS, n),
            "practice": _practice_end(scores).ravel(),
            "immediate": scores["immediate"].ravel(),
            "retention": scores["retention"].ravel(),
        }
    )


def _gap(row: pd.Series) -> str:
    size, span = abs(row["estimate"]), (row["conf_low"], row["conf_high"])
    more = "more" if row["estimate"] > 0 else "less"
    return (
        f"{digits.number(size, 1)} cm {more} after random than after blocked practice "
        f"(difference, 95 % CI {digits.interval(*span, 1)} cm)"
    )


def _conclusion(differences: pd.DataFrame, reversal: bool, days: float) -> str:
    change = differences.iloc[2]
    span = digits.interval(change["conf_low"], change["conf_high"], 1)
    size = digits.number(change["estimate"], 1)
    if days == 0:
        return (
            "With no gap there is no retention test: both pictures show performance, and nothing "
            "here can speak about learning."
        )
    moved = f"from practice to test the gap moved by {size} cm (95 % CI {span})"
    practice, test = differences["estimate"].iloc[:2]
    ahead, behind = (GROUPS[int(gap < 0)] for gap in (practice, test))
    if reversal and _leaves_out_zero(differences.iloc[0]):
        return (
            f"The {ahead} group was ahead in practice and not at the test: {moved}, so performance "
            "in practice did not tell who had learned more."
        )
    if change["conf_low"] > 0 or change["conf_high"] < 0:
        tested = (
            f"the {behind} group erred less there"
            if _leaves_out_zero(differences.iloc[1])
            else "the test itself leaves open who errs less"
        )
        return f"Practice alone would have misjudged the test: {moved}, and {tested}."
    return f"These data leave open whether practice misled us: {moved}."


def _leaves_out_zero(row: pd.Series) -> bool:
    return bool(row["conf_low"] > 0 or row["conf_high"] < 0)


def _text(scores: dict[str, np.ndarray], differences: pd.DataFrame, days: float) -> str:
    first, end = scores["blocks"][..., 0].mean(1), scores["blocks"][..., -1].mean(1)
    tests = scores["retention"].mean(1)
    courses = "; ".join(
        f"{group} {digits.number(first[g], 1)} cm in block 1, {digits.number(end[g], 1)} in block "
        f"{BLOCKS}, {digits.number(tests[g], 1)} at the test after {digits.number(days, 0)} days"
        for g, group in enumerate(GROUPS)
    )
    return (
        f"Mean radial error over {BLOCKS} practice blocks and two tests. {courses}. "
        f"At the end of practice the error was {_gap(differences.iloc[0])}. "
        f"At the test it was {_gap(differences.iloc[1])}."
    )
