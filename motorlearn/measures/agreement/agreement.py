"""Rater agreement: which raters agree, how far, and which coefficient the study's score needs."""

import numbers
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from motorlearn.exceptions import InputError
from motorlearn.measures.agreement.advice import advice_sentences, applying_coefficient
from motorlearn.measures.agreement.coefficients import Wanted, coefficient_frame, variances_of
from motorlearn.measures.agreement.frames import (
    DRIFTS,
    ERRORS,
    drift_frame,
    error_frame,
    limit_frame,
    pair_frame,
    rerating_frame,
)
from motorlearn.measures.agreement.kappa import Weights
from motorlearn.measures.agreement.table import CATEGORIES, Asked, Ratings, read_ratings
from motorlearn.measures.hits import inside
from motorlearn.results import Recipe, Result, register_record
from motorlearn.tables import Table, estimates_table


@register_record
@dataclass(frozen=True)
class Agreement(Result):
    """Agreement of raters on the same items.

    Attributes
    ----------
    estimates : DataFrame
        ``term, also, family, form, averaged, n, estimate, conf_low, conf_high, statistic, df1,
        df2, p, applies``: every coefficient by name with the number of items it rests on;
        ``family`` is ``icc``, ``kappa``, ``ac1``, ``alpha`` or ``agreement``, ``form`` which one
        of it, ``averaged`` the raters whose mean it describes; ``applies`` marks the one
        that fits the score the study uses. Only a complete table has F tests.
    pairs : DataFrame
        One row per pair of raters: agreement, kappas, AC1, prevalence, bias (categories only).
    limits : DataFrame
        One row per pair of raters: Bland and Altman's limits and proportional bias.
    measurement_error : DataFrame
        ``basis, averaged, sem, sem_low, sem_high, smallest_detectable_change, change_low,
        change_high`` in the unit of the score, of the mean of ``averaged`` raters.
    drift : DataFrame
        One row per rater and basis: slope over clip order and change from first to last clip.
    rerating : DataFrame
        One row per rater: later against first ratings of the same items.
    advice : tuple of str
        Which coefficient applies and how to read it.
    scores : DataFrame
        ``item, rater, score[, order][, cluster]`` as analysed, first occasion.
    recipe : Recipe
        Columns, options, items analysed and items left out.
    categories : DataFrame
        ``code, category, items``: what stands for each category in ``scores``, its name, and how
        many items' worth of ratings it has; empty for scores.
    """

    estimates: pd.DataFrame
    pairs: pd.DataFrame
    limits: pd.DataFrame
    measurement_error: pd.DataFrame
    drift: pd.DataFrame
    rerating: pd.DataFrame
    advice: tuple[str, ...]
    scores: pd.DataFrame
    recipe: Recipe
    categories: pd.DataFrame = field(default_factory=CATEGORIES.frame)

    def tables(self) -> list[Table]:
        """Coefficients first, then what stands behind them; what was not asked for is left out."""
        values = self.estimates.drop(columns=["family", "form", "averaged"], errors="ignore")
        known = values.dropna(axis=1, how="all")
        title = f"Rater agreement, {self.recipe.n} items with two raters or more"
        tables = [estimates_table("agreement", title, known, notes=self.advice)]
        for name, heading, frame in (
            ("pairs", "Agreement of each pair of raters", self.pairs),
            ("limits", "Limits of agreement, first minus second rater", self.limits),
            ("rerating", "Re-rating: later minus first rating", self.rerating),
        ):
            if len(frame):
                tables.append(estimates_table(name, heading, frame))
        if len(self.measurement_error):
            many = int(self.measurement_error["averaged"].iloc[0])
            who = "one rater's score" if many == 1 else f"the mean of {many} raters"
            heading = f"Measurement error of {who}"
            tables.append(ERRORS.table("measurement_error", heading, self.measurement_error))
        if len(self.drift):
            notes = ("Change: from the first to the last clip, by a straight line.",)
            title = "Drift over the order of clips"
            tables.append(DRIFTS.table("drift", title, self.drift, notes))
        return tables


def rater_agreement(
    ratings: pd.DataFrame,
    *,
    item: str | Sequence[str],
    rater: str,
    score: str,
    kind: str,
    order: str | None = None,
    occasion: str | None = None,
    occasions: Sequence[Any] | None = None,
    cluster: str | None = None,
    categories: Sequence[Any] | None = None,
    averaged: int = 1,
    weights: Weights = "quadratic",
    level: float = 0.95,
    seed: int = 0,
) -> Agreement:
    r"""Say how far raters agree on the same items, and which coefficient the study's score needs.

    A score from one rater carries the agreement of a single rater, :math:`ICC(A,1)`; only a mean
    of m raters carries :math:`ICC(A,m) = m\,ICC(A,1)/(1 + (m-1)\,ICC(A,1))`. Where not every rater
    saw every item, the variances of items, raters and error come from restricted maximum
    likelihood. Intervals of coefficients of categories are quantiles of a Dirichlet posterior of
    the patterns of ratings, those of ICC(A, ...) generalised confidence intervals; how often they
    cover is in the documentation.

    Parameters
    ----------
    ratings : DataFrame
        One row per item and rater (and occasion).
    item : str or sequence of str
        Column, or columns that together, name what was rated (a clip, or a clip's checklist item).
    rater, score : str
        Columns of the rater and of the score.
    kind : {"continuous", "ordinal", "nominal"}
        ``continuous`` for totals (also ``interval``, ``ratio``, ``numeric``, ``total``),
        ``ordinal`` for graded items, ``nominal`` for yes or no and other unordered categories
        (also ``categorical``, ``binary``).
    order : str, optional
        Column with the position in which the rater saw the clip; gives drift.
    occasion : str, optional
        Column that tells first ratings from later ones; gives re-rating consistency. Agreement
        between raters uses the first.
    occasions : sequence, optional
        Values of ``occasion`` from first to last, where they are words.
    cluster : str, optional
        Column of the learner, where several clips belong to one: intervals then count learners.
    categories : sequence, optional
        All categories in order, where some may not occur in the data or are words.
    averaged : int
        How many raters' scores are averaged into the score the study analyses.
    weights : {"quadratic", "linear"}
        Weights of weighted kappa.
    level : float
        Confidence level.
    seed : int
        Seed of the draws behind the intervals of coefficients of categories.

    Raises
    ------
    ColumnError
        If a column is absent.
    InputError
        If there are fewer than two raters or two items rated twice, a rating names no rater or
        item, a rater has two scores for an item on one occasion, an order of words is unknown,
        scores are not numbers where numbers are needed, or an option is impossible.

    References
    ----------
    McGraw, K. O. and Wong, S. P. (1996). Psychological Methods, 1, 30-46.
    doi:10.1037/1082-989X.1.1.30. Koo, T. K. and Li, M. Y. (2016). Journal of Chiropractic
    Medicine, 15, 155-163. doi:10.1016/j.jcm.2016.02.012.

    Examples
    --------
    >>> import pandas as pd
    >>> ratings = pd.DataFrame({
    ...     "clip": [1, 1, 2, 2, 3, 3, 4, 4, 5, 5],
    ...     "rater": ["A", "B"] * 5,
    ...     "score": [7, 6, 4, 4, 9, 8, 2, 3, 5, 6],
    ... })
    >>> found = rater_agreement(ratings, item="clip", rater="rater", score="score",
    ...                         kind="continuous")
    >>> row = found.estimates.query("applies").iloc[0]
    >>> row["term"], f"{row['estimate']:.2f}"
    ('ICC(A,1)', '0.93')
    """
    asked = Asked(item, rater, score, kind, order, occasion, occasions, cluster, categories)
    wanted = _wanted(averaged, weights, level, seed)
    read = read_ratings(ratings, asked)
    if read.kind == "nominal" and wanted.averaged > 1:
        raise InputError(
            "nominal scores of several raters have no mean", [averaged], "leave averaged= at 1"
        )
    options = {
        "item": item, "kind": read.kind, "order": order, "occasion": occasion,
        "occasions": None if occasions is None else tuple(occasions), "cluster": cluster,
        "categories": None if categories is None else tuple(categories),
        "averaged": wanted.averaged, "weights": weights, "level": level,
    }  # fmt: skip
    recipe = Recipe(
        call="rater_agreement",
        columns={"rater": rater, "score": score},
        options=options,
        n=len(read.rated),
        left_out=read.left_out,
        seed=seed,
        engine="mean squares, or REML where cells are missing, with generalised intervals; "
        "Dirichlet posterior of patterns for categories",
    )
    return _assembled(read, recipe, wanted)


def _wanted(averaged: int, weights: Weights, level: float, seed: int) -> Wanted:
    if not _is_whole(averaged) or averaged < 1:
        raise InputError("averaged counts raters: a whole number from 1", [averaged])
    if weights not in ("quadratic", "linear"):
        raise InputError("weights of kappa are quadratic or linear", [weights])
    return Wanted(int(averaged), weights, inside(level), seed)


def _is_whole(value: object) -> bool:
    if isinstance(value, bool) or not isinstance(value, numbers.Real):
        return False
    return float(value).is_integer()


def _assembled(read: Ratings, recipe: Recipe, wanted: Wanted) -> Agreement:
    numeric = read.kind != "nominal"
    found = variances_of(read) if numeric else None
    estimates = coefficient_frame(read, found, wanted)
    raters = read.wide.shape[1]
    applies = applying_coefficient(read.kind, raters, wanted.averaged)
    estimates["applies"] = estimates["term"] == applies
    nothing = pd.DataFrame()
    pairs = nothing if read.kind == "continuous" else pair_frame(read, wanted)
    limits = limit_frame(read, wanted) if numeric else nothing
    row, categories = estimates[estimates["applies"]].iloc[0], read.categories
    return Agreement(
        estimates=estimates,
        pairs=pairs,
        limits=limits,
        measurement_error=error_frame(found, wanted, graded=read.kind == "ordinal")
        if numeric
        else nothing,
        drift=drift_frame(read, wanted) if numeric and recipe.options["order"] else nothing,
        rerating=rerating_frame(read, wanted) if recipe.options["occasion"] else nothing,
        advice=advice_sentences(
            row,
            wanted.averaged,
            raters,
            pairs.to_dict("records"),
            limits.to_dict("records"),
            categories.set_index("category")["items"].to_dict(),
        ),
        scores=read.first.drop(columns="occasion"),
        recipe=recipe,
        categories=categories,
    )
