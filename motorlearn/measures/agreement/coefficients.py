"""Frame of all agreement coefficients of a table of ratings, each with its own number of items."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from motorlearn.exceptions import InputError
from motorlearn.measures.agreement.alpha import alpha_of
from motorlearn.measures.agreement.crossed import Components, crossed_components
from motorlearn.measures.agreement.icc import (
    AGREEMENT,
    CONSISTENCY,
    FORMS,
    ONE_WAY,
    Form,
    intraclass_correlations,
    mean_of_raters,
    mean_squares,
)
from motorlearn.measures.agreement.kappa import (
    Chance,
    Metric,
    Weights,
    chance_corrected_of,
    choices_of,
    kappa_of,
    weights_between,
)
from motorlearn.measures.agreement.patterns import Patterns, patterns_of, quantile_interval
from motorlearn.measures.agreement.pivots import (
    Pivots,
    clustered_pivots,
    incomplete_pivots,
    pivots,
)
from motorlearn.measures.agreement.table import Ratings
from motorlearn.measures.hits import inside, wilson_interval
from motorlearn.rows import Row, Schema
from motorlearn.tables import Column

TESTED = ("statistic", "df1", "df2", "p")
INTERVAL = ("conf_low", "conf_high")
METRIC: dict[str, Metric] = {"continuous": "interval", "ordinal": "ordinal", "nominal": "nominal"}
ICC, KAPPA, ALPHA, AC1, SHARE = "icc", "kappa", "alpha", "ac1", "agreement"
"""What the column ``family`` can hold."""

ESTIMATES = Schema(
    (
        Column("term"),
        Column("also"),
        Column("family"),
        Column("form"),
        Column("averaged", kind="count"),
        Column("n", kind="count"),
        *(Column(name, kind="significant") for name in ("estimate", *INTERVAL, *TESTED)),
    )
)
"""A coefficient: its name, its family, and which form of it, of the mean of how many raters."""


@dataclass(frozen=True)
class Wanted:
    """What the study does with the scores, and how sure the intervals are to be."""

    averaged: int = 1
    weights: Weights = "quadratic"
    level: float = 0.95
    seed: int = 0


@dataclass(frozen=True)
class Variances:
    """Variances of items, raters and error, and draws of them; ``whole`` where no cell is empty."""

    item: float
    rater: float
    error: float
    draws: Pivots
    whole: bool
    n: int
    df_error: int

    @property
    def measurement(self) -> tuple[float, float]:
        """Standard error of measurement of one rater's score: agreement, consistency."""
        return float(np.sqrt(max(0.0, self.rater) + self.error)), float(np.sqrt(self.error))


def variances_of(ratings: Ratings) -> Variances | None:
    """Tell items, raters and error apart; None where the scores do not allow it.

    A complete table gives them by mean squares, one with empty cells by restricted maximum
    likelihood on every item that two raters scored.
    """
    table = ratings.rated.to_numpy(dtype=float)
    table = table[:, np.isfinite(table).any(axis=0)]
    if np.nanmax(table) == np.nanmin(table):
        return None
    clusters = ratings.clusters_of(ratings.rated.index)
    whole = bool(np.isfinite(table).all())
    if whole:
        squares = mean_squares(table)
        n, k = squares.n_items, squares.n_raters
        item, rater = (squares.items - squares.error) / k, (squares.raters - squares.error) / n
        error, df, draws = squares.error, squares.df_error, pivots(squares)
    else:
        found = _components(table)
        if found is None:
            return None
        item, rater, error, df = found.item, found.rater, found.error, found.df_error
        draws = incomplete_pivots(found)
    if clusters is not None and clusters.max() > 0:
        draws = clustered_pivots(table, clusters, draws)
    return Variances(item, rater, error, draws, whole, len(table), df)


def _components(table: np.ndarray, *, raters_differ: bool = True) -> Components | None:
    try:
        return crossed_components(table, raters_differ=raters_differ)
    except InputError:
        return None


def coefficient_frame(ratings: Ratings, found: Variances | None, wanted: Wanted) -> pd.DataFrame:
    """Give every overall coefficient, one row each."""
    rows = []
    drawn = None if ratings.kind == "continuous" else _patterns(ratings, wanted)
    if ratings.kind != "nominal":
        rows += _icc_rows(ratings, found, drawn, wanted)
    if drawn is not None:
        rows += _category_rows(ratings, drawn, wanted)
    rows.append(_alpha_row(ratings, found, drawn, wanted))
    alike = {"n": len(ratings.rated), "averaged": 1}
    return ESTIMATES.frame([alike | row for row in rows])


def _icc_rows(
    ratings: Ratings, found: Variances | None, drawn: Patterns | None, wanted: Wanted
) -> list[Row]:
    raters, many = ratings.wide.shape[1], wanted.averaged
    named = [_named(form, form.single, form.also, 1) for form in FORMS]
    named += [_named(form, form.mean, form.mean_also, raters) for form in FORMS]
    if many not in (1, raters):
        named.append(_named(AGREEMENT, f"ICC(A,{many})", "mean of raters", many))
    if found is None:
        return named
    known = _single_raters(ratings, found, drawn, wanted.level)
    return [row | _stepped(known[row["form"]], row["averaged"]) for row in named]


def _named(form: Form, term: str, also: str, averaged: int) -> Row:
    return {"term": term, "also": also, "family": ICC, "form": form.kind, "averaged": averaged}


def _single_raters(
    ratings: Ratings, found: Variances, drawn: Patterns | None, level: float
) -> dict[str, Row]:
    """Forms of a single rater, by kind. Grades have the interval of categories and no F test."""
    known = _complete_icc(ratings, level) if found.whole else _incomplete_icc(ratings)
    samples = {AGREEMENT.kind: found.draws.agreement()}
    if not (found.whole and ratings.cluster is None and drawn is None):
        samples[CONSISTENCY.kind] = found.draws.consistency()
        blank = dict.fromkeys((*INTERVAL, *TESTED), np.nan)
        known = {kind: row | blank for kind, row in known.items()}
    if drawn is not None:
        share = alpha_of(drawn.ratings, drawn.draws, ratings.codes, "interval")
        samples = {AGREEMENT.kind: share, ONE_WAY.kind: share}
    known[AGREEMENT.kind]["estimate"] = found.item / (found.item + found.rater + found.error)
    known[CONSISTENCY.kind]["estimate"] = found.item / (found.item + found.error)
    for kind, values in samples.items():
        low, high = quantile_interval(values, known[kind]["estimate"], level=level)
        known[kind] |= {"conf_low": low, "conf_high": high}
    return known


def _stepped(row: Row, raters: int) -> Row:
    return row | {k: mean_of_raters(row[k], raters) for k in ("estimate", *INTERVAL)}


def _complete_icc(ratings: Ratings, level: float) -> dict[str, Row]:
    table = ratings.rated.dropna(axis=1, how="all").to_numpy(dtype=float)
    return {
        form.kind: {
            "estimate": icc.estimate,
            "conf_low": icc.conf_low,
            "conf_high": icc.conf_high,
            "statistic": icc.statistic,
            "df1": icc.df[0],
            "df2": icc.df[1],
            "p": icc.p,
        }
        for form, icc in zip(FORMS, intraclass_correlations(table, level=level))
    }


def _incomplete_icc(ratings: Ratings) -> dict[str, Row]:
    """The one-way form; F tests and F intervals hold for complete tables only."""
    one_way = _components(ratings.rated.to_numpy(dtype=float), raters_differ=False)
    alone = np.nan if one_way is None else one_way.item / (one_way.item + one_way.error)
    blank = dict.fromkeys(("estimate", *INTERVAL, *TESTED), np.nan)
    return {form.kind: blank | ({"estimate": alone} if form is ONE_WAY else {}) for form in FORMS}


def _patterns(ratings: Ratings, wanted: Wanted) -> Patterns:
    rated = ratings.rated
    return patterns_of(
        rated.to_numpy(dtype=float),
        ratings.codes,
        ordered=ratings.kind == "ordinal",
        clusters=ratings.clusters_of(rated.index),
        seed=wanted.seed,
    )


FLEISS: Row = {"term": "Fleiss' kappa", "family": KAPPA}
GWET: Row = {"term": "Gwet's AC1", "family": AC1}
COHEN: Row = {"term": "Cohen's kappa", "family": KAPPA}


def _category_rows(ratings: Ratings, drawn: Patterns, wanted: Wanted) -> list[Row]:
    codes = ratings.codes
    rows = [_agreement_row(drawn, codes, wanted)]
    if ratings.wide.shape[1] == 2:
        rows += kappa_rows(drawn, codes, ratings.kind, wanted)
    if len(codes) < 2:
        return [*rows, FLEISS, GWET]
    kinds: tuple[tuple[Row, Chance], ...] = ((FLEISS, "fleiss"), (GWET, "ac1"))
    return [*rows, *(row | chance_numbers(drawn, codes, c, wanted.level) for row, c in kinds)]


def kappa_rows(drawn: Patterns, codes: np.ndarray, kind: str, wanted: Wanted) -> list[Row]:
    """Rows of Cohen's kappa and, where categories are ordered, weighted kappa, of two raters."""
    plain = np.eye(len(codes))
    rows = [COHEN | _kappa_numbers(drawn, codes, plain, wanted.level)]
    if kind == "ordinal":
        weights = weights_between(codes, wanted.weights)
        numbers = _kappa_numbers(drawn, codes, weights, wanted.level)
        rows.append(
            {"term": "weighted kappa", "also": f"{wanted.weights} weights", "family": KAPPA,
             "form": wanted.weights, **numbers}
        )  # fmt: skip
    return rows


def chance_numbers(drawn: Patterns, codes: np.ndarray, chance: Chance, level: float) -> Row:
    """Estimate and interval of Fleiss' kappa or AC1."""
    return _numbers(drawn, lambda r, w: chance_corrected_of(choices_of(r, codes), w, chance), level)


def _kappa_numbers(drawn: Patterns, codes: np.ndarray, weights: np.ndarray, level: float) -> Row:
    return _numbers(drawn, lambda r, w: kappa_of(r, w, codes, weights), level)


def _numbers(
    drawn: Patterns, of: Callable[[np.ndarray, np.ndarray], np.ndarray], level: float
) -> Row:
    estimate = float(of(drawn.ratings, drawn.seen)[0])
    low, high = quantile_interval(of(drawn.ratings, drawn.draws), estimate, level=level)
    return {"estimate": estimate, "conf_low": low, "conf_high": high}


def _agreement_row(drawn: Patterns, codes: np.ndarray, wanted: Wanted) -> Row:
    choices = choices_of(drawn.ratings, codes)
    raters = choices.sum(axis=1)
    per_item = np.sum(choices * (choices - 1), axis=1) / (raters * (raters - 1))
    n = drawn.seen.sum()
    share = float((drawn.seen @ per_item)[0] / n)
    low, high = wilson_interval(share * n, n, level=inside(wanted.level))
    return {
        "term": "agreement",
        "family": SHARE,
        "estimate": share,
        "conf_low": float(low),
        "conf_high": float(high),
    }


def _alpha_row(
    ratings: Ratings, found: Variances | None, drawn: Patterns | None, wanted: Wanted
) -> Row:
    """Alpha; of a continuous score it estimates the share of items in all variance."""
    metric = METRIC[ratings.kind]
    row: Row = {"term": f"Krippendorff's alpha ({metric})", "family": ALPHA, "form": metric}
    if drawn is None:
        table = ratings.rated.to_numpy(dtype=float)
        estimate = float(alpha_of(table, np.ones((1, len(table))), ratings.codes, metric)[0])
        if found is None:
            return row | {"estimate": estimate}
        low, high = quantile_interval(found.draws.agreement(), estimate, level=wanted.level)
        return row | {"estimate": estimate, "conf_low": low, "conf_high": high}
    if len(ratings.codes) < 2:
        return row
    codes = ratings.codes
    return row | _numbers(drawn, lambda r, w: alpha_of(r, w, codes, metric), wanted.level)
