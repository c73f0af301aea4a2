"""Frames of agreement coefficients from arranged ratings."""

from itertools import combinations

import numpy as np
import pandas as pd

from motorlearn.measures.agreement.icc import (
    FORMS,
    MeanSquares,
    intraclass_correlations,
    mean_of_raters,
    mean_squares,
    standard_errors_of_measurement,
)
from motorlearn.measures.agreement.kappa import (
    Coefficient,
    Metric,
    agreement_weights,
    cohen_kappa,
    fleiss_kappa,
    gwet_ac1,
    krippendorff_alpha,
    two_rater_indices,
)
from motorlearn.measures.agreement.limits import limits_of_agreement, linear_trend
from motorlearn.measures.agreement.table import Ratings
from motorlearn.measures.hits import wilson_interval
from motorlearn.measures.precision import smallest_detectable_change

NUMBERS = ("estimate", "std_error", "conf_low", "conf_high", "statistic", "df1", "df2", "p")
_METRIC: dict[str, Metric] = {"continuous": "interval", "ordinal": "ordinal", "nominal": "nominal"}


def coefficient_frame(ratings: Ratings, *, averaged: int, level: float, seed: int) -> pd.DataFrame:
    """Give every overall coefficient, one row each."""
    rows = []
    if ratings.kind != "nominal":
        rows += _icc_rows(ratings.complete, averaged, level)
    if ratings.kind != "continuous":
        rows += _category_rows(ratings, level)
    alpha = krippendorff_alpha(
        ratings.wide.to_numpy(dtype=float), metric=_METRIC[ratings.kind], level=level, seed=seed
    )
    rows.append(_row(f"Krippendorff's alpha ({_METRIC[ratings.kind]})", alpha))
    frame = pd.DataFrame([{"also": ""} | row for row in rows])
    return frame.reindex(columns=["term", "also", *NUMBERS])


def pair_frame(ratings: Ratings, *, level: float) -> pd.DataFrame:
    """Give agreement, kappas, AC1, prevalence and bias of each pair of raters."""
    rows = []
    for first, second, both in _pairs(ratings.wide):
        counts = _cross_table(both, sorted(ratings.labels))
        indices = two_rater_indices(counts)
        row = {"first": first, "second": second, "n": len(both), **vars(indices)}
        found = {"kappa": cohen_kappa(counts, level=level)}
        if ratings.kind == "ordinal":
            weights = category_weights(ratings)
            found["weighted_kappa"] = cohen_kappa(counts, weights=weights, level=level)
        found["ac1"] = gwet_ac1(_choices_of_pair(both, sorted(ratings.labels)), level=level)
        for name, value in found.items():
            row |= {
                name: value.estimate,
                f"{name}_low": value.conf_low,
                f"{name}_high": value.conf_high,
            }
        rows.append(row)
    return pd.DataFrame(rows)


def category_weights(ratings: Ratings) -> np.ndarray:
    """Give quadratic agreement weights between the categories by the values of their scores."""
    codes = np.array(sorted(ratings.labels))
    span = np.ptp(codes)
    if span == 0:
        return agreement_weights(len(codes))
    return 1 - (np.subtract.outer(codes, codes) / span) ** 2


def limit_frame(ratings: Ratings, *, level: float) -> pd.DataFrame:
    """Give limits of agreement for each pair of raters with three common items or more."""
    rows = [
        {"first": first, "second": second, **vars(limits_of_agreement(*both.T, level=level))}
        for first, second, both in _pairs(ratings.wide)
        if len(both) >= 3
    ]
    return pd.DataFrame(rows)


def error_frame(ratings: Ratings, *, level: float) -> pd.DataFrame:
    """Give the standard error of measurement and the smallest detectable change of one rater."""
    squares = squares_of(ratings.complete)
    if squares is None:
        return pd.DataFrame()
    sems = standard_errors_of_measurement(squares)
    return pd.DataFrame(
        {
            "basis": ["agreement (raters' levels count)", "consistency (raters' levels ignored)"],
            "sem": sems,
            "smallest_detectable_change": [
                float(smallest_detectable_change(sem, level=level)) for sem in sems
            ],
        }
    )


def drift_frame(ratings: Ratings, *, level: float) -> pd.DataFrame:
    """Give the slope of each rater's scores over clip order, alone and against the others."""
    totals = ratings.wide.sum(axis=1).reindex(ratings.first["item"]).to_numpy()
    counts = ratings.wide.notna().sum(axis=1).reindex(ratings.first["item"]).to_numpy()
    own_score = ratings.first["score"].to_numpy()
    others = np.where(counts > 1, totals - own_score, np.nan) / np.maximum(counts - 1, 1)
    table = ratings.first.assign(against=own_score - others)
    rows = []
    for rater, own in table[table["order"].notna()].groupby("rater"):
        for basis, column in (("score", "score"), ("minus other raters", "against")):
            usable = own[np.isfinite(own[column])]
            trend = linear_trend(usable["order"], usable[column], level=level)
            rows.append({"rater": rater, "basis": basis, **vars(trend)})
    return pd.DataFrame(rows)


def rerating_frame(ratings: Ratings, *, level: float) -> pd.DataFrame:
    """Give each rater's later ratings against the first ones of the same items."""
    rows = []
    for rater, own in ratings.every.groupby("rater"):
        again = own[own["occasion"] != own.groupby("item")["occasion"].transform("min")]
        later = again.groupby("item")["score"].first()
        first = ratings.wide[rater].reindex(later.index)
        if len(later) >= 3:
            both = np.column_stack([later.to_numpy(), first.to_numpy()])
            rows.append({"rater": rater, "n": len(both), **_consistency(both, ratings, level)})
    return pd.DataFrame(rows)


def squares_of(complete: np.ndarray) -> MeanSquares | None:
    """Give the mean squares, or none where two complete items with any spread are lacking."""
    usable = len(complete) >= 2 and np.ptp(complete) > 0
    return mean_squares(complete) if usable else None


def _icc_rows(complete: np.ndarray, averaged: int, level: float) -> list[dict]:
    if squares_of(complete) is None:
        return [{"term": name, "also": also} for name, also in FORMS.items()]
    found = intraclass_correlations(complete, level=level)
    rows = [
        {
            "term": icc.form,
            "also": FORMS[icc.form],
            "estimate": icc.estimate,
            "conf_low": icc.conf_low,
            "conf_high": icc.conf_high,
            "statistic": icc.statistic,
            "df1": icc.df[0],
            "df2": icc.df[1],
            "p": icc.p,
        }
        for icc in found
    ]
    single = found[1]
    stepped = {
        name: mean_of_raters(value, averaged)
        for name, value in vars(single).items()
        if name in ("estimate", "conf_low", "conf_high")
    }
    if averaged not in (1, complete.shape[1]):
        rows.append({"term": f"ICC(A,{averaged})", "also": "Spearman-Brown step", **stepped})
    return rows


def _category_rows(ratings: Ratings, level: float) -> list[dict]:
    choices = ratings.choices
    rows = [_agreement_row(choices, level)]
    if ratings.wide.shape[1] == 2:
        counts = _cross_table(ratings.complete, sorted(ratings.labels))
        rows.append(_row("Cohen's kappa", cohen_kappa(counts, level=level)))
        if ratings.kind == "ordinal":
            weights = category_weights(ratings)
            rows.append(
                _row("weighted kappa", cohen_kappa(counts, weights=weights, level=level))
                | {"also": "quadratic weights"}
            )
    rows.append(_row("Fleiss' kappa", fleiss_kappa(choices, level=level)))
    rows.append(_row("Gwet's AC1", gwet_ac1(choices, level=level)))
    return rows


def _agreement_row(choices: np.ndarray, level: float) -> dict:
    raters = choices.sum(axis=1)
    per_item = np.sum(choices * (choices - 1), axis=1) / (raters * (raters - 1))
    share = float(per_item.mean())
    low, high = wilson_interval(share * len(choices), len(choices), level=level)
    return {
        "term": "agreement",
        "estimate": share,
        "conf_low": float(low),
        "conf_high": float(high),
    }


def _row(term: str, coefficient: Coefficient) -> dict:
    return {"term": term, **vars(coefficient)}


def _pairs(wide: pd.DataFrame):
    for first, second in combinations(wide.columns, 2):
        both = wide[[first, second]].dropna().to_numpy(dtype=float)
        if len(both):
            yield first, second, both


def _cross_table(both: np.ndarray, codes: list[float]) -> np.ndarray:
    first, second = (np.searchsorted(codes, column) for column in both.T)
    counts = np.zeros((len(codes), len(codes)))
    np.add.at(counts, (first, second), 1)
    return counts


def _choices_of_pair(both: np.ndarray, codes: list[float]) -> np.ndarray:
    return np.stack([(both == code).sum(axis=1) for code in codes], axis=1)


def _consistency(both: np.ndarray, ratings: Ratings, level: float) -> dict:
    agreement = float(np.mean(both[:, 0] == both[:, 1]))
    if ratings.kind == "nominal":
        kappa = cohen_kappa(_cross_table(both, sorted(ratings.labels)), level=level)
        return {"agreement": agreement, "coefficient": "Cohen's kappa", **vars(kappa)}
    limits = limits_of_agreement(*both.T, level=level)
    row = {
        "agreement": agreement,
        "difference": limits.bias,
        "difference_low": limits.bias_low,
        "difference_high": limits.bias_high,
        "sem": limits.sd / np.sqrt(2),
        "coefficient": "ICC(A,1)",
    }
    if np.ptp(both) > 0:
        icc = intraclass_correlations(both, level=level)[1]
        row |= {"estimate": icc.estimate, "conf_low": icc.conf_low, "conf_high": icc.conf_high}
    return row
