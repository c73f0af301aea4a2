"""Groups compared on a quantity of their learners' curves, each learner with its uncertainty."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from scipy.stats import t
from statsmodels.stats.meta_analysis import combine_effects

from motorlearn.curves.options import check_column, check_labels, check_level, check_table, one_of
from motorlearn.curves.quantities import NO_ERROR, NO_WAY, SIGNED, UNKNOWN, learner_quantity
from motorlearn.curves.single.curve_fit import CurveFit
from motorlearn.curves.single.learner import fit_curve
from motorlearn.curves.single.rows import as_numbers
from motorlearn.exceptions import InputError
from motorlearn.results import Recipe, Result
from motorlearn.rows import Row, Schema
from motorlearn.tables import Column, Table
from motorlearn.trials.counted import set_aside_void
from motorlearn.vocabulary import capitalised

IN_WORDS = {
    "level_at": "level",
    "rate_at": "rate of change",
    "half_life": "half-life",
    "trials_to": "trials to the criterion",
    "area": "area under the curve",
    "savings": "savings",
}
QUANTITIES = tuple(IN_WORDS)
DIFFERENCES = (*SIGNED, "savings")
"""Quantities that are compared by their difference; the others by their ratio."""
OPTIONS = ("correlation", "errors", "first", "fixed", "repeated", "restart", "variance")
"""Options of a learner's curve that may be given for all learners."""
FEWEST = 3
"""Learners of a group with a quantity below which there is no comparison."""
MANY_LOST = 0.2
"""Share of a group's learners without a quantity from which the comparison is doubted."""

PEOPLE = Schema(
    (
        Column("participant"),
        Column("group"),
        Column("n", kind="count"),
        Column("status"),
        Column("estimate", kind="number"),
        Column("scaled", kind="number"),
        Column("std_error", kind="number"),
        Column("reason"),
    )
)
GROUPS = Schema(
    (
        Column("group"),
        Column("learners", kind="count"),
        Column("left_out", "left out", kind="count"),
        Column("estimate", kind="number"),
        Column("conf_low", "lower", kind="number"),
        Column("conf_high", "upper", kind="number"),
        Column("between_sd", "SD between learners", kind="number"),
        Column("scaled", kind="number"),
        Column("std_error", kind="number"),
    ),
    ("group", "learners", "left_out", "estimate", "conf_low", "conf_high", "between_sd"),
)
CONTRASTS = Schema(
    (
        Column("group"),
        Column("reference"),
        Column("kind"),
        Column("estimate", kind="number"),
        Column("conf_low", "lower", kind="number"),
        Column("conf_high", "upper", kind="number"),
        Column("df", kind="number"),
        Column("statistic", "t", kind="number"),
        Column("p", kind="p"),
    )
)


@dataclass(frozen=True)
class CurveComparison(Result):
    """Groups compared on one quantity of their learners' curves.

    ``groups`` has the mean of each group (geometric for what is compared by ratios) and the SD
    between its learners on the scale of the analysis; ``contrasts`` each group less, or over, the
    first; ``people`` each learner, with the ``reason`` where there is no quantity.
    """

    quantity: str
    at: float
    contrasts: pd.DataFrame
    groups: pd.DataFrame
    people: pd.DataFrame = field(repr=False)
    warnings: tuple[str, ...] = ()
    recipe: Recipe = field(default_factory=lambda: Recipe("compare_curves"), repr=False)

    def tables(self) -> Sequence[Table]:
        """Contrasts and groups."""
        what = IN_WORDS[self.quantity]
        return (
            CONTRASTS.table(
                "curve_contrasts", f"Groups compared: {what}", self.contrasts, self.warnings
            ),
            GROUPS.table("curve_groups", f"{capitalised(what)} by group", self.groups),
        )


def compare_curves(
    table: pd.DataFrame,
    outcome: str,
    *,
    practice: str,
    group: str,
    quantity: str = "half_life",
    at: Any = None,
    participant: str = "participant",
    form: str = "exponential",
    attempts: str | None = None,
    session: str | None = None,
    level: float = 0.95,
    **options: Any,
) -> CurveComparison:
    r"""Compare groups on a quantity of their learners' curves, with each learner's uncertainty.

    Every learner :math:`i` has an own curve, a quantity :math:`q_i` and its standard error
    :math:`s_i` (of the logarithm for what is above 0). A group's mean is that of a random-effects
    meta-analysis,

    .. math:: q_i = \mu_g + u_i + e_i, \quad u_i \sim N(0, \tau_g^2), \quad e_i \sim N(0, s_i^2),

    by Paule and Mandel, with the standard error of Hartung and Knapp; groups are compared by
    Welch's t. A plain t test of the estimates would take a curve that is all but unknown for as
    good as a clear one.

    Parameters
    ----------
    table : DataFrame
        One row per trial or block.
    outcome, practice, group, participant : str
        Columns of scores (or hits), practice counts, groups and learners.
    quantity : {"level_at", "rate_at", "half_life", "trials_to", "area", "savings"}
        As in :func:`curve_quantities`; ``savings`` need ``session`` and ``restart="savings"`` or
        ``"both"``.
    at : float or pair of float
        Practice count of ``level_at`` and ``rate_at``, criterion of ``trials_to``, two practice
        counts of ``area``; the session of ``savings``, without which their mean over all later
        sessions of a learner is taken.
    form, attempts, session
        As in :func:`fit_curve`; the latter two are columns.
    level : float
        Confidence level.
    **options
        More options of :func:`fit_curve`: ``correlation``, ``variance``, ``errors``, ``restart``,
        ``first``, ``fixed``, ``repeated``.

    Raises
    ------
    InputError, ColumnError
        For rows or options that cannot be used, and where a group has fewer than three learners
        with a quantity.

    References
    ----------
    Paule, R. C., & Mandel, J. (1982). Journal of Research of the National Bureau of Standards,
    87, 377-385. https://doi.org/10.6028/jres.087.022

    Examples
    --------
    >>> rng, trial = np.random.default_rng(1), np.arange(1, 41)
    >>> rows = pd.concat(
    ...     pd.DataFrame(
    ...         {
    ...             "participant": k,
    ...             "group": "random" if k % 2 else "blocked",
    ...             "trial": trial,
    ...             "error": 20 + 15 * np.exp(-(0.1 + 0.1 * (k % 2)) * trial) + rng.normal(size=40),
    ...         }
    ...     )
    ...     for k in range(12)
    ... )
    >>> found = compare_curves(rows, "error", practice="trial", group="group")
    >>> found.contrasts["kind"].tolist()
    ['ratio']
    """
    one_of(quantity, QUANTITIES, "quantity")
    for name in options:
        one_of(name, OPTIONS, "option of compare_curves")
    level, at = check_level(level), _check_at(quantity, at)
    named = {"outcome": outcome, "practice": practice, "group": group, "participant": participant}
    named |= {"attempts": attempts} if attempts is not None else {}
    named |= {"session": session} if session is not None else {}
    table, void = _usable(table, named)
    if quantity == "savings":
        _check_sessions(table, named, at, options.get("restart"))
    fits = _Options(named, form, quantity, at, options)
    people = PEOPLE.frame([_person(who, part, fits) for who, part in table.groupby(participant)])
    groups = _levels(table[group])
    rows = [_group(name, people[people["group"] == name], quantity, level) for name in groups]
    contrasts = [_contrast(row, rows[0], quantity, level) for row in rows[1:]]
    asked = {"quantity": quantity, "at": at, "form": form, "level": level, **options}
    recipe = Recipe("compare_curves", named, asked, len(table), void, engine="random effects")
    return CurveComparison(
        quantity,
        np.nan if quantity == "savings" or np.ndim(at) else float(at),
        CONTRASTS.frame(contrasts),
        GROUPS.frame(rows),
        people,
        _warnings(rows),
        recipe,
    )


@dataclass(frozen=True)
class _Options:
    named: Mapping[str, str]
    form: str
    quantity: str
    at: Any
    more: Mapping[str, Any]


def _check_at(quantity: str, at: Any) -> Any:
    if quantity == "savings":
        return at
    if quantity == "half_life":
        if at is not None:
            raise InputError("a half-life is not at a practice count", [at], "leave at out")
        return np.nan
    pair = quantity == "area"
    good = isinstance(at, list | tuple) and len(at) == 2 if pair else np.ndim(at) == 0
    if at is None or not good:
        wanted = "two practice counts" if pair else "one number"
        raise InputError(f"{quantity} needs {wanted} in at", [at])
    return tuple(at) if pair else at


def _check_sessions(table: pd.DataFrame, named: Mapping[str, str], at: Any, restart: Any) -> None:
    """Refuse savings where no sessions, no savings or no such session were asked for."""
    if "session" not in named or restart not in ("savings", "both"):
        raise InputError(
            "savings are what a later session still has of the way gained",
            [restart],
            "give session, a column, and restart='savings' or 'both'",
        )
    known = table[named["session"]].unique().tolist()
    if at is not None and at not in known:
        raise InputError(f"there is no session {at!r}", known, "choose one of them")


def _usable(table: pd.DataFrame, named: Mapping[str, str]) -> tuple[pd.DataFrame, pd.DataFrame]:
    if not isinstance(table, pd.DataFrame):
        raise InputError("the table must be a DataFrame", [type(table).__name__])
    for what, name in named.items():
        check_column(name, what)
    check_table(table, list(named.values()), "the comparison needs")
    labels = [named[what] for what in ("group", "participant", "session") if what in named]
    check_labels(table, labels)
    table = table.set_axis(np.arange(1, len(table) + 1))
    table, void = set_aside_void(table, participant=named["participant"], group=named["group"])
    if not len(table):
        raise InputError("the table has no rows that count: every one is void")
    numbers = {}
    for what in ("outcome", "practice", "attempts"):
        if what in named:
            column, hits = table[named[what]], what == "outcome"
            said = f"column {named[what]!r}"
            numbers[named[what]] = as_numbers(column, said, hits=hits, rows=table.index)
    table = table.assign(**numbers)
    own = table.groupby(named["participant"])[named["group"]].nunique()
    if (own > 1).any():
        raise InputError("participants belong to more than one group", list(own[own > 1].index))
    if table[named["group"]].nunique() < 2:
        raise InputError("a comparison needs two groups", table[named["group"]].unique())
    return table, void


def _levels(column: pd.Series) -> list[Any]:
    if isinstance(column.dtype, pd.CategoricalDtype):
        return [level for level in column.cat.categories if (column == level).any()]
    return sorted(column.unique(), key=lambda level: (isinstance(level, str), level))


def _person(who: object, part: pd.DataFrame, asked: _Options) -> Row:
    named, more = asked.named, dict(asked.more)
    if "attempts" in named:
        more["attempts"] = part[named["attempts"]]
    if "session" in named and part[named["session"]].nunique() > 1:
        more["session"] = part[named["session"]]
    try:
        fit = fit_curve(part[named["practice"]], part[named["outcome"]], form=asked.form, **more)
    except InputError as problem:
        raise InputError(
            f"{problem.cause} (learner {who})", problem.values, problem.remedy
        ) from problem
    told = (
        _savings(fit, asked.at)
        if asked.quantity == "savings"
        else learner_quantity(fit, asked.quantity, asked.at)
    )
    return PEOPLE.row(
        participant=who,
        group=part[named["group"]].iloc[0],
        n=fit.n,
        status=fit.status,
        **told,
    )


def _savings(fit: CurveFit, session: Any) -> dict[str, Any]:
    """Savings of one learner at the begin of a session, or their mean over all later sessions."""
    terms = list(fit.curve)
    wanted = [name for name in fit.saved if session is None or name == f"savings[{session}]"]
    if not wanted:
        return {"reason": "no such session later than the first"}
    if fit.status == "too few trials" or fit.status in UNKNOWN:
        return {"reason": fit.status}
    mean = np.array([(name in wanted) / len(wanted) for name in terms])
    value = float(mean @ np.array([fit.curve[name] for name in terms]))
    if np.isnan([fit.value(name) for name in wanted]).any():
        return {"reason": NO_WAY}
    inside = [terms.index(name) for name in wanted]
    cover = np.asarray(fit.vcov)[np.ix_(inside, inside)]
    error = float(np.sqrt(max(cover.sum(), 0.0))) / len(wanted)
    if not np.isfinite(value) or not np.isfinite(error):
        return {"reason": NO_ERROR if np.isfinite(value) else fit.status}
    return {"estimate": value, "scaled": value, "std_error": error}


def _group(name: object, people: pd.DataFrame, quantity: str, level: float) -> Row:
    known = people[np.isfinite(people["scaled"]) & np.isfinite(people["std_error"])]
    if len(known) < FEWEST:
        reasons = people["reason"].replace("", np.nan).dropna().unique()
        raise InputError(
            f"group {name} has {len(known)} learners whose {quantity} is estimated; three at "
            "least are needed",
            list(reasons),
            "take a level, or a population curve",
        )
    variance = np.maximum(known["std_error"].to_numpy() ** 2, 1e-300)
    found = combine_effects(known["scaled"].to_numpy(), variance, method_re="iterated")
    error = float(np.sqrt(found.var_hksj_re))
    centre, half = (
        float(found.mean_effect_re),
        float(t.isf((1 - level) / 2, len(known) - 1)) * error,
    )
    ends = (centre - half, centre, centre + half)
    low, middle, high = ends if quantity in DIFFERENCES else np.exp(ends)
    return GROUPS.row(
        group=name,
        learners=len(known),
        left_out=len(people) - len(known),
        estimate=middle,
        conf_low=low,
        conf_high=high,
        between_sd=float(np.sqrt(max(found.tau2, 0.0))),
        scaled=centre,
        std_error=error,
    )


def _contrast(row: Row, first: Row, quantity: str, level: float) -> Row:
    """Welch's t of two groups' means."""
    parts = np.array([row["std_error"], first["std_error"]]) ** 2
    spare = np.array([row["learners"], first["learners"]]) - 1
    error = float(np.sqrt(parts.sum()))
    df = float(parts.sum() ** 2 / np.sum(parts**2 / spare))
    gap = row["scaled"] - first["scaled"]
    half = float(t.isf((1 - level) / 2, df)) * error
    ends = (gap - half, gap, gap + half)
    signed = quantity in DIFFERENCES
    low, middle, high = ends if signed else np.exp(ends)
    return CONTRASTS.row(
        group=row["group"],
        reference=first["group"],
        kind="difference" if signed else "ratio",
        estimate=middle,
        conf_low=low,
        conf_high=high,
        df=df,
        statistic=gap / error,
        p=float(2 * t.sf(abs(gap / error), df)),
    )


def _warnings(rows: Sequence[Row]) -> tuple[str, ...]:
    lost = [
        f"{row['group']} {row['left_out']} of {row['left_out'] + row['learners']}"
        for row in rows
        if row["left_out"] > MANY_LOST * (row["left_out"] + row["learners"])
    ]
    if not lost:
        return ()
    return (
        f"Learners whose curve does not settle this quantity are left out: {', '.join(lost)}. "
        "Those who are left may not stand for their group; a population curve keeps everybody.",
    )
