"""The curve of one learner: the result of the public fit."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.special import expit

from motorlearn.curves.forms import named_form
from motorlearn.curves.options import check_level
from motorlearn.curves.single.bands import bands, height
from motorlearn.curves.single.noise import noise_in_words
from motorlearn.curves.single.rows import as_numbers, check_counts
from motorlearn.exceptions import InputError
from motorlearn.results import Recipe, Result
from motorlearn.tables import Table, estimates_table
from motorlearn.vocabulary import capitalised


def _places(practice: ArrayLike) -> np.ndarray:
    """Practice counts, none of them infinite."""
    n = as_numbers(practice, "practice")
    if np.isinf(n).any():
        raise InputError("practice counts are infinite", n[np.isinf(n)])
    return n


@dataclass(frozen=True)
class CurveFit(Result):
    """One learner's curve.

    ``estimates`` has one row per term with ``std_error``, ``conf_low`` and ``conf_high``; a fixed
    term has a standard error of 0, and what ``status`` says is not estimated is missing. Where
    the shape is not settled, only a profile has limits: they are open on one side.
    ``curve`` holds the terms of the curve that was drawn through the scores all the same,
    ``vcov`` their covariance in the order of ``curve``, ``noise`` what was estimated of the noise,
    ``turns`` how the covariance changes with errors of these estimates (of size 1, independent).
    ``sse`` is the (weighted) residual sum of squares; for hits it is the deviance, because
    squares of hit rates are not what was minimised. ``begins`` holds where each loss of a session
    begins, ``saved`` the same for the savings, ``sigma`` the residual SD where the spread is 1.
    ``standard`` holds residuals by the noise that was fitted: whitened, of size 1 (none for plain
    noise). ``progress`` is the log drop of the basis over the practice seen (rate times practice,
    for an exponential).
    """

    form: str
    family: str
    estimates: pd.DataFrame
    sse: float
    loglik: float
    aicc: float
    bic: float
    n: int
    status: str
    meaning: str
    progress: float
    first: float
    fixed: Mapping[str, float]
    curve: Mapping[str, float] = field(repr=False)
    vcov: np.ndarray = field(repr=False)
    df: float = field(repr=False)
    noise: Mapping[str, float] = field(repr=False)
    practice: np.ndarray = field(repr=False)
    outcome: np.ndarray = field(repr=False)
    attempts: np.ndarray = field(repr=False)
    fitted: np.ndarray = field(repr=False)
    residuals: np.ndarray = field(repr=False)
    begins: Mapping[str, float] = field(default_factory=dict, repr=False)
    saved: Mapping[str, float] = field(default_factory=dict, repr=False)
    turns: np.ndarray = field(default_factory=lambda: np.zeros((0, 0, 0)), repr=False)
    sigma: float = field(default=np.nan, repr=False)
    standard: np.ndarray = field(default_factory=lambda: np.zeros(0), repr=False)
    warnings: tuple[str, ...] = ()
    recipe: Recipe = field(default_factory=lambda: Recipe("fit_curve"), repr=False)

    def value(self, term: str) -> float:
        """Estimate of one term; missing where it is not estimated."""
        return float(self.estimates.set_index("term").at[term, "estimate"])

    def predict(self, practice: ArrayLike, *, scale: str = "response") -> np.ndarray:
        """Height of the curve at practice counts: losses of sessions count, restart terms do not.

        For hits it is the probability of a hit, or its logit with ``scale="link"``.
        """
        form = named_form(self.form)
        n = _places(practice)
        check_counts(form, np.atleast_1d(n), self.first)
        eta = height(form, self.curve, n, self.first, self.begins)
        return expit(eta) if self.family == "binomial" and scale == "response" else eta

    def bands(self, practice: ArrayLike, *, level: float = 0.95) -> pd.DataFrame:
        """Curve with two bands: ``practice, estimate, conf_low, conf_high, score_low, score_high``.

        The first is the confidence band of the curve at each practice count (delta method), the
        second holds a new score there; hits have none. Limits are missing where standard errors
        have no meaning.

        Raises
        ------
        InputError
            For practice counts or a level that cannot be used.
        """
        form = named_form(self.form)
        n = np.atleast_1d(_places(practice))
        if n.ndim > 1:
            raise InputError("practice counts of a band stand in one row", [n.shape])
        check_counts(form, n, self.first)
        return pd.DataFrame(bands(self, form, n, check_level(level)))

    def relative_rate(self, practice: ArrayLike) -> np.ndarray:
        """Relative learning rate, the share of the remaining way gained per unit of practice."""
        values = self.estimates.set_index("term")["estimate"]
        form = named_form(self.form)
        return form.relative_rate(_places(practice), [float(values[name]) for name in form.rates])

    def tables(self) -> Sequence[Table]:
        """The estimates, with the status beneath."""
        notes = [f"Status: {self.status}. {self.meaning}", *self.warnings]
        notes += noise_in_words(self.noise)
        title = f"{capitalised(named_form(self.form).title)} curve, {self.n} outcomes"
        return (estimates_table("curve", title, self.estimates, notes=notes),)
