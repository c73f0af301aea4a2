"""The contrasts of allocated classes from a mixed model of people in classes."""

from collections.abc import Hashable, Iterable

import numpy as np
import pandas as pd

from motorlearn.compare.between import Comparing, contrast_frame
from motorlearn.compare.cell_contrasts import CellContrasts
from motorlearn.compare.comparison import CONTRAST, how
from motorlearn.compare.mixed_route import MixedRoute
from motorlearn.compare.participants import Columns
from motorlearn.exceptions import FitError, InputError
from motorlearn.mixed.fit import fit_mixed
from motorlearn.mixed.result import MixedFit
from motorlearn.rows import Row
from motorlearn.vocabulary import PRACTICE_PHASE


def class_contrasts(
    table: pd.DataFrame,
    columns: Columns,
    comparing: Comparing,
    *,
    adjust_by: str,
    family: Iterable[Hashable] | None,
) -> MixedRoute:
    """Compare groups at every test by a mixed model of people, whose classes differ at random.

    At each test ``score = group + slope · baseline + class + person``, by restricted maximum
    likelihood with Kenward-Roger df, which stay near the number of classes. People are weighted as
    the resemblance within classes makes them count; a hit rate is taken as it is.
    """
    tests = [p for p in comparing.data.phases if p not in (comparing.baseline, PRACTICE_PHASE)]
    found = [_at(comparing, phase) for phase in tests if comparing.pairs]
    rows = [row for part, *_ in found for row in part]
    frame = contrast_frame(rows, adjust_by=adjust_by, family=family)
    message = " ".join(dict.fromkeys(word for _, words, _ in found for word in words))
    return MixedRoute(frame, message, all(converged for *_, converged in found))


def _at(comparing: Comparing, phase: Hashable) -> tuple[list[Row], tuple[str, ...], bool]:
    rows = _people(comparing, phase)
    few = {pair: _few(comparing, rows, pair) for pair in comparing.pairs}
    try:
        if any(few.values()):
            raise FitError(next(filter(None, few.values())))
        slope = " + start" if comparing.baseline is not None else ""
        fit = fit_mixed(f"score ~ cell{slope}", rows, random={"unit": "1"}, df="kenward-roger")
    except (FitError, InputError) as problem:
        empty = [
            CONTRAST.row(**_named(comparing, phase, pair), **how("", few[pair] or str(problem)))
            for pair in comparing.pairs
        ]
        return empty, (str(problem),), False
    return _rows(comparing, phase, rows, fit), fit.warnings, bool(fit.converged)


def _people(comparing: Comparing, phase: Hashable) -> pd.DataFrame:
    """People with a score at a test, and at the baseline where there is one."""
    clusters = comparing.clusters
    assert clusters is not None
    turn = np.log if comparing.effect == "ratio" else np.asarray
    people = clusters.people
    rows = pd.DataFrame(
        {
            "score": turn(people.at(phase)),
            "cell": [f"c{code + 1:02d}" for code in people.codes],
            "unit": [f"u{code + 1:03d}" for code in clusters.codes],
        }
    )
    if comparing.baseline is not None:
        rows["start"] = turn(people.at(comparing.baseline))
    return rows.dropna().reset_index(drop=True)


def _few(comparing: Comparing, rows: pd.DataFrame, pair: tuple[Hashable, Hashable]) -> str:
    counts = rows.groupby("cell")["unit"].nunique()
    return comparing.too_few({name: int(counts.get(_cell(comparing, name), 0)) for name in pair})


def _cell(comparing: Comparing, group: Hashable) -> str:
    return f"c{comparing.data.groups.index(group) + 1:02d}"


def _named(comparing: Comparing, phase: Hashable, pair: tuple[Hashable, Hashable]) -> Row:
    adjusted = comparing.baseline is not None
    return {
        "phase": phase, "group": pair[0], "reference": pair[1], "effect": comparing.effect,
        "adjusted": adjusted,
    }  # fmt: skip


def _rows(comparing: Comparing, phase: Hashable, people: pd.DataFrame, fit: MixedFit) -> list[Row]:
    every = CellContrasts.of(fit, people["cell"].unique(), level=comparing.level)
    classes = people.groupby("cell")["unit"].nunique()
    adjusted = ", adjusted for the baseline" if comparing.baseline is not None else ""
    assert comparing.clusters is not None
    method = (
        f"linear mixed model of people, {comparing.clusters.unit} at random, Kenward-Roger df"
        f"{adjusted}{comparing.suffix}"
    )
    found = []
    for pair in comparing.pairs:
        one, other = (_cell(comparing, name) for name in pair)
        told = every.difference(one, other)
        assert told is not None
        found.append(
            CONTRAST.row(
                **_named(comparing, phase, pair),
                **comparing.told(told),
                n_group=int(classes[one]),
                n_reference=int(classes[other]),
                method=method,
            )
        )
    return found
