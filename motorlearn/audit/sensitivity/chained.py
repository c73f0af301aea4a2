"""Missing scores imputed by chained equations: every test tells something about every other."""

import warnings
from dataclasses import replace

import numpy as np
import pandas as pd
from statsmodels.imputation.mice import MICEData
from statsmodels.regression.linear_model import OLS

from motorlearn.audit.comparison.phase_model import Pair, PhaseModel
from motorlearn.audit.comparison.resampled import combined, df_of
from motorlearn.audit.report import Conclusion
from motorlearn.audit.sensitivity.phases import Variant
from motorlearn.compare import PhaseComparison

NAME = "missing scores imputed from all tests"
_BURN_IN, _APART = 10, 2
"""Rounds before the first imputation and between two."""
_FEWEST = 10


class Chain(MICEData):  # type: ignore[misc]
    """Chained equations of statsmodels, whose scores are drawn from their regressions.

    The library borrows scores from people with like predictions, of whom few groups have enough,
    and takes the residual spread as known. Here ``sigma² = SSE / χ²`` with the residual degrees of
    freedom, coefficients are normal about their estimates with that sigma, and so are the scores.
    """

    def __init__(self, data: pd.DataFrame, rng: np.random.Generator) -> None:
        super().__init__(data, rng=rng)
        self.sigma: dict[str, float] = {}

    def perturb_params(self, vname: str) -> None:
        """Draw the residual spread of one regression, and its coefficients given that."""
        here = self.ix_obs[vname]
        fit = OLS(self.data[vname].to_numpy()[here], self._columns(vname)[here]).fit()
        self.sigma[vname] = float(np.sqrt(fit.ssr / self.rng.chisquare(fit.df_resid)))
        # Least squares of noise is normal with that covariance, and any decomposition gives it.
        noise = self.sigma[vname] * self.rng.standard_normal(len(here))
        self.params[vname] = fit.params + fit.model.pinv_wexog @ noise

    def impute(self, vname: str) -> None:
        """Draw the missing scores of one test."""
        middle = self._columns(vname)[self.ix_miss[vname]] @ self.params[vname]
        noise = self.sigma[vname] * self.rng.normal(size=len(middle))
        self._store_changes(vname, middle + noise)

    def _columns(self, vname: str) -> np.ndarray:
        others = self.data.drop(columns=vname).to_numpy(float)
        return np.column_stack([np.ones(len(others)), others])


def chained_variants(
    result: PhaseComparison, model: PhaseModel, *, imputations: int, seed: int
) -> list[Variant]:
    """The contrasts with missing scores imputed by the chained equations of statsmodels.

    Each test with a gap is predicted from group and all other tests, and the score is drawn around
    its prediction (:class:`Chain`), round by round.
    Every person who has a score at any test is in; contrasts are combined by Rubin's rules with
    Barnard and Rubin's degrees of freedom. Nothing is given where nothing is missing.

    References
    ----------
    van Buuren, S. (2018). Flexible imputation of missing data (2nd ed.), sections 3.2 and 4.5.
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
    base = result.recipe.options["baseline"]
    before = str(list(result.recipe.options["phases"]).index(base)) if model.adjusted else target
    places = ("s" + target, "s" + before)
    found = chained_conclusions(model, wide, places, imputations=imputations, seed=seed)
    gaps = int(scores.isna().to_numpy().sum())
    note = f"{gaps} scores, {imputations} imputations by chained equations (statsmodels)"
    return [Variant(NAME, len(wide), found, note)]


def chained_conclusions(
    model: PhaseModel, wide: pd.DataFrame, places: tuple[str, str], *, imputations: int, seed: int
) -> tuple[Conclusion, ...]:
    """Contrasts of completed tables put together; ``places`` are the columns of score and start."""
    filled = _imputations(wide, imputations, seed)
    sets = [replace(model, y=one[places[0]], x=one[places[1]]) for one in filled]
    found = []
    for pair in model.pairs:
        each = [_contrast(one, pair) for one in sets]
        both = np.array([t[0] for t in each]), np.array([t[1] for t in each])
        found.append(combined(model, pair, both, df_of(model, pair, model.fit())))
    return tuple(found)


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
    alone = int(wide.isna().any().sum()) == 1  # nothing to chain: each round is a draw of its own
    burn_in, apart = (0, 1) if alone else (_BURN_IN, _APART)
    found = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        data = Chain(wide, np.random.default_rng(seed))
        data.update_all(burn_in)
        for _ in range(count):
            data.update_all(apart)
            # The chain writes into its table: without a copy all imputations would be the last one.
            filled = (
                (str(name), column.to_numpy(float, copy=True)) for name, column in data.data.items()
            )
            found.append(dict(filled))
    return found


def _contrast(model: PhaseModel, pair: Pair) -> tuple[float, float]:
    analysis = model.analysis()
    if analysis is None:
        found = model.welch_of(pair)
    else:
        present = np.unique(model.complete.codes)
        found = analysis.contrast(model.weights(pair)[present])
    return found.estimate, found.std_error
