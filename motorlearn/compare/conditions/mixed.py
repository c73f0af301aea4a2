"""The same contrasts from a mixed model, which uses people who missed a condition."""

from collections.abc import Hashable
from dataclasses import replace

import numpy as np
import pandas as pd

from motorlearn.compare.between import contrast_frame
from motorlearn.compare.cell_contrasts import CellContrasts
from motorlearn.compare.comparison import CONTRAST, PhaseComparison, how
from motorlearn.compare.conditions.rows import Differences, Pair
from motorlearn.exceptions import FitError, InputError
from motorlearn.mixed.fit import fit_mixed
from motorlearn.mixed.result import MixedFit
from motorlearn.rows import Row


def condition_route(
    result: PhaseComparison, of: Differences, pairs: tuple[Pair, ...]
) -> PhaseComparison:
    """Add ``score = condition + period + sequence + slopes of the baseline + person`` by phase.

    By restricted maximum likelihood with Kenward-Roger df, on every score there is. The baseline
    has two slopes: of a person's mean over conditions, and of the differences from it.
    """
    baseline = of.comparing.baseline
    asked = [phase for phase in of.scores.long.phases if phase != baseline]
    found = [_at(of, pairs, phase) for phase in asked]
    options = result.recipe.options
    frame = contrast_frame(
        [row for rows, *_ in found for row in rows],
        adjust_by=options["adjust"],
        family=options["family"],
    )
    recipe = replace(
        result.recipe,
        engine=result.recipe.engine + "; mixed model by restricted maximum likelihood",
        converged=all(converged for *_, converged in found),
        message=" ".join(dict.fromkeys(word for _, words, _ in found for word in words)),
    )
    return replace(result, mixed=frame, recipe=recipe)


def _at(
    of: Differences, pairs: tuple[Pair, ...], phase: Hashable
) -> tuple[list[Row], tuple[str, ...], bool]:
    rows, terms = _table(of, phase)
    try:
        if len(of.scores.levels) > 1:
            raise InputError("two factors within people are compared by differences alone")
        fit = fit_mixed(
            f"score ~ {' + '.join(terms)}", rows, random={"person": "1"}, df="kenward-roger"
        )
    except (FitError, InputError) as problem:
        empty = [CONTRAST.row(**_named(of, phase, pair), **how("", str(problem))) for pair in pairs]
        return empty, (str(problem),), False
    return _rows(of, pairs, phase, (rows, fit)), fit.warnings, bool(fit.converged)


def _table(of: Differences, phase: Hashable) -> tuple[pd.DataFrame, list[str]]:
    """Scores of one phase with what the model takes out of them, and its terms."""
    scores, values = of.scores, of.at(phase)
    person, condition = np.nonzero(np.isfinite(values))
    rows = pd.DataFrame(
        {
            "score": values[person, condition],
            "cell": [f"c{code + 1:02d}" for code in condition],
            "place": [f"p{code:02d}" for code in scores.places[person, condition]],
            "sequence": [f"s{code:02d}" for code in scores.sequence[person]],
            "person": [f"u{code:04d}" for code in person],
        }
    )
    terms = ["cell"]
    if of.comparing.baseline is not None:
        start = of.at(of.comparing.baseline)
        own = pd.DataFrame(start).mean(axis=1).to_numpy()
        rows["level"] = own[person]
        rows["away"] = (start - own[:, None])[person, condition]
        rows = rows.dropna().reset_index(drop=True)
        terms += ["level", "away"]
    one_order = len({tuple(at) for at in scores.places.tolist() if min(at) >= 0}) < 2
    if scores.periods and not one_order:
        terms.append("place")
    if rows["sequence"].nunique() > 1:
        terms.append("sequence")
    return rows, terms


def _named(of: Differences, phase: Hashable, pair: Pair) -> Row:
    return {
        "phase": phase, "group": pair[0], "reference": pair[1], "effect": of.comparing.effect,
        "adjusted": of.comparing.baseline is not None,
    }  # fmt: skip


def _rows(
    of: Differences, pairs: tuple[Pair, ...], phase: Hashable, fitted: tuple[pd.DataFrame, MixedFit]
) -> list[Row]:
    rows, fit = fitted
    every = CellContrasts.of(fit, rows["cell"].unique(), level=of.comparing.level)
    counts = rows["cell"].value_counts()
    found = []
    for pair in pairs:
        one, other = (f"c{of.scores.conditions.index(name) + 1:02d}" for name in pair)
        told = every.difference(one, other)
        if told is None:
            reason = "a condition has no score at this test"
            found.append(CONTRAST.row(**_named(of, phase, pair), **how("", reason)))
            continue
        found.append(
            CONTRAST.row(
                **_named(of, phase, pair), **of.comparing.told(told),
                n_group=int(counts[one]), n_reference=int(counts[other]),
                method="linear mixed model, participant at random, Kenward-Roger df, every score "
                "there is" + of.comparing.suffix,
            )
        )  # fmt: skip
    return found
