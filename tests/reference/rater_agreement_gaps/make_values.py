"""Draw 200 tables of grades with gaps and give their coefficients by other programs.

Needs the packages krippendorff, irrCAC, statsmodels and pingouin. ``python make_values.py draw``
writes ``cases.csv``; ``Rscript make_values.R`` reads it and writes ``by_r.csv``; ``python
make_values.py`` joins all in ``values.json``. Statsmodels and pingouin take complete tables and get
the items that every rater scored.
"""

import csv
import json
import sys
import warnings
from importlib import import_module
from pathlib import Path

import numpy as np
import pandas as pd

HERE = Path(__file__).parent
TABLES = 200


def draw() -> list[np.ndarray]:
    """Tables of items by raters, NaN where a rater did not rate."""
    rng = np.random.default_rng(2026)
    tables: list[np.ndarray] = []
    while len(tables) < TABLES:
        n, k, c = (int(rng.integers(*ends)) for ends in ((6, 25), (2, 5), (2, 6)))
        true = rng.normal(size=(n, 1))
        x = true + rng.normal(size=k) * 0.3 + rng.normal(size=(n, k)) * rng.uniform(0.4, 1.2)
        t = np.clip(np.round((c - 1) / 2 + x * c / 4), 0, c - 1)
        t[rng.random(t.shape) < 0.2] = np.nan
        ok = np.isfinite(t).sum(1) >= 2
        few = (np.isfinite(t).sum(0) < 3).any()
        if few or ok.sum() < 4 or len(np.unique(t[ok][np.isfinite(t[ok])])) < 2:
            continue
        tables.append(t[ok])
    return tables


def write_csv(tables: list[np.ndarray]) -> None:
    """Write the tables long, for R."""
    with (HERE / "cases.csv").open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(("case", "item", "rater", "score"))
        for number, t in enumerate(tables):
            for (i, j), v in np.ndenumerate(t):
                if np.isfinite(v):
                    rows.writerow((number, i, j, int(v)))


def with_gaps(t: np.ndarray) -> dict[str, float]:
    """Alphas by krippendorff; AC1 and Fleiss' kappa by irrCAC, which rounds to five digits."""
    krippendorff, cac = import_module("krippendorff"), import_module("irrCAC.raw").CAC
    found = {
        metric: float(krippendorff.alpha(t.T, level_of_measurement=metric))
        for metric in ("nominal", "ordinal", "interval")
    }
    rated = cac(pd.DataFrame(t), categories=sorted(np.unique(t[np.isfinite(t)])))
    for name in ("gwet", "fleiss"):
        found[name] = float(getattr(rated, name)()["est"]["coefficient_value"])
    return found


def whole(t: np.ndarray) -> dict[str, float]:
    """Kappas by statsmodels and ICC by pingouin, of the items that every rater scored."""
    rates, pingouin = import_module("statsmodels.stats.inter_rater"), import_module("pingouin")
    full = t[np.isfinite(t).all(axis=1)]
    if len(full) < 5 or np.ptp(full) == 0 or (np.ptp(full, axis=0) == 0).any():
        return {}
    found = {"items": len(full)}
    counts, _ = rates.aggregate_raters(full.astype(int))
    found["fleiss_whole"] = float(rates.fleiss_kappa(counts))
    if t.shape[1] == 2:
        codes = np.unique(full)
        places = np.searchsorted(codes, full)
        square = np.zeros((len(codes), len(codes)))
        np.add.at(square, tuple(places.T), 1)
        found["cohen"] = float(rates.cohens_kappa(square).kappa)
        for name, power in (("linear", 1), ("quadratic", 2)):
            gap = np.abs(np.subtract.outer(codes, codes)) ** power
            found[name] = float(rates.cohens_kappa(square, weights=gap).kappa)
    long = pd.DataFrame([(i, j, v) for (i, j), v in np.ndenumerate(full)], columns=list("ijv"))
    icc = pingouin.intraclass_corr(long, targets="i", raters="j", ratings="v")
    found["forms"] = [round(float(v), 12) for v in icc["ICC"]]
    return found


def main() -> None:
    """Draw, or join what Python and R give."""
    tables = draw()
    if sys.argv[1:] == ["draw"]:
        write_csv(tables)
        return
    by_r = pd.read_csv(HERE / "by_r.csv").set_index("case")
    cases = []
    for number, t in enumerate(tables):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            found = with_gaps(t) | whole(t)
        for name in by_r:
            if np.isfinite(by_r.loc[number, name]):
                found[name] = float(by_r.loc[number, name])
        rounded = {k: round(v, 13) if isinstance(v, float) else v for k, v in found.items()}
        scores = [[None if np.isnan(v) else int(v) for v in row] for row in t]
        cases.append({"scores": scores, **rounded})
    text = ",\n".join(json.dumps(case, separators=(",", ":")) for case in cases)
    (HERE / "values.json").write_text(f"[{text}]\n", encoding="utf-8")


if __name__ == "__main__":
    main()
