"""What a pilot is for: floor and ceiling, target size, reliability; never effect size."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import optimize, stats

from motorlearn.exceptions import ColumnError, InputError
from motorlearn.measures import smallest_detectable_change
from motorlearn.plan.arguments import share
from motorlearn.plan.pilot_assumptions import assumptions_frame, assumptions_text
from motorlearn.results import Recipe, Result
from motorlearn.tables import Column, Table

NOT_FOR_EFFECTS = (
    "A pilot shows whether the study can be done. Its effects are too uncertain to plan a sample "
    "size from, and are not computed here."
)
_PRETEST_RATES = (0.2, 0.6)
_EDGE = (0.15, 0.30)
_MISSING = (0.05, 0.20)


@dataclass(frozen=True)
class Pilot(Result):
    """Feasibility of a study from a pilot.

    Parameters
    ----------
    table : DataFrame
        ``phase, quantity, value, conf_low, conf_high, guide, grade``: per test, hit rate or mean,
        spread between people, share of people at an edge of the scale, reliability of a person's
        mean (ICC of the mean of k trials, from one-way variance components), standard error of
        measurement, smallest detectable change, warm-up slope, missing outcomes.
    target : DataFrame
        ``hit_rate, radius, radius_normal``: the target radius at which the pilot's landing points
        would have been hits that often, counted and from one normal distribution; empty where there
        are no landing points.
    assumptions : DataFrame
        ``name, value, source``: the numbers a sample size rests on, on the scale of the plan; NaN
        where the pilot cannot tell.
    plan_text : str
        The section ``[assumptions]`` of the plan, to be pasted into ``study.toml``.
    statements : tuple of str
        What a pilot can and cannot tell.
    recipe : Recipe
        How it was made.
    """

    table: pd.DataFrame
    target: pd.DataFrame
    assumptions: pd.DataFrame
    plan_text: str
    statements: tuple[str, ...]
    recipe: Recipe

    def tables(self) -> Sequence[Table]:
        """Feasibility numbers and target sizes."""
        columns = (
            Column("phase"),
            Column("quantity"),
            Column("value", kind="whole", decimals=3),
            Column("conf_low", "lower", "significant", decimals=3),
            Column("conf_high", "upper", "significant", decimals=3),
            Column("guide"),
            Column("grade"),
        )
        shown = Table("pilot", "Pilot: can it be done?", columns, self.table, self.statements)
        assumed = Table(
            "assumptions",
            "For [assumptions] of the plan",
            (Column("name"), Column("value", kind="significant"), Column("source")),
            self.assumptions,
        )
        if self.target.empty:
            return (shown, assumed)
        sizes = (
            Column("hit_rate", kind="percent", decimals=0),
            Column("radius", kind="significant", decimals=3),
            Column("radius_normal", "radius, normal", "significant", decimals=3),
        )
        return (
            shown,
            assumed,
            Table("target", "Target size for a wanted hit rate", sizes, self.target),
        )


def pilot_page(table: pd.DataFrame, outcome: str, *, phase: str = "pretest") -> Pilot:
    """Compute the feasibility numbers of a pilot.

    Parameters
    ----------
    table : DataFrame
        Trials: ``participant, phase``, the outcome, and ``x, y`` where landing points were taken.
    outcome : str
        Column of the outcome; 0/1 columns are treated as hits.
    phase : str
        Test from which the assumptions are taken, and from whose landing points the target size is
        computed; the first test where the pilot lacks it.

    Returns
    -------
    Pilot

    Raises
    ------
    ColumnError
        If a column is absent.
    InputError
        If fewer than two people were tested.

    Examples
    --------
    >>> import numpy as np, pandas as pd
    >>> rng = np.random.default_rng(1)
    >>> people = np.repeat([f"P{i}" for i in range(8)], 20)
    >>> skill = np.repeat(rng.normal(30, 6, 8), 20)
    >>> trials = pd.DataFrame({"participant": people, "phase": "pretest",
    ...                        "radial_error": skill + rng.normal(0, 12, 160)})
    >>> page = pilot_page(trials, "radial_error")
    >>> page.table["quantity"].tolist()[:3]
    ['people', 'trials per person', 'mean']
    """
    absent = [name for name in ("participant", "phase", outcome) if name not in table.columns]
    if absent:
        raise ColumnError("the pilot's table lacks a column", absent)
    rows = []
    for name, part in table.groupby("phase", sort=False):
        rows += [{"phase": name, **row} for row in _phase_rows(part, outcome)]
    columns = ["phase", "quantity", "value", "conf_low", "conf_high", "guide", "grade"]
    frame = pd.DataFrame(rows, columns=columns)
    if frame.empty:
        raise InputError("a pilot needs two people with two trials each")
    known = table.assign(value=table[outcome].astype("float64")).dropna(subset="value")
    usable = frame["phase"].drop_duplicates().tolist()
    first = phase if phase in usable else usable[0]
    hits = bool(known["value"].isin([0, 1]).all())
    assumed = assumptions_frame(known[known["phase"].isin(usable)], phase=first, hits=hits)
    people = known.loc[known["phase"] == first, "participant"].nunique()
    return Pilot(
        table=frame,
        assumptions=assumed,
        plan_text=assumptions_text(assumed, people),
        target=_targets(table[table["phase"] == phase]),
        statements=(NOT_FOR_EFFECTS,),
        recipe=Recipe("pilot_page", columns={"outcome": outcome}, n=len(table)),
    )


def radius_for(
    hit_rate: float,
    *,
    spread: float | None = None,
    x: ArrayLike | None = None,
    y: ArrayLike | None = None,
) -> float:
    """Radius of a target that is hit as often as wanted.

    For an unbiased isotropic spread ``P(hit) = 1 - exp(-R² / (2 s²))``, so
    ``R = s sqrt(-2 ln(1 - P))``; from landing points, a normal distribution with their mean and
    covariance is integrated over the disc.

    Parameters
    ----------
    hit_rate : float
        Wanted share of hits, between 0 and 1.
    spread : float, optional
        Standard deviation in each direction.
    x, y : array_like, optional
        Landing points, instead of the spread.

    Examples
    --------
    >>> round(radius_for(0.4, spread=20), 1)
    20.2
    """
    if not 0 < share("the wanted hit rate", hit_rate) < 1:
        raise InputError("a wanted hit rate lies between 0 and 1", [hit_rate])
    if spread is not None:
        return share("spread", spread, 0, np.inf) * float(np.sqrt(-2 * np.log1p(-hit_rate)))
    if x is None or y is None:
        raise InputError("neither a spread nor landing points are given", None, "give one of them")
    points = np.column_stack([np.asarray(x, dtype=float), np.asarray(y, dtype=float)])
    points = points[~np.isnan(points).any(axis=1)]
    if len(points) < 3:
        raise InputError("three landing points or more are needed", [len(points)])
    mean, cov = points.mean(axis=0), np.cov(points, rowvar=False)
    largest = float(np.linalg.norm(mean) + 10 * np.sqrt(np.trace(cov)))
    return float(optimize.brentq(lambda r: _disc(r, mean, cov) - hit_rate, 1e-9 * largest, largest))


def _disc(radius: float, mean: np.ndarray, cov: np.ndarray) -> float:
    """Probability of a disc about the origin under a normal distribution, strip by strip."""
    nodes, weights = np.polynomial.legendre.leggauss(200)
    angle = nodes * np.pi / 2
    x = radius * np.sin(angle)
    half = radius * np.cos(angle)
    sd_x = np.sqrt(cov[0, 0])
    slope = cov[0, 1] / cov[0, 0]
    sd_y = np.sqrt(max(cov[1, 1] - slope * cov[0, 1], 1e-300))
    centre = mean[1] + slope * (x - mean[0])
    inside = stats.norm.cdf((half - centre) / sd_y) - stats.norm.cdf((-half - centre) / sd_y)
    density = stats.norm.pdf((x - mean[0]) / sd_x) / sd_x
    return float(np.sum(weights * np.pi / 2 * half * density * inside))


def _targets(part: pd.DataFrame) -> pd.DataFrame:
    wanted = (0.2, 0.3, 0.4, 0.5, 0.6)
    if not {"x", "y"} <= set(part.columns) or part[["x", "y"]].dropna().shape[0] < 3:
        return pd.DataFrame(columns=["hit_rate", "radius", "radius_normal"])
    x, y = part[["x", "y"]].dropna().to_numpy(float).T
    normal = [radius_for(rate, x=x, y=y) for rate in wanted]
    counted = np.quantile(np.hypot(x, y), wanted)
    return pd.DataFrame({"hit_rate": wanted, "radius": counted, "radius_normal": normal})


def _phase_rows(part: pd.DataFrame, outcome: str) -> list[dict[str, Any]]:
    scores = part.assign(value=part[outcome].astype("float64"))
    known = scores.dropna(subset="value")
    people = known.groupby("participant")["value"]
    counts = people.size()
    if len(counts) < 2 or counts.max() < 2:
        return []
    hits = bool(known["value"].isin([0, 1]).all())
    means = people.mean()
    level, guide, grade = means.mean(), "", ""
    if hits:
        guide = "20 to 60 % in the pretest (common practice, no source)"
        grade = "fine" if _PRETEST_RATES[0] <= level <= _PRETEST_RATES[1] else "look"
    half = stats.t.isf(0.025, len(means) - 1) * means.std() / np.sqrt(len(means))
    rows = [
        _row("people", len(counts)),
        _row("trials per person", counts.mean()),
        _row("hit rate" if hits else "mean", level, level - half, level + half, guide, grade),
        _row("SD of people's means", means.std()),
    ]
    if hits:
        rows.append(_at_the_edge(means))
    rows += _reliability(known, means)
    rows.append(_warm_up(known))
    missing = float(scores["value"].isna().mean())
    guide = "look above 5 %, act above 20 % (Schulz & Grimes 2002, from memory)"
    grade = _grade(missing, _MISSING)
    rows.append(_row("share without outcome", missing, guide=guide, grade=grade))
    return rows


def _row(
    quantity: str,
    value: float,
    low: float = np.nan,
    high: float = np.nan,
    guide: str = "",
    grade: str = "",
) -> dict[str, Any]:
    return {
        "quantity": quantity,
        "value": float(value),
        "conf_low": float(low),
        "conf_high": float(high),
        "guide": guide,
        "grade": grade,
    }


def _grade(share: float, guides: tuple[float, float]) -> str:
    """The grades that the audit of a whole study gives the same shares."""
    look, act = guides
    return "act" if share > act else "look" if share > look else "fine"


def _at_the_edge(means: pd.Series) -> dict[str, Any]:
    share = float(max((means == 0).mean(), (means == 1).mean()))
    guide = "look above 15 % of people (Terwee et al. 2007), act above 30 % (no source)"
    grade = _grade(share, _EDGE)
    return _row("share of people at an edge", share, guide=guide, grade=grade)


def _reliability(known: pd.DataFrame, means: pd.Series) -> list[dict[str, Any]]:
    """One-way variance components: reliability of a person's mean, SEM, smallest change."""
    groups = known.groupby("participant")["value"]
    sizes, n = groups.size().to_numpy(), len(means)
    total = sizes.sum()
    centred = known["value"] - known["participant"].map(means)
    ms_within = float((centred**2).sum() / (total - n))
    ms_between = float((sizes * (means.to_numpy() - known["value"].mean()) ** 2).sum() / (n - 1))
    typical = (total - (sizes**2).sum() / total) / (n - 1)
    f = ms_between / ms_within if ms_within > 0 else np.inf
    low_f = f / stats.f.isf(0.025, n - 1, total - n)
    high_f = f / stats.f.isf(0.975, n - 1, total - n)
    icc, low, high = (1 - 1 / value if value > 0 else -np.inf for value in (f, low_f, high_f))
    sem = float(np.sqrt(ms_within / typical))
    change = float(smallest_detectable_change(sem))
    return [
        _row(
            "reliability of a person's mean",
            max(icc, 0.0),
            max(low, 0.0),
            max(high, 0.0),
            "lower limit above .5 (Koo & Li 2016)",
            "fine" if low > 0.5 else "look",
        ),
        _row("standard error of measurement", sem),
        _row("smallest detectable change of one person", change),
    ]


def _warm_up(known: pd.DataFrame) -> dict[str, Any]:
    """Mean slope of the outcome over the first five trials, per trial."""
    place = known.groupby("participant").cumcount()
    first = known[place < 5].assign(place=place[place < 5].astype(float))
    away = first["place"] - first.groupby("participant")["place"].transform("mean")
    top = (away * first["value"]).groupby(first["participant"]).sum()
    slopes = top / (away**2).groupby(first["participant"]).sum()
    slopes = slopes.dropna()
    if len(slopes) < 2:
        return _row("warm-up slope per trial", np.nan)
    half = stats.t.isf(0.025, len(slopes) - 1) * slopes.std() / np.sqrt(len(slopes))
    low, high = slopes.mean() - half, slopes.mean() + half
    grade = "fine" if low <= 0 <= high else "look"
    guide = "zero inside the interval: no sign that the warm-up is too short"
    return _row("warm-up slope per trial", slopes.mean(), low, high, guide, grade)
