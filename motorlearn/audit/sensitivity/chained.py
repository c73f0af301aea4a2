"""Missing scores imputed by chained equations: every test tells something about every other."""

import warnings
from dataclasses import replace

import numpy as np
import pandas as pd
from statsmodels.imputation.mice import MICEData

from motorlearn.audit.comparison.phase_model import Pair, PhaseModel
from motorlearn.audit.comparison.resampled import combined, df_of
from motorlearn.audit.sensitivity.phases import Variant
from motorlearn.compare import PhaseComparison

NAME = "missing scores imputed from all tests"
_BURN_IN, _APART, _DONORS = 10, 2, 5
"""Rounds before the first imputation and between two; people a score is borrowed from."""
_FEWEST = 10


def chained_variants(
    result: PhaseComparison, model: PhaseModel, *, imputations: int, seed: int
) -> list[Variant]:
    """The contrasts with missing scores imputed by the chained equations of statsmodels.

    Each test with a gap is predicted from group and all other tests; the score is borrowed from
    one of the five people whose predictions are nearest (predictive mean matching), round by round.
    Every person who has a score at any test is in; contrasts are combined by Rubin's rules with
    Barnard and Rubin's degrees of freedom. Nothing is given where nothing is missing.

    References
    ----------
    van Buuren, S. (2018). Flexible imputation of missing data (2nd ed.), section 4.5.
    https://doi.org/10.1201/9780429492259
    """
    if imputations and model.unit != "participant":
        return [Variant(NAME, 0, note=f"not run: the unit is the {model.unit}")]
    wide = _wide(result, model)
    target = str(list(result.recipe.options["phases"]).index(model.phase))
    scores = wide.filter(regex="^s")
    if not imputations or not scores.isna().any(axis=None):
        return []
    if len(model.complete.y) < _FEWEST:
        return [Variant(NAME, 0, note=f"not run: fewer than {_FEWEST} people have all scores")]
    filled = _imputations(wide, imputations, seed)
    base = result.recipe.options["baseline"]
    before = str(list(result.recipe.options["phases"]).index(base)) if model.adjusted else target
    sets = [replace(model, y=one["s" + target], x=one["s" + before]) for one in filled]
    found = []
    for pair in model.pairs:
        each = [_contrast(one, pair) for one in sets]
        both = np.array([t[0] for t in each]), np.array([t[1] for t in each])
        found.append(combined(model, pair, both, df_of(model, pair, model.fit())))
    gaps = int(scores.isna().to_numpy().sum())
    note = f"{gaps} scores, {imputations} imputations by chained equations (statsmodels)"
    return [Variant(NAME, len(wide), tuple(found), note)]


def _wide(result: PhaseComparison, model: PhaseModel) -> pd.DataFrame:
    """Scores on the scale of the analysis, a column for each test, and indicators of groups."""
    wide = result.scores.pivot(index="participant", columns="phase", values="score")
    wide = wide.reindex(index=model.participants, columns=list(result.recipe.options["phases"]))
    scores = wide.to_numpy(dtype=float)
    table = pd.DataFrame(np.log(scores) if model.ratio else scores)
    table.columns = pd.Index([f"s{i}" for i in range(table.shape[1])])
    table = table.loc[:, table.notna().sum() > 2]
    for code in np.unique(model.codes)[1:]:
        table[f"g{code}"] = (model.codes == code).astype(float)
    return table


def _imputations(wide: pd.DataFrame, count: int, seed: int) -> list[dict[str, np.ndarray]]:
    data = MICEData(wide, k_pmm=_DONORS, rng=np.random.default_rng(seed))
    found = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        data.update_all(_BURN_IN)
        for _ in range(count):
            data.update_all(_APART)
            found.append({str(name): data.data[name].to_numpy(dtype=float) for name in data.data})
    return found


def _contrast(model: PhaseModel, pair: Pair) -> tuple[float, float]:
    analysis = model.analysis()
    if analysis is None:
        found = model.welch_of(pair)
    else:
        present = np.unique(model.complete.codes)
        found = analysis.contrast(model.weights(pair)[present])
    return found.estimate, found.std_error
