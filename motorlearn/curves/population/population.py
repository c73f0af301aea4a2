"""The learning curve of a population: a non-linear mixed-effects model, and its result."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy.special import expit

from motorlearn.curves.forms import named_form
from motorlearn.curves.population.arrays import Scale, scaled
from motorlearn.curves.population.bands import bands
from motorlearn.curves.population.layout import Layout
from motorlearn.curves.population.marginal import Learners
from motorlearn.curves.population.maximum import PopulationFit, fit_population, group_tests
from motorlearn.curves.population.table import (
    learner_arrays,
    refuse_too_few,
    usable_table,
    vary_rows,
)
from motorlearn.curves.population.terms import estimate_terms, variance_terms
from motorlearn.curves.single.rows import check_counts
from motorlearn.curves.status import LEAST_PROGRESS, MEANINGS
from motorlearn.exceptions import InputError
from motorlearn.results import Recipe, Result, register_record
from motorlearn.tables import Column, Table, estimates_table

GAUSSIAN_NODES, HIT_NODES = 15, 5
_MEANINGS = MEANINGS | {
    "asymptote not seen": (
        "Practice stopped before the curve of the population had flattened, so the asymptote is "
        "an extrapolation and trades off with gain and rate; compare the start and the end of "
        "practice instead, or practise longer."
    )
}


@register_record
@dataclass(frozen=True)
class PopulationCurve(Result):
    """Curve of a population and of its learners.

    ``estimates``: asymptote, ``gain`` or ``start``, and log rate of the first group; terms with a
    group in brackets are differences from it. ``variances``: variance, SD and correlations of
    what varies between learners (``other`` is empty on a variance row). ``participants``: each
    learner's parameters, drawn towards the population by how little the own rows say.
    ``group_tests``: likelihood-ratio tests of the group differences, where asked for.
    """

    estimates: pd.DataFrame
    variances: pd.DataFrame
    residual_sd: float
    loglik: float
    aic: float
    bic: float
    n: int
    participants: pd.DataFrame
    group_tests: pd.DataFrame
    form: str
    family: str
    amount: str
    first: float
    groups: tuple[str, ...]
    status: str
    meaning: str
    loglik_laplace: float
    quadrature_gap: float
    vcov: np.ndarray = field(repr=False)
    residuals: pd.DataFrame = field(repr=False)
    warnings: tuple[str, ...] = ()
    recipe: Recipe = field(default_factory=lambda: Recipe("fit_population_curve"), repr=False)

    @property
    def converged(self) -> bool:
        """Whether the maximum was confirmed."""
        return self.recipe.converged

    def cells(self) -> np.ndarray:
        """Asymptote, amount and log rate of each group, shape (groups, 3)."""
        values = self.estimates.set_index("term")["estimate"]
        first = [float(values[name]) for name in ("asymptote", self.amount, "log_rate")]
        cells = np.tile(first, (len(self.groups), 1))
        for row, name in enumerate(("asymptote", self.amount, "log_rate")):
            for k, group in enumerate(self.groups[1:], start=1):
                cells[k, row] += float(values.get(f"{name}[{group}]", 0.0))
        return cells

    def predict(self, practice, *, level: float = 0.95, draws: int = 2000, seed: int = 0):
        """Curve of each group with three bands.

        Returns
        -------
        DataFrame
            ``group, practice, estimate`` (curve of a learner with typical parameters),
            ``conf_low, conf_high`` (confidence in that curve), ``learner_low, learner_high``
            (where curves of the given share of learners lie), ``score_low, score_high`` (single
            scores; hits have none). For hits everything is the probability of a hit.
        """
        n = np.asarray(practice, float)
        check_counts(named_form(self.form), n, self.first)
        return bands(self, n, level, draws, seed)

    def tables(self) -> Sequence[Table]:
        """Estimates, what varies between learners, tests of group differences."""
        notes = [f"Status: {self.status}. {self.meaning}", *self.warnings]
        title = f"{named_form(self.form).title.capitalize()} population curve"
        shown = [
            estimates_table("population_curve", title, self.estimates, notes=notes),
            Table(
                "variances",
                "Variation between learners",
                (
                    Column("term"),
                    Column("other", "with"),
                    Column("variance", "(co)variance", "significant", decimals=4),
                    Column("sd", "SD", "significant", decimals=4),
                    Column("correlation", kind="number"),
                ),
                self.variances,
            ),
        ]
        if len(self.group_tests):
            shown.append(
                estimates_table("group_tests", "Tests of group differences", self.group_tests)
            )
        return tuple(shown)


def fit_population_curve(
    table: pd.DataFrame,
    outcome: str,
    *,
    practice: str,
    participant: str = "participant",
    form: str = "exponential",
    group: str | None = None,
    vary: Sequence[str] = ("asymptote", "gain", "rate"),
    amount: str = "gain",
    first: float = 1.0,
    attempts: str | None = None,
    level: float = 0.95,
    quadrature: int | None = None,
    tests: bool = False,
) -> PopulationCurve:
    r"""Fit one curve to a population of learners, each with parameters of its own.

    .. math:: y_{ij} = A_i + G_i\, f(n_{ij}; \exp \ell_i) + e_{ij}, \qquad
              (A_i, G_i, \ell_i) = \beta_{g(i)} + b_i, \quad b_i \sim N(0, \Psi)

    Maximum likelihood. Asymptote and amount are integrated out exactly; the log rate, where it
    varies, by adaptive Gauss-Hermite quadrature, which is checked with twice as many nodes. Hits
    have a binomial likelihood with the curve on the logit scale.

    **Which amount varies matters.** With ``amount="gain"`` the distance to the asymptote varies;
    a learner with a higher asymptote then also starts higher. With ``amount="start"`` the value
    at ``first`` varies on its own. Choose ``start`` where learners differ in what they bring
    along and converge, ``gain`` where they differ in level throughout; with both parameters
    varying and correlated the two are the same model, with one of them fixed they are not.

    Parameters
    ----------
    table : DataFrame
        One row per trial or block.
    outcome, practice, participant : str
        Columns of scores (or hits), practice counts and learners.
    form : {"exponential", "power"}
        Form of the curve.
    group : str, optional
        Column of groups; every parameter then differs between groups. The first level is the
        first category of a categorical column, else the first in sorted order.
    vary : sequence of str
        What varies between learners: any of ``asymptote``, the amount, ``rate``; its covariance
        is estimated in full.
    amount : {"gain", "start"}
        The second parameter.
    first : float
        Practice count of the first trial.
    attempts : str, optional
        Column of attempts behind the hits.
    level : float
        Confidence level.
    quadrature : int, optional
        Nodes per dimension: 15 for scores, 5 for hits.
    tests : bool
        Whether to test group differences by likelihood ratios; each takes another fit.

    Returns
    -------
    PopulationCurve
        ``gain`` is positive where the score falls with practice. Intervals use t quantiles with
        as many degrees of freedom as learners less groups where a parameter varies.

    Raises
    ------
    InputError, ColumnError
        For rows that cannot be used.
    FitError
        If no start leads to a maximum.

    References
    ----------
    Pinheiro, J. C., & Bates, D. M. (2000). Mixed-Effects Models in S and S-PLUS. Springer.
    https://doi.org/10.1007/b98882

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> block = np.tile(np.arange(1, 13), 20)
    >>> who = np.repeat(np.arange(20), 12)
    >>> level = 20 + rng.normal(0, 2, 20)[who]
    >>> error = level + 10 * np.exp(-0.4 * (block - 1)) + rng.normal(0, 1, 240)
    >>> rows = pd.DataFrame({"participant": who, "block": block, "error": error})
    >>> fit = fit_population_curve(rows, "error", practice="block", vary=("asymptote",))
    >>> fit.status, fit.estimates["term"].tolist()
    ('ok', ['asymptote', 'gain', 'log_rate'])
    """
    chosen = named_form(form)
    if len(chosen.rates) != 1:
        raise InputError(
            f"the {chosen.title} curve has two rates, which a population cannot tell apart",
            [form],
            "use exponential or power",
        )
    if amount not in ("gain", "start"):
        raise InputError("amount must be 'gain' or 'start'", [amount])
    rows = vary_rows(vary)
    frame, left_out = usable_table(table, outcome, practice, participant, group, attempts)
    check_counts(chosen, frame["n"].to_numpy(), first)
    data, names, groups = learner_arrays(frame, chosen, first, amount == "start")
    binomial = data.trials is not None
    layout = Layout(len(groups), (len(groups) > 1,) * 3, rows, not binomial)
    refuse_too_few(data, layout, groups)
    data, scale = (data, Scale(0.0, 1.0)) if binomial else scaled(data)
    nodes = quadrature or (HIT_NODES if binomial else GAUSSIAN_NODES)
    fit = fit_population(data, layout, nodes)
    tested = group_tests(data, fit, amount) if tests and len(groups) > 1 else None
    columns = {"outcome": outcome, "practice": practice, "participant": participant}
    columns |= {"group": group} if group else {}
    columns |= {"attempts": attempts} if attempts else {}
    options = {"form": form, "vary": tuple(vary), "amount": amount, "first": first, "level": level}
    recipe = _recipe(fit, columns, options, len(frame), left_out)
    return _result(data, fit, scale, frame, names, groups, tested, recipe)


def _result(data, fit: PopulationFit, scale, frame, names, groups, tested, recipe):
    amount, level = recipe.options["amount"], recipe.options["level"]
    binomial, start = data.trials is not None, data.start
    estimates, vcov = estimate_terms(fit, scale, groups, amount, level, len(names))
    own = scale.natural(fit.learners, start)
    status, unseen = _status(data, fit)
    warnings = (*fit.warnings, *unseen)
    k, n = fit.layout.size, len(frame)
    loglik = fit.summit.loglik - (0 if binomial else n * np.log(scale.unit))
    residuals = _residuals(data, scale, names, own)
    people = names.assign(
        n=data.count[:, 0].astype(int),
        asymptote=own[:, 0],
        **{amount: own[:, 1]},
        log_rate=own[:, 2],
        rate=np.exp(own[:, 2]),
    )
    return PopulationCurve(
        estimates=estimates,
        variances=variance_terms(fit, scale, amount),
        residual_sd=np.nan if binomial else float(np.exp(fit.summit.point[-1]) * scale.unit),
        loglik=float(loglik),
        aic=float(2 * k - 2 * loglik),
        bic=float(k * np.log(n) - 2 * loglik),
        n=n,
        participants=people,
        group_tests=tested if tested is not None else _NO_TESTS.copy(),
        form=data.form.name,
        family="binomial" if binomial else "gaussian",
        amount=amount,
        first=data.first,
        groups=groups,
        status=status,
        meaning=_MEANINGS[status],
        loglik_laplace=float(fit.laplace - (0 if binomial else n * np.log(scale.unit))),
        quadrature_gap=fit.gap,
        vcov=vcov,
        residuals=residuals,
        warnings=warnings,
        recipe=recipe,
    )


def _recipe(fit: PopulationFit, columns, options, n: int, left_out) -> Recipe:
    return Recipe(
        "fit_population_curve",
        columns=columns,
        options={**options, "quadrature": fit.nodes},
        n=n,
        left_out=left_out,
        engine=fit.engine,
        converged=fit.summit.converged,
        message=fit.message,
    )


_NO_TESTS = pd.DataFrame(columns=["term", "df", "statistic", "p"])


def _residuals(data: Learners, scale: Scale, names: pd.DataFrame, own) -> pd.DataFrame:
    """Rows with each learner's own curve taken off."""
    inside = data.used > 0
    who, _ = np.nonzero(inside)
    fitted = _fitted(data, own)[inside]
    outcome = (data.y * scale.unit + scale.middle)[inside]
    return pd.DataFrame(
        {
            "participant": names["participant"].to_numpy()[who],
            "group": names["group"].to_numpy()[who],
            "practice": data.n[inside],
            "outcome": outcome,
            "fitted": fitted,
            "residual": outcome - fitted,
        }
    )


def _fitted(data: Learners, own) -> np.ndarray:
    """Each learner's own curve at the rows; for hits the expected count."""
    basis, _ = data.fall(own[:, [2]])
    basis = basis[:, 0]
    rest = 1 - basis if data.start else 1.0
    height = own[:, [0]] * rest + own[:, [1]] * basis
    return height if data.trials is None else data.trials * expit(height)


def _status(data: Learners, fit: PopulationFit) -> tuple[str, tuple[str, ...]]:
    inside = data.used > 0
    rate = np.exp(fit.layout.cells(fit.summit.point)[:, 2])
    ends = np.array([data.n[inside].min(), data.n[inside].max()])
    drop = data.form.log_basis(ends, [1.0], data.first)
    progress = rate * (drop[0] - drop[1])
    low, high = data.form.bounds(np.unique(data.n[inside]))[0]
    if np.any((rate <= 10 * low) | (rate >= high)):
        return "rate at a bound", ()
    if np.any(progress < LEAST_PROGRESS):
        return "asymptote not seen", ()
    return "ok", ()
