"""Frames of what stands behind the coefficients: pairs, limits, error, drift, re-rating."""

from collections.abc import Iterator
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd

from motorlearn.measures.agreement.coefficients import (
    Variances,
    Wanted,
    chance_numbers,
    kappa_rows,
)
from motorlearn.measures.agreement.icc import intraclass_correlations
from motorlearn.measures.agreement.kappa import two_rater_indices
from motorlearn.measures.agreement.limits import limits_of_agreement, linear_trend
from motorlearn.measures.agreement.patterns import Patterns, patterns_of, quantile_interval
from motorlearn.measures.agreement.table import Ratings
from motorlearn.measures.precision import detectable_change_interval, smallest_detectable_change
from motorlearn.rows import Schema
from motorlearn.tables import Column

AGREEMENT_BASIS = "agreement (raters' levels count)"
CONSISTENCY_BASIS = "consistency (raters' levels ignored)"
SCORE_BASIS = "score"
AGAINST_BASIS = "minus other raters"

ERRORS = Schema(
    (
        Column("basis"),
        Column("averaged", kind="count"),
        Column("sem", "SEM", "significant"),
        Column("sem_low", "SEM lower", "significant"),
        Column("sem_high", "SEM upper", "significant"),
        Column("smallest_detectable_change", kind="significant"),
        Column("change_low", "change lower", "significant"),
        Column("change_high", "change upper", "significant"),
    ),
    shown=(
        "basis",
        "sem",
        "sem_low",
        "sem_high",
        "smallest_detectable_change",
        "change_low",
        "change_high",
    ),
)
DRIFTS = Schema(
    (
        Column("rater"),
        Column("basis"),
        Column("n", kind="count"),
        Column("slope", "slope per clip", "significant"),
        Column("std_error", kind="significant"),
        Column("conf_low", kind="significant"),
        Column("conf_high", kind="significant"),
        Column("df", "df", "df"),
        Column("p", "p", "p"),
        Column("change", kind="significant"),
        Column("change_low", "lower", "significant"),
        Column("change_high", "upper", "significant"),
    ),
    shown=("rater", "basis", "n", "slope", "change", "change_low", "change_high", "df", "p"),
)


def pair_frame(ratings: Ratings, wanted: Wanted) -> pd.DataFrame:
    """Give agreement, kappas, AC1, prevalence and bias of each pair of raters."""
    rows = []
    codes = ratings.codes
    for first, second, both in _pairs(ratings):
        drawn = _drawn(both, ratings, wanted)
        indices = two_rater_indices(_cross_table(both.to_numpy(), codes))
        row = {"first": first, "second": second, "n": len(both), **vars(indices)}
        found = {one["term"]: one for one in kappa_rows(drawn, codes, ratings.kind, wanted)}
        named = {"kappa": found["Cohen's kappa"]}
        if ratings.kind == "ordinal":
            named["weighted_kappa"] = found["weighted kappa"]
        nothing = {"estimate": np.nan, "conf_low": np.nan, "conf_high": np.nan}
        named["ac1"] = (
            chance_numbers(drawn, codes, "ac1", wanted.level) if len(codes) > 1 else nothing
        )
        for name, value in named.items():
            row |= {
                name: value["estimate"],
                f"{name}_low": value["conf_low"],
                f"{name}_high": value["conf_high"],
            }
        rows.append(row)
    return pd.DataFrame(rows)


def limit_frame(ratings: Ratings, wanted: Wanted) -> pd.DataFrame:
    """Give limits of agreement for each pair of raters with three common items or more."""
    rows = []
    for first, second, both in _pairs(ratings):
        if len(both) >= 3:
            clusters = ratings.clusters_of(both.index)
            found = limits_of_agreement(
                *both.to_numpy(dtype=float).T, clusters=clusters, level=wanted.level
            )
            rows.append({"first": first, "second": second, **vars(found)})
    return pd.DataFrame(rows)


def error_frame(found: Variances | None, wanted: Wanted, *, graded: bool = False) -> pd.DataFrame:
    """Give the standard error of measurement and the smallest detectable change, with intervals.

    Of the score the study uses: a mean of m raters has the error of one over the root of m. The
    intervals suppose normal errors, so that few grades have none.
    """
    if found is None:
        return ERRORS.frame()
    both, one_rater = found.measurement
    level, root = wanted.level, np.sqrt(wanted.averaged)
    low, high = quantile_interval(found.draws.measurement(), both, level=level)
    z = float(smallest_detectable_change(1.0, level=level))
    bounds = detectable_change_interval(one_rater, found.df_error, level=level)
    own = tuple(float(bound) / z for bound in bounds)
    if graded:
        low = high = np.nan
        own = (np.nan, np.nan)
    rows = []
    for basis, sem, ends in (
        (AGREEMENT_BASIS, both, (low, high)),
        (CONSISTENCY_BASIS, one_rater, own),
    ):
        rows.append(
            ERRORS.row(
                basis=basis,
                averaged=wanted.averaged,
                sem=sem / root,
                sem_low=ends[0] / root,
                sem_high=ends[1] / root,
                smallest_detectable_change=z * sem / root,
                change_low=z * ends[0] / root,
                change_high=z * ends[1] / root,
            )
        )
    return ERRORS.frame(rows)


def drift_frame(ratings: Ratings, wanted: Wanted) -> pd.DataFrame:
    """Give the slope of each rater's scores over clip order, alone and against the others."""
    totals = ratings.wide.sum(axis=1).reindex(ratings.first["item"]).to_numpy()
    counts = ratings.wide.notna().sum(axis=1).reindex(ratings.first["item"]).to_numpy()
    own_score = ratings.first["score"].to_numpy()
    others = np.where(counts > 1, totals - own_score, np.nan) / np.maximum(counts - 1, 1)
    table = ratings.first.assign(against=own_score - others)
    rows = []
    for rater, own in table[table["order"].notna()].groupby("rater"):
        for basis, column in ((SCORE_BASIS, "score"), (AGAINST_BASIS, "against")):
            usable = own[np.isfinite(own[column])]
            trend = linear_trend(usable["order"], usable[column], level=wanted.level)
            rows.append({"rater": rater, "basis": basis, **vars(trend)})
    return DRIFTS.frame(rows)


def rerating_frame(ratings: Ratings, wanted: Wanted) -> pd.DataFrame:
    """Give, for each rater, later against first ratings of the same items."""
    first_seen = ratings.every.groupby(["item", "rater"])["occasion"].transform("min")
    later = ratings.every[ratings.every["occasion"] > first_seen].sort_values("occasion")
    rows = []
    for rater, again in later.groupby("rater"):
        second = again.groupby("item")["score"].first()
        first = ratings.wide[rater].reindex(second.index)
        if len(second) >= 3:
            both = pd.DataFrame({"later": second, "first": first})
            rows.append({"rater": rater, "n": len(both), **_consistency(both, ratings, wanted)})
    return pd.DataFrame(rows)


def _pairs(ratings: Ratings) -> Iterator[tuple[str, str, pd.DataFrame]]:
    for first, second in combinations(ratings.wide.columns, 2):
        both = ratings.wide[[first, second]].dropna().astype(float)
        if len(both):
            yield first, second, both


def _drawn(both: pd.DataFrame, ratings: Ratings, wanted: Wanted) -> Patterns:
    return patterns_of(
        both.to_numpy(dtype=float),
        ratings.codes,
        ordered=ratings.kind == "ordinal",
        clusters=ratings.clusters_of(both.index),
        seed=wanted.seed,
    )


def _cross_table(both: np.ndarray, codes: np.ndarray) -> np.ndarray:
    first, second = (np.searchsorted(codes, column) for column in both.T)
    counts = np.zeros((len(codes), len(codes)))
    np.add.at(counts, (first, second), 1)
    return counts


def _consistency(both: pd.DataFrame, ratings: Ratings, wanted: Wanted) -> dict[str, Any]:
    scores = both.to_numpy(dtype=float)
    agreement = float(np.mean(scores[:, 0] == scores[:, 1]))
    if ratings.kind == "nominal":
        kappa = kappa_rows(_drawn(both, ratings, wanted), ratings.codes, ratings.kind, wanted)[0]
        return {"agreement": agreement, "coefficient": kappa.pop("term"), **kappa}
    limits = limits_of_agreement(
        *scores.T, clusters=ratings.clusters_of(both.index), level=wanted.level
    )
    row = {
        "agreement": agreement,
        "difference": limits.bias,
        "difference_low": limits.bias_low,
        "difference_high": limits.bias_high,
        "sem": limits.sd / np.sqrt(2),
        "coefficient": "ICC(C,1)",
    }
    if np.ptp(scores) > 0:
        icc = intraclass_correlations(scores, level=wanted.level)[2]
        row |= {"estimate": icc.estimate, "conf_low": icc.conf_low, "conf_high": icc.conf_high}
    return row
