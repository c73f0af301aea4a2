"""Groups that practise and are tested: people around expected errors, and their differences."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from motorlearn import digits
from motorlearn.tables import Table
from motorlearn.teaching.demonstrations.demonstration import Demonstration
from motorlearn.teaching.demonstrations.scene import Panel, Scene, course, rows_of
from motorlearn.teaching.demonstrations.two_groups import (
    difference,
    estimate_columns,
    mean_interval,
    moment_means,
)

BETWEEN, WITHIN = 0.18, 0.10
"""Standard deviations of the log error: of people, and of a person from block to block."""
PEOPLE: Final = {"per_group": (4, 500)}


@dataclass(frozen=True)
class PracticeCourse(Demonstration):
    """Practice blocks and tests of groups, and the comparisons that the lesson is about.

    Parameters
    ----------
    means : DataFrame
        ``moment, order, group, mean, conf_low, conf_high``: mean error in cm.
    people : DataFrame
        ``participant, group`` and one column of errors in cm for each moment.
    differences : DataFrame
        ``moment, estimate, conf_low, conf_high`` in cm, 95 % intervals.
    """

    means: pd.DataFrame
    people: pd.DataFrame
    differences: pd.DataFrame

    def tables(self) -> list[Table]:
        """The comparisons."""
        columns = estimate_columns("moment", "difference", "cm")
        return [Table("course", "Differences in error", columns, self.differences, ())]


@dataclass(frozen=True)
class Comparison:
    """A row of the picture: two groups at a moment (second minus first), or one group at two.

    ``groups`` holds two places for a comparison between groups, one for a change within a group;
    ``minus`` is the moment that is taken off; where a moment names several blocks, their mean
    counts.
    """

    label: str
    moment: tuple[str, ...]
    minus: tuple[str, ...] = ()
    groups: tuple[int, ...] = (0, 1)


@dataclass(frozen=True)
class Plan:
    """Who practises and is tested when, and what is compared.

    ``expected`` holds the mean error in cm of each group at each moment, practice blocks before
    tests, shape (groups, moments).
    """

    groups: tuple[str, ...]
    practice: tuple[str, ...]
    tests: tuple[str, ...]
    expected: np.ndarray
    comparisons: tuple[Comparison, ...]

    @property
    def moments(self) -> tuple[str, ...]:
        """Practice blocks, then tests."""
        return self.practice + self.tests


def blocks(count: int) -> tuple[str, ...]:
    """Names of practice blocks.

    Examples
    --------
    >>> blocks(2)
    ('block 1', 'block 2')
    """
    return tuple(f"block {k + 1}" for k in range(count))


def practise(plan: Plan, settings: Mapping[str, Any], story: str) -> PracticeCourse:
    r"""Draw people around the expected errors and compare them.

    .. math:: error_{gim} = expected_{gm} \exp(0.18 u_{gi} + 0.10 e_{gim} - c)

    with standard normal u of people and e of blocks, and c such that the mean is as expected.

    Parameters
    ----------
    plan : Plan
        Expected errors and comparisons.
    settings : mapping
        As they were used, with ``per_group`` and ``seed``.
    story : str
        First words of the picture in words.
    """
    scores = _scores(plan.expected, int(settings["per_group"]), settings["seed"])
    by_moment = {name: scores[..., m] for m, name in enumerate(plan.moments)}
    differences = pd.DataFrame(
        [(row.label, *_compare(row, by_moment)) for row in plan.comparisons],
        columns=["moment", "estimate", "conf_low", "conf_high"],
    )
    return PracticeCourse(
        settings=dict(settings),
        conclusion=_conclusion(differences),
        text=f"{story} {_courses(plan, scores)} {_written(differences)}",
        means=moment_means(by_moment, plan.groups),
        people=_people(plan, scores),
        differences=differences,
    )


def course_scene(
    shown: PracticeCourse,
    tests: Mapping[str, str],
    *,
    top: float,
    reach: float,
    against: str,
    dots: Sequence[str] = (),
) -> Scene:
    """Draw a course on axes that end at `top` cm, and its comparisons within `reach` cm."""
    groups = tuple(dict.fromkeys(shown.means["group"]))
    people = {moment: shown.people.set_index("group")[moment] for moment in dots}
    marks, ticks, end = course(shown.means, tests, groups, people=people)
    panels = (
        Panel("Practice block, then tests", "Mean error (cm)", (0.4, end), (0, top), marks,
              ticks=ticks, weight=1.7),
        Panel(f"{against} (cm)", "", (-reach, reach), rows=rows_of(shown.differences), rules=(0,),
              title="Difference, 95 % CI"),
    )  # fmt: skip
    return Scene(panels, "95 % CI of the mean over people")


def _scores(expected: np.ndarray, n: int, seed: int) -> np.ndarray:
    """Errors of shape (groups, n, moments); a larger group keeps its earlier members."""
    groups, moments = expected.shape
    first, second = (np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(2))
    person = first.standard_normal((n, groups)).T[..., None]
    block = second.standard_normal((n, groups, moments)).transpose(1, 0, 2)
    mean = (BETWEEN**2 + WITHIN**2) / 2
    return np.asarray(expected[:, None] * np.exp(BETWEEN * person + WITHIN * block - mean))


def _compare(row: Comparison, by_moment: Mapping[str, np.ndarray]) -> tuple[float, float, float]:
    values = np.mean([by_moment[name] for name in row.moment], axis=0)
    if row.minus:
        values = values - np.mean([by_moment[name] for name in row.minus], axis=0)
    if len(row.groups) == 1:
        return mean_interval(values[row.groups[0]])
    return difference(values[row.groups[1]], values[row.groups[0]])


def _written(differences: pd.DataFrame) -> str:
    rows = "; ".join(
        f"{label}: {digits.number(estimate, 1)} cm (95 % CI {digits.interval(low, high, 1)})"
        for label, estimate, low, high in differences.itertuples(index=False)
    )
    return f"Differences: {rows}."


def _conclusion(differences: pd.DataFrame) -> str:
    """Each comparison in a few words, with its interval."""
    parts = [
        f"{label} {digits.number(estimate, 1)} cm (95 % CI {digits.interval(low, high, 1)}"
        + (", which leaves the direction open)" if low <= 0 <= high else ")")
        for label, estimate, low, high in differences.itertuples(index=False)
    ]
    return f"Differences in error: {'; '.join(parts)}."


def _courses(plan: Plan, scores: np.ndarray) -> str:
    count = len(plan.practice)
    parts = []
    for group, people in zip(plan.groups, scores, strict=True):
        mean = people.mean(0)
        ends = f"{digits.number(mean[0], 1)} to {digits.number(mean[count - 1], 1)} cm"
        tested = ", ".join(
            f"{digits.number(value, 1)} at {name}"
            for name, value in zip(plan.tests, mean[count:], strict=True)
        )
        parts.append(f"{group}: {ends} over {count} practice blocks, {tested}")
    return "; ".join(parts) + "."


def _people(plan: Plan, scores: np.ndarray) -> pd.DataFrame:
    groups, n, _ = scores.shape
    return pd.DataFrame(
        {
            "participant": [f"g{g + 1}p{i + 1:03d}" for g in range(groups) for i in range(n)],
            "group": np.repeat(plan.groups, n),
            **{name: scores[..., m].ravel() for m, name in enumerate(plan.moments)},
        }
    )
