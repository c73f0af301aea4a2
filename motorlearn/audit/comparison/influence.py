"""Whether one participant decides, graded by how far the contrasts move without them."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from motorlearn import digits
from motorlearn.audit.comparison.phase_model import PhaseModel
from motorlearn.audit.context import Context
from motorlearn.audit.report import Check, Remedy, Step, gravest, judged, remedied
from motorlearn.audit.sensitivity.leave_one_out import without_each
from motorlearn.linear import LeastSquares

Floats = NDArray[np.float64]

DRAWS, CELLS = 999, 2_000_000
"""Simulated sets of residuals, fewer of them where there are very many participants."""


@dataclass(frozen=True)
class Moves:
    """What each removal does.

    Attributes
    ----------
    moves : ndarray, shape (n,)
        Largest move of a contrast without this participant, in standard errors.
    cook : ndarray, shape (n,)
        Cook's distances.
    chance_moves, chance_cook : float
        How often normal residuals on the same design give as large a largest one.
    """

    moves: Floats
    cook: Floats
    chance_moves: float
    chance_cook: float


def moves_of(model: PhaseModel, seed: int) -> Moves:
    """Moves of the contrasts by every removal, and what normal residuals would give.

    The move is DFBETAS of the contrast: ``w_i r_i / (1 - h_i)`` over its standard error with the
    residual variance of the others.
    """
    fit = model.fit()
    loads = np.stack(
        [model.coefficient_weights(pair, fit) @ fit.unscaled @ fit.design.T for pair in model.pairs]
    )
    here = fit.residuals[None]
    moves, cook = _measures(fit, loads, here)
    draws = max(199, min(DRAWS, CELLS // fit.n))
    noise = np.random.default_rng(seed).normal(size=(draws, fit.n))
    noise -= noise @ fit.design @ fit.unscaled @ fit.design.T
    drawn, distances = (values.max(axis=1) for values in _measures(fit, loads, noise))
    return Moves(
        moves[0],
        cook[0],
        float((1 + np.sum(drawn >= moves.max())) / (1 + draws)),
        float((1 + np.sum(distances >= cook.max())) / (1 + draws)),
    )


def _measures(fit: LeastSquares, loads: Floats, residuals: Floats) -> tuple[Floats, Floats]:
    """Moves and Cook's distances, shape (cases, n), of residuals of shape (cases, n)."""
    free = np.maximum(1 - fit.leverage, 1e-12)
    sse = (residuals**2).sum(axis=1, keepdims=True)
    others = np.maximum(sse - residuals**2 / free, 1e-12 * sse) / max(fit.df - 1, 1)
    size = np.abs(loads) / np.sqrt((loads**2).sum(axis=1, keepdims=True))
    moves = size.max(axis=0) * np.abs(residuals) / free / np.sqrt(np.maximum(others, 1e-300))
    p = fit.design.shape[1]
    scale = np.maximum(sse / max(fit.df, 1), 1e-300)
    return moves, residuals**2 / scale * fit.leverage / free**2 / p


def influence_check(model: PhaseModel, context: Context) -> Check:
    """Largest move of a contrast by one removal; who it is, and what the removal concludes."""
    whole, found = model.complete, moves_of(model, context.seed)
    table = without_each(model)
    flips = sorted(table.loc[table["changes"], "participant"].astype(str).unique())
    worst, farthest = int(found.moves.argmax()), int(found.cook.argmax())
    finding = (
        f"Largest move {digits.number(float(found.moves[worst]))} SE without "
        f"{whole.participants[worst]}; largest Cook's distance "
        f"{digits.number(float(found.cook[farthest]))} ({whole.participants[farthest]}). "
        + (f"The conclusion changes without: {', '.join(flips)}." if flips else "")
        + (" p lies so close to .05 that almost anyone tips it." if len(flips) > 5 else "")
    ).strip()
    own = context.guide("flips")
    checks = [
        _judged(model, context, finding, "moved", worst, found.moves, found.chance_moves),
        _judged(model, context, finding, "cook", farthest, found.cook, found.chance_cook),
    ]
    if own.own:
        checks.insert(
            0,
            replace(checks[0], diagnostic=own.words, value=float(len(flips)), guide=own,
                    grade=own.grade(len(flips)))
        )  # fmt: skip
    return gravest(*checks)


def _judged(
    model: PhaseModel, context: Context, finding: str, name: str, place: int, values: Floats,
    chance: float,
) -> Check:  # fmt: skip
    remedy = remedied(lambda: _without(model, place)) if context.remedies else None
    guide = context.guide(name)
    return judged(
        f"no single {model.unit} decides",
        guide.words,
        float(values[place]),
        guide,
        finding,
        f"Report the result with and without the {digits.plural(model.unit)} named; leave none "
        "out for it.",
        chance=chance,
        remedy=remedy,
    )


def _without(model: PhaseModel, place: int) -> Remedy:
    person = model.complete.participants[place]
    after = model.subset(model.participants != person).conclusions()
    return Remedy(model.conclusions(), (Step(f"without {person}", after),))
