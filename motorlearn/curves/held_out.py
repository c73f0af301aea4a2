"""How well each form predicts blocks of practice it has not seen."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import log_expit

from motorlearn.curves.batch.learners import CurveFits, best_curves
from motorlearn.curves.forms import FORMS
from motorlearn.curves.options import check_column, check_table, names_of, whole
from motorlearn.exceptions import InputError
from motorlearn.results import Recipe, Result
from motorlearn.tables import Column, Table


def _check(
    table: Any, keys: Sequence[str], outcome: Any, practice: Any, attempts: str | None
) -> None:
    """Refuse what is no table of these columns."""
    if not isinstance(table, pd.DataFrame):
        raise InputError("the table must be a DataFrame", [type(table).__name__])
    if not keys:
        raise InputError("by must name one at least")
    named = {"the outcome": outcome, "practice": practice}
    named |= {} if attempts is None else {"attempts": attempts}
    for what, name in named.items():
        check_column(name, what)
    check_table(table, [*keys, *named.values()], "the predictions need")


@dataclass(frozen=True)
class PredictionScores(Result):
    """Prediction of held-out blocks.

    ``table`` has one row per learner and form: ``n_predicted`` outcomes and their ``score``, the
    root mean squared error of prediction, or minus the mean log-likelihood per attempt for hits;
    less is better. ``best`` has the form with the lower score of each learner.
    """

    table: pd.DataFrame
    best: pd.DataFrame
    family: str
    recipe: Recipe = field(default_factory=lambda: Recipe("score_predictions"), repr=False)

    def tables(self) -> Sequence[Table]:
        """How many learners each form predicts best."""
        counts = self.best["form"].value_counts().rename("learners").reset_index()
        columns = (Column("form"), Column("learners", kind="count"))
        return (Table("held_out", "Form that predicts held-out blocks best", columns, counts),)


def score_predictions(
    table: pd.DataFrame,
    outcome: str,
    *,
    practice: str,
    by: str | Sequence[str],
    forms: Sequence[str] = ("exponential", "power"),
    blocks: int = 5,
    attempts: str | None = None,
    first: float = 1.0,
) -> PredictionScores:
    r"""Score each form by predicting blocks of practice that were left out of the fit.

    Every learner's practice is cut into ``blocks`` runs of consecutive outcomes. Each run after
    the first is left out in turn, the form is fitted to the rest and predicts it; the last run
    asks for extrapolation, the others for interpolation. The first run always stays: a curve
    run backwards to before the first score is not a prediction.

    Parameters
    ----------
    table, outcome, practice, by, forms, attempts, first
        As in :func:`fit_curves`.
    blocks : int
        Number of runs, at least 2.

    Raises
    ------
    InputError
        If there are fewer than two runs, or rows that :func:`fit_curves` refuses.

    Examples
    --------
    >>> trial = np.arange(1, 41)
    >>> rows = pd.DataFrame({"participant": "p1", "trial": trial})
    >>> rows["error"] = 20 + 12 * np.exp(-0.1 * trial) + np.sin(7.0 * trial)
    >>> scores = score_predictions(rows, "error", practice="trial", by="participant")
    >>> scores.best["form"].tolist()
    ['exponential']
    """
    if not whole(blocks) or blocks < 2:
        raise InputError("predictions need at least two blocks", [blocks])
    blocks, keys = int(blocks), list(names_of(by, "by"))
    _check(table, keys, outcome, practice, attempts)
    rows = table.sort_values([*keys, practice], kind="stable").reset_index(drop=True)
    there = rows[outcome].notna()
    place = there.groupby([rows[key] for key in keys]).cumsum() - 1
    count = there.groupby([rows[key] for key in keys]).transform("sum").clip(lower=1)
    run = (place * blocks // count).where(there, -1)
    parts, family = [], "gaussian"
    for held in range(1, blocks):
        kept = rows.assign(**{outcome: rows[outcome].where(run != held)})
        fits = best_curves(
            kept,
            outcome,
            practice=practice,
            by=keys,
            forms=forms,
            attempts=attempts,
            first=first,
        )
        family = fits.family
        parts.append(_losses(fits, rows[run == held], outcome, practice, attempts))
    losses = pd.concat(parts).groupby([*keys, "form"], sort=False, as_index=False).sum()
    losses["score"] = losses["loss"] / losses["weight"]
    if family == "gaussian":
        losses["score"] = np.sqrt(losses["score"])
    scores = losses.rename(columns={"rows": "n_predicted"})[[*keys, "form", "n_predicted", "score"]]
    known = scores.dropna(subset="score")
    best = known.loc[known.groupby(keys, sort=False)["score"].idxmin(), [*keys, "form", "score"]]
    options = {"blocks": blocks, "forms": tuple(forms), "first": first}
    recipe = Recipe("score_predictions", options=options, n=int(there.sum()))
    return PredictionScores(scores, best.reset_index(drop=True), family, recipe)


def _losses(
    fits: CurveFits, rows: pd.DataFrame, outcome: str, practice: str, attempts: str | None
) -> pd.DataFrame:
    """Loss of every form on the rows that were held out."""
    keys = list(fits.by)
    joined = rows.merge(fits.table, on=keys, suffixes=("", "_fit"))
    height = np.full(len(joined), np.nan)
    for name in fits.forms:
        form = FORMS[name]
        mine = ((joined["form"] == name) & joined["rate"].notna()).to_numpy()
        part = joined[mine]
        rates = [part[rate].to_numpy() for rate in form.rates]
        n = part[practice].to_numpy(float)
        log_basis = form.log_basis(n, rates, fits.first)
        at_first = form.log_basis(np.full(len(n), fits.first), rates, fits.first)
        fall = part["start"].to_numpy() - part["asymptote"].to_numpy()
        height[mine] = part["asymptote"].to_numpy() + fall * np.exp(log_basis - at_first)
    flat = (joined["rate"].isna() & joined["asymptote"].notna()).to_numpy()
    height[flat] = joined["asymptote"].to_numpy()[flat]
    y = joined[outcome].to_numpy(float)
    if fits.family == "gaussian":
        loss, weight = (y - height) ** 2, np.ones(len(y))
    else:
        weight = joined[attempts].to_numpy(float) if attempts else np.ones(len(y))
        loss = -(y * log_expit(height) + (weight - y) * log_expit(-height))
    shown = joined[keys].assign(form=joined["form"], rows=1, loss=loss, weight=weight)
    shown.loc[np.isnan(loss), ["rows", "weight"]] = 0
    shown["loss"] = shown["loss"].where(shown["rows"] > 0, 0.0)
    return shown.groupby([*keys, "form"], sort=False, as_index=False).sum()
