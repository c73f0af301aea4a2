"""Every conclusion again without each participant in turn."""

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd
from scipy import stats

from motorlearn.audit.comparison.phase_model import Floats, Pair, PhaseModel
from motorlearn.audit.report import Conclusion, no_conclusion
from motorlearn.linear import Estimate, ancova_batch, estimate_by_group, t_estimate, t_quantile
from motorlearn.rows import Schema
from motorlearn.tables import Column

LEAVE_ONE_OUT = Schema(
    (
        Column("participant"),
        Column("group"),
        Column("contrast"),
        Column("estimate", kind="significant"),
        Column("conf_low", "lower", "significant"),
        Column("conf_high", "upper", "significant"),
        Column("p", "p", "p"),
        Column("changes", "conclusion changes", "flag"),
    )
)


def without_each(model: PhaseModel) -> pd.DataFrame:
    """Contrasts of one test without each participant, all removals computed together.

    Returns
    -------
    DataFrame
        ``participant, group, contrast, estimate, conf_low, conf_high, p, changes``.
    """
    whole = model.complete
    n = len(whole.y)
    y = np.repeat(whole.y[None], n, axis=0)
    y[np.arange(n), np.arange(n)] = np.nan
    x = np.repeat(whole.x[None], n, axis=0) if model.adjusted else None
    rows = []
    for pair, before in zip(model.pairs, model.conclusions()):
        for i, numbers in enumerate(_tested(*_removed(whole, pair, y, x))):
            after = model.conclude(pair, *numbers)
            changes = np.isfinite(after.p) and after.direction != before.direction
            rows.append(
                LEAVE_ONE_OUT.row(
                    participant=whole.participants[i],
                    group=str(model.groups[whole.codes[i]]),
                    contrast=after.label,
                    estimate=after.estimate,
                    conf_low=after.conf_low,
                    conf_high=after.conf_high,
                    p=after.p,
                    changes=bool(changes),
                )
            )
    return LEAVE_ONE_OUT.frame(rows)


def _tested(estimate: Floats, error: Floats, df: Floats) -> Iterator[tuple[float, ...]]:
    """Estimates with their 95 % intervals and p, all t at once; NaN where there is no error."""
    usable = (error > 0) & (df > 0)
    error, df = np.where(usable, error, np.nan), np.where(usable, df, np.nan)
    reach = t_quantile(0.95, df) * error
    p = 2 * stats.t.sf(np.abs(estimate / error), df)
    columns = (estimate, estimate - reach, estimate + reach, p)
    return zip(*(column.tolist() for column in columns), strict=True)


def without_one(unit: str = "participant") -> str:
    """Name of the analysis without the one that matters most, a person or a class."""
    return f"without the {unit} {'who' if unit == 'participant' else 'that'} matters most"


def most_telling_removal(
    original: Sequence[Conclusion], removed: pd.DataFrame, unit: str = "participant"
) -> tuple[tuple[Conclusion, ...], str]:
    """Conclusions without the participant whose removal speaks most against them, with a note."""
    labels = [before.label for before in original]
    own = removed[removed["contrast"].isin(labels) & removed["p"].notna()]
    worst = []
    for before in original:
        mine = own[own["contrast"] == before.label]
        if mine.empty:
            worst.append(no_conclusion(before.label, before.null))
            continue
        row = mine.loc[mine["p"].idxmax() if before.direction else mine["p"].idxmin()]
        low, high = float(row["conf_low"]), float(row["conf_high"])
        estimate, p = float(row["estimate"]), float(row["p"])
        worst.append(Conclusion(before.label, estimate, low, high, p, null=before.null))
    flips = sorted(own.loc[own["changes"], "participant"].astype(str).unique())
    note = f"changes without {', '.join(flips)}" if flips else f"no {unit}'s removal changes it"
    return tuple(worst), note


def _removed(
    whole: PhaseModel, pair: Pair, y: Floats, x: Floats | None
) -> tuple[Floats, Floats, Floats]:
    """Estimate, standard error and df of the contrast without each participant."""
    if whole.adjusted and not whole.by_group:
        found = ancova_batch(y, whole.codes, x, weights=whole.weights(pair))
        return found.estimate, found.std_error, found.df
    people = np.arange(len(whole.y))
    again = [_again(whole.subset(people != i), pair) for i in people]
    estimate, error, df = (
        np.array([getattr(t, name) for t in again]) for name in ("estimate", "std_error", "df")
    )
    return estimate, error, df


def _again(model: PhaseModel, pair: Pair) -> Estimate:
    """The contrast anew, each group with its own variance; nothing where a group is too small."""
    if set(np.flatnonzero(model.weights(pair)).tolist()) - set(model.codes.tolist()):
        return t_estimate(np.nan, np.nan, np.nan)
    fit = model.fit()
    return estimate_by_group(fit, model.coefficient_weights(pair, fit), model.places())
