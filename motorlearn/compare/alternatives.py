"""One contrast of groups at one test, compared in another way than the plan's."""

from collections.abc import Hashable
from dataclasses import replace

import numpy as np

from motorlearn.compare.between import (
    Comparing,
    adjust_for_baseline,
    adjusted_contrasts,
    unadjusted_contrasts,
)
from motorlearn.compare.clusters import Clusters
from motorlearn.compare.comparison import CONTRAST
from motorlearn.compare.covariates import Covariates
from motorlearn.compare.mixed_route import mixed_contrasts
from motorlearn.compare.participants import Columns, PhaseScores
from motorlearn.exceptions import InputError
from motorlearn.rows import Row

_SCORE = Columns("score", "group", "phase", "participant")


def alternative_contrast(
    data: PhaseScores,
    pair: tuple[Hashable, Hashable],
    *,
    phase: Hashable,
    baseline: Hashable | None,
    model: str,
    effect: str,
    covariates: Covariates | None = None,
    clusters: Clusters | None = None,
    level: float = 0.95,
) -> Row:
    """Compare two groups at a test by one of several models.

    Parameters
    ----------
    data : PhaseScores
        Scores at the test, and at the baseline where there is one.
    pair : tuple of hashable
        Group and reference.
    phase, baseline : hashable
        The test, and the phase that is adjusted for or that changes are counted from.
    model : {"ancova", "ancova by group", "change score", "unadjusted", "linear mixed"}
        Analysis of covariance with one residual variance or one for each group, Welch's t of
        changes or of scores (with covariates: an analysis of covariance of these), or a mixed model
        of both tests.
    effect : {"difference", "ratio"}
        Raw scores or logarithms.
    covariates : Covariates, optional
        What is adjusted for beside the baseline.
    clusters : Clusters, optional
        Where classes were allocated; `data` then holds their means.
    level : float
        Level of the interval.

    Returns
    -------
    dict
        A row of :attr:`motorlearn.compare.PhaseComparison.contrasts`.

    Raises
    ------
    InputError
        If these scores or this design do not allow the model.
    """
    _check(data, baseline, model, effect, covariates, clusters)
    if model == "change score":
        data = _changes(data, phase, baseline, effect)
    comparing = Comparing(
        data,
        (pair,),
        effect,
        level,
        baseline if model in ("ancova", "ancova by group", "linear mixed") else None,
        "by group" if model == "ancova by group" else "equal",
        clusters=clusters,
        covariates=covariates,
    )
    if model == "linear mixed":
        return _mixed(comparing, phase)
    if comparing.adjusts(phase):
        return adjusted_contrasts(comparing, adjust_for_baseline(comparing, phase))[0]
    return unadjusted_contrasts(comparing, phase)[0]


def _check(
    data: PhaseScores,
    baseline: Hashable | None,
    model: str,
    effect: str,
    covariates: Covariates | None,
    clusters: Clusters | None,
) -> None:
    if baseline is None and model != "unadjusted":
        raise InputError(f"there is no baseline for the model {model!r}")
    if effect == "ratio":
        known = data.scores[~np.isnan(data.scores)]
        if (known <= 0).any():
            n = int((~(data.scores > 0) & ~np.isnan(data.scores)).any(axis=1).sum())
            raise InputError(f"a ratio needs scores above zero, and {n} people have others")
    if model == "linear mixed" and covariates is not None:
        raise InputError("the mixed model of tests takes no covariates of people")
    if model == "linear mixed" and clusters is not None:
        raise InputError(f"the mixed model is of people, and {clusters.unit} was allocated")


def _changes(
    data: PhaseScores, phase: Hashable, baseline: Hashable | None, effect: str
) -> PhaseScores:
    """Changes from the baseline as scores of the test; for ratios the score by the baseline's."""
    after, before = data.at(phase), data.at(baseline)
    change = after / before if effect == "ratio" else after - before
    there = data.trials[:, [data.phases.index(phase)]] * ~np.isnan(change)[:, None]
    return replace(data, phases=(phase,), scores=change[:, None], trials=there)


def _mixed(comparing: Comparing, phase: Hashable) -> Row:
    data = comparing.data
    found = mixed_contrasts(data.tidy(), _SCORE, comparing, adjust_by="none", family=None)
    rows = found.frame[found.frame["phase"] == phase]
    if rows.empty:
        raise InputError(found.message or "the mixed model could not be fitted")
    return CONTRAST.row(**{name: rows.iloc[0][name] for name in CONTRAST.names})
