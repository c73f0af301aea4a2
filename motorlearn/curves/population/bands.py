"""Bands around a population curve: of the curve itself, of learners, of single scores."""

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import expit
from scipy.stats import t

from motorlearn.curves.forms import named_form
from motorlearn.curves.population.learners import rate_of


def curves_of(fit: Any, n: np.ndarray, parameters: np.ndarray) -> np.ndarray:
    """Curves of some parameter rows (asymptote, amount, log rate), shape (rows, practice)."""
    form = named_form(fit.form)
    rates = form.shared.rates(rate_of(parameters[:, [2]]), *fit.second)
    basis = form.log_basis(n[None, :], rates, fit.first)
    height, amount = parameters[:, [0]], parameters[:, [1]]
    if fit.amount == "start" or form.anchored:
        basis = basis - form.log_basis(np.array(fit.first), rates, fit.first)
    curve = height + (amount - height if fit.amount == "start" else amount) * np.exp(basis)
    found: np.ndarray = expit(curve) if fit.family == "binomial" else curve
    return found


def bands(
    fit: Any, n: np.ndarray, level: float, simulations: int, seed: int | None
) -> pd.DataFrame:
    """The frame of :meth:`PopulationCurve.predict`."""
    rng = np.random.default_rng(seed)
    tails = [(1 - level) / 2, (1 + level) / 2]
    parts = []
    for k, (group, cell) in enumerate(zip(fit.groups, fit.cells())):
        error = _curve_error(fit, n, k, cell)
        centre = curves_of(fit, n, cell[None, :])[0]
        half = t.isf(tails[0], float(fit.estimates["df"].min())) * error
        own = cell + rng.normal(size=(simulations, 3)) @ _root(fit).T
        with np.errstate(over="ignore"):
            curves = curves_of(fit, n, own)
        low, high = np.quantile(curves, tails, axis=0)
        scores = _scattered(fit, rng, curves, _noise(fit, n, curves))
        score_low, score_high = np.quantile(scores, tails, axis=0)
        hits = fit.family == "binomial"
        parts.append(
            pd.DataFrame(
                {
                    "group": group,
                    "practice": n,
                    "estimate": centre,
                    "conf_low": centre - half,
                    "conf_high": centre + half,
                    "learner_low": low,
                    "learner_high": high,
                    "score_low": np.nan if hits else score_low,
                    "score_high": np.nan if hits else score_high,
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def _scattered(
    fit: Any, rng: np.random.Generator, curves: np.ndarray, noise: np.ndarray | float
) -> np.ndarray:
    """Single scores about their curves, by the law of the errors."""
    law = fit.recipe.options.get("errors", "normal")
    if law == "lognormal":
        found: np.ndarray = curves * np.exp(rng.normal(size=curves.shape) * noise)
        return found
    if law == "t":
        tail = float(fit.common.set_index("term").at["tail", "estimate"])
        found = curves + rng.standard_t(tail, size=curves.shape) * noise
        return found
    found = curves + rng.normal(size=curves.shape) * noise
    return found


def _noise(fit: Any, n: np.ndarray, curves: np.ndarray) -> np.ndarray | float:
    """SD of single scores about their curve."""
    sd = float(np.nan_to_num(fit.residual_sd))
    terms = dict(zip(fit.common["term"], fit.common["estimate"]))
    if "spread_power" not in terms:
        return sd
    power = float(terms["spread_power"])
    if fit.recipe.options["variance"] == "practice":
        since = n - float(fit.residuals["practice"].min()) + 1.0
        return sd * np.broadcast_to(np.maximum(since, 1.0) ** power, curves.shape)
    middle = float(fit.residuals["fitted"].abs().median())
    found: np.ndarray = sd * np.maximum(np.abs(curves) / middle, 0.02) ** power
    return found


def _root(fit: Any) -> np.ndarray:
    """Root of the covariance between learners of all three parameters."""
    values, vectors = np.linalg.eigh(fit.between)
    found: np.ndarray = vectors * np.sqrt(np.maximum(values, 0))
    return found


def _by_shared(fit: Any, n: np.ndarray, cell: np.ndarray) -> list[np.ndarray]:
    """Derivatives of one group's curve by what learners share of the rates."""
    natural, found = named_form(fit.form).shared.natural, []
    for move in 1e-5 * np.eye(len(fit.shared)):
        ends = [
            curves_of(replace(fit, second=natural(at)), n, cell[None, :])[0]
            for at in (fit.shared + move, fit.shared - move)
        ]
        found.append((ends[0] - ends[1]) / 2e-5)
    return found


def _curve_error(fit: Any, n: np.ndarray, k: int, cell: np.ndarray) -> np.ndarray:
    """Standard error of one group's curve, by the delta method."""
    columns = []
    for row in range(3):
        step = 1e-5 * max(abs(cell[row]), 1.0)
        move = np.eye(3)[row] * step
        ends = curves_of(fit, n, np.stack([cell + move, cell - move]))
        columns.append((ends[0] - ends[1]) / (2 * step))
    columns += _by_shared(fit, n, cell)
    by_cell = np.stack(columns, axis=1)
    terms, shared = fit.estimates["term"].tolist(), len(fit.shared)
    pick = np.zeros((3 + shared, len(terms) + shared))
    pick[3:, len(terms) :] = np.eye(shared)
    for row, name in enumerate(("asymptote", fit.amount, "log_rate")):
        pick[row, terms.index(name)] = 1.0
        own = f"{name}[{fit.groups[k]}]"
        if own in terms:
            pick[row, terms.index(own)] = 1.0
    slope, cover = by_cell @ pick, fit.spread_of_few * fit.whole
    found: np.ndarray = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", slope, cover, slope), 0))
    return found
