"""Variants of a comparison of hits: their odds in a model of the whole group."""

from motorlearn.audit.comparison.binomial import marginal_conclusions
from motorlearn.audit.comparison.phase_model import PhaseModel
from motorlearn.audit.sensitivity.phases import Variant
from motorlearn.compare import PhaseComparison
from motorlearn.exceptions import FitError

NAME = "odds of hits by estimating equations"


def hit_variants(result: PhaseComparison, model: PhaseModel) -> list[Variant]:
    """Odds ratios of hits beside differences of rates; none where the outcome is no rate.

    Where classes and not people were allocated there is none either.
    """
    if not model.counted or model.unit != "participant":
        return []
    try:
        found = marginal_conclusions(result, model)
    except FitError as problem:
        return [Variant(NAME, 0, note=f"not run: {problem}")]
    note = "GEE, covariance corrected for few people (Mancl and DeRouen); another scale"
    return [Variant(NAME, len(model.complete.y), found, note)]
