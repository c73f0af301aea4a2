"""How well means over raters, occasions, trials or items tell learners apart."""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from motorlearn import digits
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.mixed import MixedFit, fit_mixed
from motorlearn.results import Recipe, Result, nobody_left_out
from motorlearn.rows import Row, Schema
from motorlearn.tables import Column, Table
from motorlearn.trials import counted_rows
from motorlearn.vocabulary import CROSSED

RESIDUAL: Final = "residual"
COMPONENTS: Final = Schema(
    (
        Column("source"),
        Column("levels", kind="count"),
        Column("variance", kind="significant"),
        Column("sd", "SD", "significant"),
        Column("share", kind="percent"),
    )
)
_COEFFICIENTS: Final = (
    Column("relative", "coefficient, ranks", "number"),
    Column("absolute", "coefficient, levels", "number"),
    Column("sem", "SEM", "significant"),
)
_TRIED: Final = {1: (1, 2, 3, 4, 5, 6, 8, 10), 2: (1, 2, 3, 4, 6, 8)}
_TRIED_MANY: Final = (1, 2, 4)
_FEWEST_LEARNERS: Final = 5
_NONE: Final = 1e-6
NO_INTERVAL: Final = (
    "Estimates without intervals: few raters or occasions tell a variance poorly, so take the "
    "numbers as a guide to planning. 'Levels' counts differences in level between conditions as "
    "error, 'ranks' does not."
)


@dataclass(frozen=True)
class Generalisability(Result):
    """Variance components of a score, and what means over more conditions would give.

    Attributes
    ----------
    components : DataFrame
        ``source, levels, variance, sd, share``: the learners, each facet, what each pair of them
        has of its own, and the residual; ``share`` of the variance of a single score.
    decisions : DataFrame
        A column for each facet with its number of conditions, then ``relative`` and ``absolute``
        (the coefficients) and ``sem`` (standard error of the mean score, levels counted).
    learner : str
        Column of the learners.
    facets : tuple of str
        Columns of the facets, those nested in learners last.
    parts : mapping of str to tuple of str
        Columns that make each source.
    recipe : Recipe
        Columns, options, rows analysed and left out.
    """

    components: pd.DataFrame
    decisions: pd.DataFrame
    learner: str
    facets: tuple[str, ...]
    parts: Mapping[str, Sequence[str]]
    recipe: Recipe

    def tables(self) -> list[Table]:
        """Components, then decisions."""
        counts = tuple(Column(name, kind="count") for name in self.facets)
        return [
            COMPONENTS.table(
                "components", "Where a single score comes from", self.components, (self.sentence(),)
            ),
            Table(
                "decisions", "Coefficients of means over conditions", (*counts, *_COEFFICIENTS),
                self.decisions, (NO_INTERVAL,),
            ),
        ]  # fmt: skip

    def coefficients(self, **numbers: int) -> Row:
        """Coefficients of a mean over so many conditions of each facet; one where not said.

        Raises
        ------
        InputError
            If a facet is unknown, or a number is no whole number from one.
        """
        strange = sorted(set(numbers) - set(self.facets))
        if strange:
            raise InputError("there is no such facet", strange, f"facets: {', '.join(self.facets)}")
        if any(isinstance(n, bool) or n != int(n) or n < 1 for n in numbers.values()):
            raise InputError("numbers of conditions are whole, from 1", list(numbers.values()))
        variance = self.components.set_index("source")["variance"].to_dict()
        return _coefficients(variance, self.parts, self.learner, self.facets, numbers)

    def fewest(self, goal: float = 0.8, *, kind: str = "absolute") -> pd.DataFrame:
        """Fewest scores of a learner that reach a coefficient, for each number of the first facet.

        Parameters
        ----------
        goal : float
            Coefficient that is wanted.
        kind : {"absolute", "relative"}
            Whether differences in level between conditions count as error.

        Returns
        -------
        DataFrame
            Rows of ``decisions`` with ``scores``, the number of scores of a learner they take.
        """
        if kind not in ("absolute", "relative"):
            raise InputError("the kind of coefficient is unknown", [kind], "absolute or relative")
        if not 0 < goal < 1:
            raise InputError("a coefficient to reach lies between 0 and 1", [goal])
        scores = self.decisions[list(self.facets)].prod(axis=1)
        reached = self.decisions.assign(scores=scores)[self.decisions[kind] >= goal]
        best = reached.sort_values(["scores", kind], ascending=[True, False], kind="stable")
        first = best.drop_duplicates(self.facets[0]).sort_values(self.facets[0])
        return first.reset_index(drop=True)

    def sentence(self, goal: float = 0.8) -> str:
        """Say what a single score is worth, what spoils it most, and what would reach the goal."""
        single = self.coefficients()
        errors = self.components[self.components["source"] != self.learner]
        worst = errors.loc[errors["variance"].idxmax()]
        text = (
            f"A single score tells learners apart with a coefficient of "
            f"{digits.number(single['absolute'])} ({digits.number(single['relative'])} for ranks); "
            f"most error is {worst['source']}, {digits.percent(worst['share'])} of all variance."
        )
        reached = self.fewest(goal)
        if reached.empty:
            most = float(self.decisions["absolute"].max())
            return (
                f"{text} None of the numbers tried reaches {digits.number(goal)}; the highest is "
                f"{short_of(most, goal)}."
            )
        best = reached.loc[reached["scores"].idxmin()]
        many = " and ".join(f"{name}: {int(best[name])}" for name in self.facets)
        return f"{text} {digits.number(goal)} is reached with fewest scores of a learner by {many}."


def generalisability(
    table: pd.DataFrame,
    score: str,
    *,
    learner: str = "participant",
    facets: Sequence[str] = (),
    nested: Sequence[str] = (),
    numbers: Mapping[str, Sequence[int]] | None = None,
) -> Generalisability:
    r"""Tell apart what makes scores differ, and say how many raters, trials or occasions it takes.

    The score of learner p is a sum of independent effects of p, of each facet, of each pair of
    these and of the rest; their variances come from :func:`motorlearn.fit_mixed` by restricted
    maximum likelihood, so that empty cells are no trouble. A mean over :math:`n_f` conditions of
    each facet has

    .. math:: E\rho^2 = \frac{\sigma^2_p}{\sigma^2_p + \sigma^2_\delta},\qquad
              \Phi = \frac{\sigma^2_p}{\sigma^2_p + \sigma^2_\Delta},

    :math:`\sigma^2_\delta` being the sum over all effects that hold p and facets, each divided by
    the numbers of its facets, and :math:`\sigma^2_\Delta` that over all effects but p. Facets are
    random: conditions stand for many alike. A checklist that is always used whole is no facet:
    take its total. Scores count as normal.

    Parameters
    ----------
    table : DataFrame
        One row per score; rows with a reason in ``void`` do not count.
    score, learner : str
        Columns.
    facets : sequence of str
        Columns crossed with learners: raters, occasions, items that all learners share.
    nested : sequence of str
        Columns whose conditions are each learner's own: clips, trials.
    numbers : mapping of str to sequence of int, optional
        Numbers of conditions to try by facet.

    Raises
    ------
    ColumnError
        If a column is absent.
    InputError
        If no facet is named, a facet has one condition, there are fewer than five learners, or two
        sources cannot be told apart.

    References
    ----------
    Cronbach, L. J., Gleser, G. C., Nanda, H. and Rajaratnam, N. (1972). The dependability of
    behavioral measurements. Wiley. Brennan, R. L. (2001). Generalizability theory. Springer.
    doi:10.1007/978-1-4757-3456-0 (both from memory).

    Examples
    --------
    >>> rows = [("abcdef"[p], r, 3 * p + (p * r) % 3 + r) for p in range(6) for r in range(3)]
    >>> table = pd.DataFrame(rows, columns=["participant", "rater", "score"])
    >>> found = generalisability(table, "score", facets=["rater"])
    >>> found.components["source"].tolist()
    ['participant', 'rater', 'residual']
    >>> round(found.coefficients(rater=2)["absolute"], 2)
    0.96
    """
    named = (*facets, *nested)
    rows = _usable(table, score, learner, named)
    parts = _sources(rows, learner, tuple(facets), tuple(nested))
    components, fit = _estimated(rows, score, parts)
    parts = {**parts, RESIDUAL: (learner, *named)}
    recipe = Recipe(
        call="generalisability",
        columns={"score": score, "learner": learner},
        options={"facets": tuple(facets), "nested": tuple(nested)},
        n=len(rows),
        left_out=_unused(len(table) - len(rows)),
        engine="linear mixed model, restricted maximum likelihood",
        converged=fit.converged,
        message=_doubts(components, fit),
    )
    return Generalisability(
        components=components,
        decisions=_decisions(components, parts, learner, named, numbers or {}),
        learner=learner,
        facets=named,
        parts=parts,
        recipe=recipe,
    )


def _usable(table: pd.DataFrame, score: str, learner: str, named: tuple[str, ...]) -> pd.DataFrame:
    """Rows that count and are complete; refused where a facet or the learners are too few."""
    needed = [score, learner, *named]
    absent = [name for name in needed if name not in table]
    if absent:
        raise ColumnError("the table lacks a column", absent)
    if not named or len(set(needed)) < len(needed):
        raise InputError(
            "generalisability needs facets, each a column of its own", needed, "give facets="
        )
    values = pd.to_numeric(table[score], errors="coerce")
    odd = table[score][(values.isna() | np.isinf(values)) & table[score].notna()]
    if len(odd):
        raise InputError(
            "scores are not finite numbers", odd.unique(), "score the grades in numbers"
        )
    rows = table.assign(**{score: values.astype(float)})[counted_rows(table)].dropna(subset=needed)
    if rows[learner].nunique() < _FEWEST_LEARNERS:
        raise InputError(
            f"variance between learners needs {_FEWEST_LEARNERS} of them at least",
            [rows[learner].nunique()],
        )
    single = [name for name in named if rows[name].nunique() < 2]
    if single:
        raise InputError(
            "a facet with one condition says nothing of others", single, "leave it out, or vary it"
        )
    return rows


def _sources(
    rows: pd.DataFrame, learner: str, facets: tuple[str, ...], nested: tuple[str, ...]
) -> dict[str, tuple[str, ...]]:
    """Columns that make each source by its name: learners, facets, pairs; the rest is residual."""
    own = {name: (learner, name) for name in nested}
    single: dict[str, tuple[str, ...]] = {name: (name,) for name in (learner, *facets)}
    single |= {f"{name} of a {learner}": columns for name, columns in own.items()}
    found, pairs = dict(single), itertools.combinations(single.values(), 2)
    for one, other in pairs:
        columns = tuple(dict.fromkeys((*one, *other)))
        if columns not in found.values():
            found[CROSSED.join(columns)] = columns
    seen: dict[bytes, str] = {}
    kept: dict[str, tuple[str, ...]] = {}
    for name, columns in found.items():
        codes = _codes(rows, columns)
        if codes.max() + 1 == len(rows):
            continue  # one row of each: this is the residual
        twin = seen.setdefault(codes.tobytes(), name)
        if twin != name:
            raise InputError(
                "two sources cannot be told apart in these data", [twin, name],
                "name what is each learner's own under nested=, or leave one out",
            )  # fmt: skip
        kept[name] = columns
    return kept


def _codes(rows: pd.DataFrame, columns: Sequence[str]) -> np.ndarray:
    """Condition of each row as a number, in order of appearance."""
    alone = rows.groupby(list(columns), sort=False, observed=True).ngroup()
    codes: np.ndarray = pd.factorize(alone)[0]
    return codes


def _estimated(
    rows: pd.DataFrame, score: str, parts: Mapping[str, Sequence[str]]
) -> tuple[pd.DataFrame, MixedFit]:
    keys = {name: f"source{place}" for place, name in enumerate(parts)}
    coded = pd.DataFrame({"y": rows[score].to_numpy()})
    for name, key in keys.items():
        coded[key] = [f"c{code}" for code in _codes(rows, parts[name])]
    fit = fit_mixed("y ~ 1", coded, random=dict.fromkeys(keys.values(), "1"), df="normal")
    between = fit.variances.set_index("group")["variance"]
    variance = {name: float(between[key]) for name, key in keys.items()}
    variance[RESIDUAL] = float(fit.residual_sd**2)
    total = sum(variance.values())
    found = [
        {
            "source": name,
            "levels": len(rows) if name == RESIDUAL else coded[keys[name]].nunique(),
            "variance": value,
            "sd": value**0.5,
            "share": value / total,
        }
        for name, value in variance.items()
    ]
    return COMPONENTS.frame(found), fit


def _doubts(components: pd.DataFrame, fit: MixedFit) -> str:
    """Which sources have no variance here, and whether the search ended."""
    none = components.loc[components["share"] < _NONE, "source"]
    said = [] if fit.converged else ["the search for the variances did not settle"]
    if len(none):
        said.append(f"no variance was found for {', '.join(none)} (by chance, with few conditions)")
    return "; ".join(said)


def short_of(value: float, goal: float) -> str:
    """A coefficient in two places, in three where two would say that it reaches the goal.

    Examples
    --------
    >>> short_of(0.797, 0.8), short_of(0.72, 0.8)
    ('0.797', '0.72')
    """
    hidden = value < goal and round(value, 2) >= round(goal, 2)
    return digits.number(value, 3 if hidden else 2)


def _unused(rows: int) -> pd.DataFrame:
    if not rows:
        return nobody_left_out()
    reason = "void, or without a score or a condition"
    return pd.DataFrame([{"participant": "", "group": "", "reason": reason, "rows": rows}])


def _decisions(
    components: pd.DataFrame,
    parts: Mapping[str, Sequence[str]],
    learner: str,
    facets: tuple[str, ...],
    numbers: Mapping[str, Sequence[int]],
) -> pd.DataFrame:
    strange = sorted(set(numbers) - set(facets))
    if strange:
        raise InputError("numbers are given for what is no facet", strange, ", ".join(facets))
    usual = _TRIED.get(len(facets), _TRIED_MANY)
    tried = [tuple(numbers.get(name, usual)) for name in facets]
    variance = components.set_index("source")["variance"].to_dict()
    rows = []
    for combination in itertools.product(*tried):
        counts = dict(zip(facets, combination))
        rows.append({**counts, **_coefficients(variance, parts, learner, facets, counts)})
    return pd.DataFrame(rows)


def _coefficients(
    variance: Mapping[str, float],
    parts: Mapping[str, Sequence[str]],
    learner: str,
    facets: tuple[str, ...],
    numbers: Mapping[str, int],
) -> Row:
    relative = absolute = 0.0
    for source, value in variance.items():
        if source == learner:
            continue
        over = np.prod([numbers.get(name, 1) for name in parts[source] if name in facets])
        absolute += value / over
        relative += value / over if learner in parts[source] else 0.0
    true = variance[learner]
    return {
        "relative": _share(true, relative),
        "absolute": _share(true, absolute),
        "sem": float(np.sqrt(absolute)),
    }


def _share(true: float, error: float) -> float:
    return float(true / (true + error)) if true + error > 0 else np.nan
