"""The likelihood that the scores of a population ask for."""

import numpy as np

from motorlearn.curves.population.grid import GridMarginal
from motorlearn.curves.population.hits import HitMarginal
from motorlearn.curves.population.laws import LawMarginal
from motorlearn.curves.population.layout import Layout
from motorlearn.curves.population.learners import Learners
from motorlearn.curves.population.marginal import Marginal


def likelihood_of(
    data: Learners, layout: Layout, nodes: int, peak: np.ndarray | None = None
) -> Marginal | GridMarginal:
    """Likelihood with some nodes; ``peak`` says where its integrands are known to peak."""
    likelihood: Marginal | GridMarginal
    if data.trials is not None:
        likelihood = HitMarginal(data, layout, nodes)
    elif data.law != "normal":
        likelihood = LawMarginal(data, layout, nodes)
    else:
        likelihood = Marginal(data, layout, nodes)
    if peak is not None:
        likelihood.peak = peak.copy()
    return likelihood
