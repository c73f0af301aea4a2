"""How often intervals of agreement hold the truth: simulated ratings and their rates.

``python tests/measures/agreement_coverage.py`` writes the table that the documentation shows.
Graded and yes-or-no ratings come from a normal score of each clip with each rater's error, cut
into grades; scores from clips, raters and error, all normal.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import stats

from motorlearn.measures.agreement.coefficients import Wanted, coefficient_frame, variances_of
from motorlearn.measures.agreement.frames import error_frame
from motorlearn.measures.agreement.table import Ratings

TABLE = Path(__file__).parents[2] / "docs" / "agreement-coverage.csv"
SIZES = ((20, 2), (6, 3), (30, 3))
LARGE = 200_000


@dataclass(frozen=True)
class Case:
    """One situation: how ratings arise, how many, and which coefficients are looked at."""

    name: str
    kind: str
    items: int
    raters: int
    correlation: float = 0.0
    cuts: tuple[float, ...] = ()
    variances: tuple[float, float, float] = (0.0, 0.0, 0.0)
    missing: float = 0.0
    clips: int = 1

    def draw(self, rng: np.random.Generator, items: int | None = None) -> np.ndarray:
        """Ratings, shape (items, raters); NaN where a rater did not rate."""
        n = items or self.items
        people = rng.normal(size=(-(-n // self.clips), 1)).repeat(self.clips, axis=0)[:n]
        own = rng.normal(size=(n, 1))
        true = people if self.clips == 1 else np.sqrt(0.5) * (people + own)
        noise = rng.normal(size=(n, self.raters))
        if self.kind != "continuous":
            r = self.correlation
            return np.searchsorted(self.cuts, np.sqrt(r) * true + np.sqrt(1 - r) * noise) * 1.0
        item, rater, error = np.sqrt(self.variances)
        scores = item * true + rater * rng.normal(size=self.raters) + error * noise
        lost = rng.random(scores.shape) < self.missing
        return np.where(lost, np.nan, scores)

    def truth(self) -> dict[str, float]:
        """Values of the coefficients that very many items give."""
        if self.kind == "continuous":
            item, rater, error = self.variances
            share = item / (item + rater + error)
            return {"ICC(A,1)": share, "ICC(C,1)": item / (item + error),
                    "SEM": float(np.sqrt(rater + error))}  # fmt: skip
        found = agreed(self.draw(np.random.default_rng(1), LARGE), self)
        return found[0].set_index("term")["estimate"].to_dict()


def cases() -> Iterator[Case]:
    """Every situation of the published table."""
    half, tenth = (0.0,), (float(stats.norm.isf(0.1)),)
    grades = tuple(stats.norm.ppf([1 / 3, 2 / 3])), tuple(stats.norm.isf([0.2, 0.1]))
    for items, raters in SIZES:
        for r in (0.6, 0.9):
            for name, cuts in (("balanced", half), ("10 % yes", tenth)):
                yield Case(f"yes or no, {name}", "nominal", items, raters, r, cuts)
            for name, cuts in (("balanced", grades[0]), ("10 % each of two grades", grades[1])):
                yield Case(f"three grades, {name}", "ordinal", items, raters, r, cuts)
        for variances in ((1, 0.04, 0.3), (1, 1, 0.3), (0.2, 0.02, 1)):
            yield Case("scores", "continuous", items, raters, variances=variances)
    yield Case("scores, 30 % of cells empty", "continuous", 30, 3, variances=(1, 0.2, 0.4),
               missing=0.3)  # fmt: skip
    yield Case("scores, five clips of a learner", "continuous", 60, 2, variances=(1, 0.1, 0.3),
               clips=5)  # fmt: skip
    yield Case("yes or no, five clips of a learner", "nominal", 60, 2, 0.8, half, clips=5)


def agreed(ratings: np.ndarray, case: Case) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Coefficients and measurement error of a table of ratings."""
    ratings = ratings[np.isfinite(ratings).sum(axis=1) >= 2]
    wide = pd.DataFrame(ratings, columns=list("ABC"[: ratings.shape[1]]))
    grades = range(len(case.cuts) + 1)
    labels = np.unique(wide) if case.kind == "continuous" else map(float, grades)
    learner = pd.Series(wide.index // case.clips) if case.clips > 1 else None
    table = Ratings(case.kind, {code: code for code in labels}, wide, wide, wide, learner)
    found = None if case.kind == "nominal" else variances_of(table)
    return coefficient_frame(table, found, Wanted()), error_frame(found, Wanted())


SHOWN = {
    "nominal": ("Cohen's kappa", "Fleiss' kappa", "Gwet's AC1", "Krippendorff's alpha (nominal)"),
    "ordinal": ("weighted kappa", "Fleiss' kappa", "Krippendorff's alpha (ordinal)", "ICC(A,1)"),
    "continuous": ("ICC(A,1)", "ICC(C,1)"),
}


def rates(case: Case, runs: int, seed: int = 0) -> pd.DataFrame:
    """Coverage, mean width and share of undefined estimates of every coefficient of a case."""
    truth, rng = case.truth(), np.random.default_rng(seed)
    found: dict[str, list[tuple[float, float, float]]] = {}
    for _ in range(runs):
        estimates, error = agreed(case.draw(rng), case)
        numbers = estimates.set_index("term")[["estimate", "conf_low", "conf_high"]]
        for term in SHOWN[case.kind]:
            if term in numbers.index:
                found.setdefault(term, []).append(tuple(numbers.loc[term]))
        if case.kind == "continuous":
            numbers = error[["sem", "sem_low", "sem_high"]]
            found.setdefault("SEM", []).append(tuple(numbers.iloc[0]))
    rows = []
    for term, values in found.items():
        estimate, low, high = np.array(values).T
        known = np.isfinite(estimate)
        inside = (low <= truth[term]) & (truth[term] <= high)
        rows.append(
            {
                "ratings": case.name,
                "items x raters": f"{case.items} x {case.raters}",
                "coefficient": term,
                "truth": round(truth[term], 2),
                "coverage %": round(100 * inside[known].mean(), 1),
                "mean width": round(float((high - low)[known].mean()), 2),
                "undefined %": round(100 * (1 - known.mean()), 1),
                "samples": runs,
            }
        )
    return pd.DataFrame(rows)


if __name__ == "__main__":
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    pd.concat([rates(case, runs) for case in cases()]).to_csv(TABLE, index=False)
