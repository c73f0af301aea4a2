"""Rater agreement: which raters agree, how far, and which coefficient the study's score needs."""

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from motorlearn.exceptions import InputError
from motorlearn.measures.agreement.advice import advice_sentences, applying_coefficient
from motorlearn.measures.agreement.frames import (
    coefficient_frame,
    drift_frame,
    error_frame,
    limit_frame,
    pair_frame,
    rerating_frame,
)
from motorlearn.measures.agreement.table import Ratings, read_ratings
from motorlearn.results import Recipe, Result, register_record
from motorlearn.tables import Column, Table, estimates_table


@register_record
@dataclass(frozen=True)
class Agreement(Result):
    """Agreement of raters on the same items.

    Attributes
    ----------
    estimates : DataFrame
        ``term, also, estimate, std_error, conf_low, conf_high, statistic, df1, df2, p, applies``:
        every coefficient by name; ``applies`` marks the one that fits the score the study uses.
    pairs : DataFrame
        One row per pair of raters: agreement, kappas, AC1, prevalence, bias (categories only).
    limits : DataFrame
        One row per pair of raters: Bland and Altman's limits and proportional bias.
    measurement_error : DataFrame
        ``basis, sem, smallest_detectable_change`` in the unit of the score.
    drift : DataFrame
        One row per rater and basis: slope over clip order and change from first to last clip.
    rerating : DataFrame
        One row per rater: later against first ratings of the same items.
    advice : tuple of str
        Which coefficient applies and how to read it.
    scores : DataFrame
        ``item, rater, score[, order]`` as analysed, first occasion.
    recipe : Recipe
        Columns, options, items analysed and items left out.
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

    def tables(self) -> list[Table]:
        """Coefficients first, then what stands behind them."""
        title = f"Rater agreement on {self.recipe.n} items"
        tables = [
            estimates_table("agreement", title, self.estimates, notes=self.advice),
            estimates_table("pairs", "Agreement of each pair of raters", self.pairs),
            estimates_table("limits", "Limits of agreement, first minus second rater", self.limits),
            Table("measurement_error", "Measurement error of one score", _ERROR_COLUMNS,
                  self.measurement_error),
            Table("drift", "Drift over the order of clips", _DRIFT_COLUMNS, self.drift,
                  ("Change: from the first to the last clip, by a straight line.",)),
            estimates_table("rerating", "Re-rating: later minus first rating", self.rerating),
        ]  # fmt: skip
        return [table for table in tables if len(table.rows)]


_ERROR_COLUMNS = (
    Column("basis"),
    Column("sem", "SEM", "significant"),
    Column("smallest_detectable_change", kind="significant"),
)
_DRIFT_COLUMNS = (
    Column("rater"),
    Column("basis"),
    Column("n", kind="count"),
    Column("slope", "slope per clip", "significant"),
    Column("change", kind="significant"),
    Column("change_low", "lower", "significant"),
    Column("change_high", "upper", "significant"),
    Column("df", "df", "df"),
    Column("p", "p", "p"),
)


def rater_agreement(
    ratings: pd.DataFrame,
    *,
    item: str | Sequence[str],
    rater: str,
    score: str,
    kind: str,
    order: str | None = None,
    occasion: str | None = None,
    categories: Sequence | None = None,
    averaged: int = 1,
    level: float = 0.95,
    seed: int = 0,
) -> Agreement:
    r"""Say how far raters agree on the same items, and which coefficient the study's score needs.

    A score from one rater carries the agreement of a single rater, :math:`ICC(A,1)`; only a mean
    of m raters carries :math:`ICC(A,m) = m\,ICC(A,1)/(1 + (m-1)\,ICC(A,1))`.

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
    categories : sequence, optional
        All categories in order, where some may not occur in the data or are words.
    averaged : int
        How many raters' scores are averaged into the score the study analyses.
    level : float
        Confidence level.
    seed : int
        Seed of the resampled interval of Krippendorff's alpha.

    Raises
    ------
    ColumnError
        If a column is absent.
    InputError
        If there are fewer than two raters or two items rated twice, a rater has two scores for an
        item on one occasion, or scores are not numbers where numbers are needed.

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
    if averaged < 1:
        raise InputError("averaged counts raters and is at least 1", [averaged])
    read = read_ratings(
        ratings, item=item, rater=rater, score=score, kind=kind, order=order,
        occasion=occasion, categories=categories,
    )  # fmt: skip
    options = {
        "item": item, "kind": read.kind, "order": order, "occasion": occasion,
        "categories": None if categories is None else tuple(categories),
        "averaged": averaged, "level": level,
    }  # fmt: skip
    recipe = Recipe(
        call="rater_agreement",
        columns={"rater": rater, "score": score},
        options=options,
        n=len(read.rated),
        left_out=read.left_out,
        seed=seed,
        engine="mean squares with F intervals; linearised variances; resampled items for alpha",
    )
    return _assembled(read, recipe)


def _assembled(read: Ratings, recipe: Recipe) -> Agreement:
    averaged, level = recipe.options["averaged"], recipe.options["level"]
    estimates = coefficient_frame(read, averaged=averaged, level=level, seed=recipe.seed or 0)
    applies = applying_coefficient(
        read.kind,
        read.wide.shape[1],
        averaged,
        complete_share=len(read.complete) / len(read.rated),
    )
    estimates["applies"] = estimates["term"] == applies
    numeric = read.kind != "nominal"
    pairs = pd.DataFrame() if read.kind == "continuous" else pair_frame(read, level=level)
    limits = limit_frame(read, level=level) if numeric else pd.DataFrame()
    row = estimates[estimates["applies"]].iloc[0]
    return Agreement(
        estimates=estimates,
        pairs=pairs,
        limits=limits,
        measurement_error=error_frame(read, level=level) if numeric else pd.DataFrame(),
        drift=drift_frame(read, level=level)
        if numeric and recipe.options["order"]
        else pd.DataFrame(),
        rerating=rerating_frame(read, level=level)
        if recipe.options["occasion"]
        else pd.DataFrame(),
        advice=advice_sentences(row, averaged, pairs.to_dict("records"), limits.to_dict("records")),
        scores=read.first.drop(columns="occasion"),
        recipe=recipe,
    )
