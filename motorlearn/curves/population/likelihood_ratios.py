"""Likelihood-ratio tests of group differences in a population curve."""

from dataclasses import replace

import numpy as np
import pandas as pd
from scipy.special import chdtrc

from motorlearn.curves.population.ascent import approach, inverse_of, top
from motorlearn.curves.population.learners import Learners
from motorlearn.curves.population.likelihoods import likelihood_of
from motorlearn.curves.population.maximum import CLOSE, CLOSE_HITS, PopulationFit
from motorlearn.rows import Schema
from motorlearn.tables import Column

TESTS = Schema(
    (
        Column("term"),
        Column("df", kind="number"),
        Column("statistic", kind="number"),
        Column("p", kind="p"),
    )
)
DOUBTED_FALL = 4.0
"""Excess of a likelihood ratio over twice Wald's statistic from where another start is tried."""


def group_tests(data: Learners, fit: PopulationFit, amount: str) -> pd.DataFrame:
    """Likelihood-ratio tests of group differences: each parameter, and all at once."""
    layout = fit.layout
    cases: dict[str, tuple[int, ...]] = {"asymptote": (0,), amount: (1,), "log_rate": (2,)}
    cases["all"] = (0, 1, 2)
    rows = []
    for term, same in cases.items():
        statistic = max(2 * (fit.summit.loglik - _height(data, fit, same)), 0.0)
        df = len(layout.differences(same))
        p = float(chdtrc(df, statistic))
        rows.append(TESTS.row(term=term, df=float(df), statistic=statistic, p=p))
    return TESTS.frame(rows)


def _height(data: Learners, fit: PopulationFit, same: tuple[int, ...]) -> float:
    """Height of the top where groups are alike in some parameters.

    The climb begins where the quadratic through the free top has its own top among such points.
    """
    layout, point, bend = fit.layout, fit.summit.point, fit.summit.information
    gone = layout.differences(same)
    free = np.setdiff1d(np.arange(layout.size), gone)
    inverse = inverse_of(bend[np.ix_(free, free)])
    near = point[free] + inverse @ bend[np.ix_(free, gone)] @ point[gone]
    differ = tuple(own and row not in same for row, own in enumerate(layout.differ))
    simpler = replace(layout, differ=differ)
    close = CLOSE if data.closed else CLOSE_HITS
    there = likelihood_of(data, simpler, fit.nodes, fit.summit.peak)
    height = top(there, near, inverse, close)[1]
    firm = np.linalg.inv(inverse_of(bend)[np.ix_(gone, gone)])
    expected = float(point[gone] @ firm @ point[gone])
    if 2 * (fit.summit.loglik - height) < 2 * expected + DOUBTED_FALL:
        return height
    # The quadratic says little here: climb from the cells themselves as well.
    there = likelihood_of(data, simpler, fit.nodes, fit.summit.peak)
    start, inverse = approach(there, simpler.embed(layout, point), rounds=12)
    return float(np.nanmax([height, top(there, start, inverse, close)[1]]))
