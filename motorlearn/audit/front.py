"""``check_assumptions``: one audit for every result the toolkit makes."""

from collections.abc import Hashable, Iterable, Sequence
from functools import singledispatch

from motorlearn.audit.agreement import agreement_checks
from motorlearn.audit.comparison.conditions import condition_checks
from motorlearn.audit.comparison.equivalence import declared_bound_checks, equivalence_checks
from motorlearn.audit.comparison.groups import comparison_checks, comparison_residuals
from motorlearn.audit.comparison.paired import paired_checks
from motorlearn.audit.comparison.phase_model import phase_model
from motorlearn.audit.comparison.repeated import repeated_checks
from motorlearn.audit.context import Context
from motorlearn.audit.curves import curve_checks, curve_residuals, many_curves_checks
from motorlearn.audit.guides import with_own_thresholds
from motorlearn.audit.mixed.counts import CountAudit
from motorlearn.audit.mixed.families import FamilyAudit
from motorlearn.audit.mixed.linear import LinearAudit
from motorlearn.audit.mixed.model import MixedModel
from motorlearn.audit.mixed.simulated import diagnose
from motorlearn.audit.population import population_checks, population_residuals
from motorlearn.audit.report import RESIDUALS, Audit, assemble
from motorlearn.audit.single_case import single_case_checks
from motorlearn.audit.variability import VariabilityAudit
from motorlearn.compare import BlockComparison, PhaseComparison, SingleCase
from motorlearn.curves import CurveFit, CurveFits, PopulationCurve
from motorlearn.design import Design, Threshold
from motorlearn.exceptions import InputError
from motorlearn.linear import Equivalence
from motorlearn.measures import Agreement
from motorlearn.mixed import MixedFit, VariabilityFit
from motorlearn.mixed.whole import require_whole
from motorlearn.results import Recipe
from motorlearn.trials import Study


def check_assumptions(
    result: object,
    *,
    study: Study | None = None,
    design: Design | None = None,
    thresholds: Iterable[Threshold] | None = None,
    phases: Sequence[Hashable] | None = None,
    remedies: bool = True,
    simulations: int = 1000,
    seed: int = 0,
) -> Audit:
    """Check the assumptions behind a result, grade each one and run the remedies beside it.

    Grades are ``fine``, ``look`` and ``act``. They come from the size of a departure; a test can
    only excuse a departure that chance gives often with so few data. Nothing is switched: each
    remedy stands beside the original, with both conclusions.

    Parameters
    ----------
    result : PhaseComparison, BlockComparison, MixedFit, CurveFit and others
        What is to be believed; also CurveFits, PopulationCurve, Agreement, Equivalence.
    study : Study, optional
        The study it came from: plan, allocation and trials.
    design : Design, optional
        The plan alone; taken from the study otherwise.
    thresholds : iterable of Threshold, optional
        Own thresholds with their source; taken from the plan otherwise.
    phases : sequence, optional
        Tests to look at in a comparison of phases; by default all but the baseline.
    remedies : bool
        Whether to run the remedies; without them the audit is faster.
    simulations : int
        Simulated or resampled data sets per check that needs them.
    seed : int
        Seed of those.

    Returns
    -------
    Audit

    Raises
    ------
    InputError
        If the kind of result is unknown, or a phase or a threshold is.

    References
    ----------
    Each row of the table names the source of its own guide.

    Examples
    --------
    >>> import numpy as np, pandas as pd, motorlearn as ml
    >>> rng = np.random.default_rng(1)
    >>> person = np.repeat(np.arange(40), 2)
    >>> scores = pd.DataFrame({
    ...     "participant": person,
    ...     "group": np.where(person % 2, "random", "blocked"),
    ...     "phase": ["pretest", "retention"] * 40,
    ...     "radial_error": rng.normal(30, 4, 80) + 5 * rng.normal(size=40)[person],
    ... })
    >>> found = ml.compare_phases(scores, "radial_error", group="group", baseline="pretest")
    >>> audit = check_assumptions(found)
    >>> set(audit.table["grade"]) <= {"fine", "look", "act"}
    True
    """
    if design is None and study is not None:
        design = study.design
    own = thresholds if thresholds is not None else design.thresholds if design else ()
    context = Context(with_own_thresholds(own), design, study, remedies, seed, simulations)
    return audit_of(result, context, phases)


@singledispatch
def audit_of(result: object, context: Context, phases: Sequence[Hashable] | None) -> Audit:
    """Audit of one kind of result; further kinds register here."""
    raise InputError(
        "there is no assumption check for this kind of result",
        [type(result).__name__],
        "give what compare_phases, compare_blocks, fit_mixed, fit_variability, fit_curve, "
        "fit_curves, fit_population_curve, rater_agreement or an equivalence test returned",
    )


@audit_of.register
def _(result: PhaseComparison, context: Context, phases: Sequence[Hashable] | None) -> Audit:
    known = result.recipe.options["phases"]
    unknown = [phase for phase in phases or () if phase not in known]
    if unknown:
        raise InputError("the comparison has no such phase", unknown, f"it has {', '.join(known)}")
    baseline = result.recipe.options["baseline"]
    chosen = tuple(phases) if phases else tuple(p for p in known if p != baseline)
    if result.recipe.options.get("within"):
        recipe = audit_recipe(result.recipe, context, n=len(result.scores), phases=chosen)
        return assemble(condition_checks(result, context, chosen), RESIDUALS.frame(), recipe)
    models = [phase_model(result, phase) for phase in chosen]
    checks = [
        *comparison_checks(result, context, models),
        *paired_checks(result, context, chosen),
        *declared_bound_checks(result, context),
        *repeated_checks(result, context),
    ]
    recipe = audit_recipe(result.recipe, context, n=len(result.scores), phases=chosen)
    return assemble(checks, comparison_residuals(models, context), recipe)


@audit_of.register
def _(result: BlockComparison, context: Context, phases: Sequence[Hashable] | None) -> Audit:
    if result.recipe.options.get("within"):
        raise InputError(
            "blocks under conditions within people have no assumption check of their own",
            remedy="check the comparison of tests, and read epsilon in its analysis of variance",
        )
    recipe = audit_recipe(result.recipe, context, n=len(result.scores))
    return assemble(repeated_checks(result, context), RESIDUALS.frame(), recipe)


@audit_of.register
def _(result: MixedFit, context: Context, phases: Sequence[Hashable] | None) -> Audit:
    require_whole(result)
    if result.family not in ("gaussian", "lognormal", "binomial"):
        own = FamilyAudit(result, context).checks()
        recipe = audit_recipe(result.recipe, context, n=result.n)
        return assemble((("mixed model", check) for check in own), RESIDUALS.frame(), recipe)
    model = MixedModel(result)
    diagnosis = diagnose(model, simulations=min(context.simulations, 500), seed=context.seed)
    checks = (CountAudit if model.binomial else LinearAudit)(model, diagnosis, context).checks()
    recipe = audit_recipe(result.recipe, context, n=result.n)
    return assemble((("mixed model", check) for check in checks), diagnosis.residuals, recipe)


@audit_of.register
def _(result: VariabilityFit, context: Context, phases: Sequence[Hashable] | None) -> Audit:
    recipe = audit_recipe(result.recipe, context, n=result.n)
    checks = (("model of spread", check) for check in VariabilityAudit(result, context).checks())
    return assemble(checks, RESIDUALS.frame(), recipe)


@audit_of.register
def _(result: CurveFit, context: Context, phases: Sequence[Hashable] | None) -> Audit:
    recipe = audit_recipe(result.recipe, context, n=result.n)
    name = f"{result.form} curve"
    checks = ((name, check) for check in curve_checks(result, context))
    return assemble(checks, curve_residuals(result), recipe)


@audit_of.register
def _(result: CurveFits, context: Context, phases: Sequence[Hashable] | None) -> Audit:
    recipe = audit_recipe(result.recipe, context, n=len(result.preferred))
    checks = (("learners' curves", check) for check in many_curves_checks(result, context))
    return assemble(checks, RESIDUALS.frame(), recipe)


@audit_of.register
def _(result: PopulationCurve, context: Context, phases: Sequence[Hashable] | None) -> Audit:
    recipe = audit_recipe(result.recipe, context, n=result.n)
    checks = (("population curve", check) for check in population_checks(result, context))
    residuals = population_residuals(result)[list(RESIDUALS.names)]
    return assemble(checks, residuals, recipe)


@audit_of.register
def _(result: Agreement, context: Context, phases: Sequence[Hashable] | None) -> Audit:
    recipe = audit_recipe(result.recipe, context, n=result.recipe.n)
    checks = (("rater agreement", check) for check in agreement_checks(result, context))
    return assemble(checks, RESIDUALS.frame(), recipe)


@audit_of.register
def _(result: SingleCase, context: Context, phases: Sequence[Hashable] | None) -> Audit:
    recipe = audit_recipe(result.recipe, context, n=result.recipe.n)
    checks = (("single case", check) for check in single_case_checks(result, context))
    return assemble(checks, RESIDUALS.frame(), recipe)


@audit_of.register
def _(result: Equivalence, context: Context, phases: Sequence[Hashable] | None) -> Audit:
    recipe = audit_recipe(Recipe("equivalence_test"), context, n=0)
    checks = (("equivalence", check) for check in equivalence_checks(result, context))
    return assemble(checks, RESIDUALS.frame(), recipe)


def audit_recipe(audited: Recipe, context: Context, *, n: int, **options: object) -> Recipe:
    """Recipe of an audit: what was audited and with which thresholds of its own."""
    own = {guide.name: guide.text for guide in context.guides.values() if guide.own}
    return Recipe(
        call="check_assumptions",
        columns=dict(audited.columns),
        options={
            "audited": audited.call,
            "effect": audited.options.get("effect", ""),
            "remedies": context.remedies,
            "simulations": context.simulations,
            "own_thresholds": own,
            **options,
        },
        n=n,
        left_out=audited.left_out,
        seed=context.seed,
        engine="grades from sizes; remedies beside the original",
    )
