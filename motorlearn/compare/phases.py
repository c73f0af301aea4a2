"""Acquisition, retention and transfer compared between groups."""

from collections.abc import Hashable, Sequence
from dataclasses import replace

import pandas as pd

from motorlearn.compare.between import (
    Adjusted,
    Comparing,
    adjust_for_baseline,
    adjusted_contrasts,
    adjusted_mean_frame,
    adjusted_mean_rows,
    contrast_frame,
    describe_means,
    unadjusted_contrasts,
)
from motorlearn.compare.cluster_route import class_contrasts
from motorlearn.compare.clusters import cost_and_limits, unit_scores
from motorlearn.compare.comparison import CONTRAST, PhaseComparison
from motorlearn.compare.conditions.comparing import compare_conditions, within_of
from motorlearn.compare.covariates import all_left_out, covariates_of, people_frame
from motorlearn.compare.crossing import Factors, Placed, crossing_of, placed_groups
from motorlearn.compare.equivalence import equivalence_frame
from motorlearn.compare.factorial import factorial_frames
from motorlearn.compare.limits import Limit
from motorlearn.compare.mixed_route import mixed_contrasts
from motorlearn.compare.omnibus import omnibus_frame, omnibus_rows
from motorlearn.compare.options import Options, checked_out_of
from motorlearn.compare.participants import Columns, score_participants
from motorlearn.compare.pooling import refuse_pooled_trials
from motorlearn.compare.posthoc import all_pairs
from motorlearn.compare.spread import few_people, spread_still_pooled, unequal_spread
from motorlearn.compare.verdicts import verdict_frame
from motorlearn.compare.within import (
    changes_between_groups,
    mixed_anova,
    paired_changes,
    phase_pairs,
)
from motorlearn.exceptions import InputError
from motorlearn.results import Recipe
from motorlearn.rows import Row

ENGINE = (
    "one score per participant and phase; Welch t, analysis of covariance and type III analysis "
    "of variance by least squares; Huynh-Feldt epsilon in Lecoutre's form, truncated at 1"
)


def compare_phases(
    table: pd.DataFrame,
    outcome: str,
    *,
    group: str | Sequence[str] | None,
    phase: str = "phase",
    participant: str = "participant",
    baseline: Hashable | None = None,
    attempts: str | None = None,
    out_of: float | None = None,
    phases: Sequence[Hashable] | None = None,
    groups: Sequence[Hashable] | None = None,
    reference: Hashable | None = None,
    pairs: str = "reference",
    effect: str = "difference",
    better: str | None = None,
    level: float = 0.95,
    adjust: str = "holm",
    family: Sequence[Hashable] | None = None,
    equivalence: float | None = None,
    equivalence_unit: str = "score",
    unit: str = "participant",
    route: str = "ancova",
    variance: str = "equal",
    within: str | Sequence[str] | None = None,
    period: str | None = None,
    covariates: Sequence[str] = (),
    factors: Factors | None = None,
    squares: str = "III",
    anova_phases: Sequence[Hashable] | None = None,
) -> PhaseComparison:
    """Compare groups in every phase of a study, one score per participant and phase.

    Each participant's trials of a phase become one score: their mean, or hits by attempts. Groups
    are compared at each phase by Welch's t and, where a baseline is named, by an analysis of
    covariance ``score = group + slope · baseline``; over phases by a mixed analysis of variance
    (type III); within groups by paired changes. The adjusted comparison of a delayed test answers
    whether groups that started alike end differently; the analysis of variance asks whether they
    change differently over all phases, on complete cases only.

    Parameters
    ----------
    table : DataFrame
        Trials, or rows that are aggregated already; rows with a reason in ``void`` do not count.
    outcome : str
        Column of the score; with ``attempts`` the column of hits.
    group : str, pair of str or None
        Column of the group; None for a programme with one group; two columns of factors, such as
        ``["order", "feedback"]``, whose cells are then the groups.
    phase, participant : str
        Columns of the phase and the person.
    baseline : hashable, optional
        Phase to adjust for, for example ``"pretest"``.
    attempts : str, optional
        Column with the attempts that the hits of a row are counted from.
    out_of : float, optional
        Tell hits by attempts as hits of so many, for example 20; otherwise they are rates.
    phases, groups : sequence, optional
        Levels to use, in this order; otherwise all, phases in the order of a study, groups in
        ascending or categorical order.
    reference : hashable, optional
        Group that the others are compared with; the first by default.
    pairs : {"reference", "all"}
        Contrasts against the reference, or every pair.
    effect : {"difference", "ratio"}
        A ratio is an analysis of logarithms: estimates are ratios, standard errors and g are on
        the log scale.
    better : {"lower", "higher"}, optional
        Direction in which the score is better; known for standard outcomes.
    level : float
        Level of the intervals.
    adjust : {"holm", "none"}
        Correction within a family.
    family : sequence, optional
        Phases whose contrasts form one declared family; by default each phase is its own.
    equivalence : float, optional
        Bound declared beforehand, in the unit of the score; for a ratio 0.9 and 1 / 0.9 are the
        same bound.
    equivalence_unit : {"score", "sd", "baseline sd", "average sd"}
        The bound is in the unit of the score or in standard deviations of participants: pooled
        within groups at that phase, pooled within groups at the baseline, or the root mean
        variance of the groups compared.
    unit : str
        What was allocated: ``"participant"``, or the column of the classes, teams or training
        groups that were allocated as a whole: their means are compared, and ``clusters`` tells
        what that costs. ``"trial"`` is refused, with the inflation it would bring.
    route : {"ancova", "mixed"}
        ``"mixed"`` adds the contrasts of a mixed model on all available rows.
    variance : {"equal", "by group"}
        Residual variance of the analysis of covariance: one, or one for each group with
        Satterthwaite's degrees of freedom; of the mixed model of scores likewise, by leaving
        participants out. Choose it beforehand where groups differ in size.
    within : str or sequence of str, optional
        Column of the conditions that each person meets, or two such columns that are crossed: they
        are compared by the differences of people, and stand in ``group`` and ``reference`` of the
        contrasts; ``groups`` and ``reference`` name their levels. ``group`` is then the group
        between people, such as the sequence of a crossover, or None.
    period : str, optional
        With ``within``: column of the period, or of the task or hand that changes places with the
        condition; its differences are taken out.
    covariates : sequence of str
        Columns that describe people (age, site, strata), numbers or labels: adjusted for beside
        the baseline, and in the analysis of variance.
    factors : mapping, optional
        Instead of two columns: by factor, by level in order, the groups at that level.
    squares : {"III", "II"}
        Sums of squares of F tests of factors and of the analysis of variance.
    anova_phases : sequence, optional
        Phases of the analysis of variance and of ``posthoc``, for example the tests without
        practice; by default all.

    Returns
    -------
    PhaseComparison

    Raises
    ------
    ColumnError
        If a column is absent.
    InputError
        If the table or an option cannot be used; the message says what to do.
    RefusedError
        If trials are to be the unit, or a ratio is asked for with scores that are not positive.

    References
    ----------
    Vickers, A. J., & Altman, D. G. (2001). BMJ, 323, 1123-1124.
    https://doi.org/10.1136/bmj.323.7321.1123
    Nieuwenhuis, S., Forstmann, B. U., & Wagenmakers, E.-J. (2011). Nature Neuroscience, 14,
    1105-1107. https://doi.org/10.1038/nn.2886

    Examples
    --------
    >>> scores = pd.DataFrame(
    ...     {
    ...         "participant": list("abcdef") * 2,
    ...         "group": ["blocked", "random"] * 6,
    ...         "phase": ["pretest"] * 6 + ["retention"] * 6,
    ...         "radial_error": [38, 36, 41, 40, 35, 37, 28, 25, 31, 26, 27, 25.0],
    ...     }
    ... )
    >>> result = compare_phases(scores, "radial_error", group="group", baseline="pretest")
    >>> row = result.contrasts.query("phase == 'retention' and adjusted").iloc[0]
    >>> row["group"], row["reference"], round(float(row["estimate"]), 3)
    ('random', 'blocked', -3.154)
    """
    placed = placed_groups(table, group, groups, factors)
    told = checked_out_of(out_of, attempts)
    columns = Columns(outcome, placed.group, phase, participant, attempts, told)
    options = Options(
        baseline=baseline,
        reference=reference,
        pairs=pairs,
        effect=effect,
        better=better,
        level=level,
        adjust=adjust,
        family=family,
        equivalence=equivalence,
        equivalence_unit=equivalence_unit,
        unit=unit,
        route=route,
        variance=variance,
        squares=squares,
        covariates=covariates,
        anova_phases=anova_phases,
    )
    if within is None:
        return _of_placed(placed, columns, options, phases)
    if placed.factors is not None or options.covariates:
        raise InputError(
            "conditions within people do not go with two factors or covariates between people",
            [*(placed.factors or ()), *options.covariates],
            "compare the conditions alone, or the factors alone",
        )
    people = within_of(within, period, placed.group, unit)
    columns = replace(columns, group=None)
    return compare_conditions(placed.table, columns, options, people, phases=phases, groups=groups)


def _of_placed(
    placed: Placed, columns: Columns, options: Options, phases: Sequence[Hashable] | None
) -> PhaseComparison:
    table, factors = placed.table, placed.factors
    data = score_participants(table, columns, phases=phases, groups=placed.groups)
    options.check_against(data)
    if options.unit == "trial":
        refuse_pooled_trials(table, columns, phase=data.phases[-1], baseline=options.baseline)
    data, clusters = unit_scores(table, columns, data, options.unit)
    if clusters is not None and options.covariates:
        raise InputError(
            "covariates of people do not go with classes that were allocated as a whole",
            list(options.covariates),
            "leave them out, or give each class its mean in a table of class means",
        )
    comparing = Comparing(
        data,
        options.contrasts(data.groups),
        options.effect,
        options.level,
        options.baseline,
        options.variance,
        clusters=clusters,
        crossing=None if factors is None else crossing_of(factors, data.groups),
        covariates=covariates_of(table, columns, data, options.covariates, tuple(factors or ())),
    )
    recipe = Recipe(
        call="compare_phases",
        columns=columns.used(),
        options=options.recorded(data, columns.outcome)
        | {"out_of": columns.out_of, "factors": factors},
        n=data.rows,
        left_out=all_left_out(data, comparing.covariates),
        engine=ENGINE,
    )
    result = _compare(comparing, recipe)
    if options.route == "mixed":
        return _with_mixed_model(result, table, columns, comparing)
    return result


def _compare(comparing: Comparing, recipe: Recipe) -> PhaseComparison:
    data, baseline = comparing.data, comparing.baseline
    models, contrasts, means, omnibus = _by_phase(comparing)
    bound = {"unit": recipe.options["equivalence_unit"], "bound": recipe.options["equivalence"]}
    options = recipe.options
    factorial = factorial_frames(comparing, models, options["squares"])
    frame = contrast_frame(contrasts, adjust_by=options["adjust"], family=options["family"])
    repeated = comparing.over(options["anova_phases"])
    anova = mixed_anova(repeated, squares=options["squares"])
    cost, limits = cost_and_limits(comparing.clusters, data, baseline)
    steps = phase_pairs(data.phases, baseline) if len(data.phases) > 1 else []
    return PhaseComparison(
        scores=data.tidy(),
        means=describe_means(comparing),
        adjusted_means=adjusted_mean_frame(means),
        contrasts=frame,
        omnibus=omnibus_frame([*omnibus, *factorial.tests]),
        interaction=changes_between_groups(comparing, steps, anova),
        anova=anova,
        paired=paired_changes(comparing, steps),
        posthoc=all_pairs(repeated),
        equivalence=equivalence_frame(comparing, frame, effects=factorial.effects, **bound),
        mixed=CONTRAST.frame(),
        limits=(
            *limits,
            *unequal_spread(comparing, models, options["route"]),
        ),
        recipe=recipe,
        effects=factorial.effects,
        marginal_means=factorial.means,
        slopes=factorial.slopes,
        verdicts=verdict_frame(
            comparing, frame, factorial.effects, better=options["better"], **bound
        ),
        people=people_frame(comparing.covariates, data),
        clusters=cost,
    )


def _by_phase(
    comparing: Comparing,
) -> tuple[list[Adjusted], list[Row], list[Row], list[Row]]:
    """Analyses of covariance, contrasts, adjusted means and tests of all groups, phase by phase."""
    contrasts, means, omnibus = [], [], []
    models: list[Adjusted] = []
    for phase in comparing.data.phases:
        adjusted = None
        if comparing.adjusts(phase):
            adjusted = adjust_for_baseline(comparing, phase)
            models.append(adjusted)
        contrasts += unadjusted_contrasts(comparing, phase)
        omnibus += omnibus_rows(comparing, phase, adjusted)
        if adjusted is not None:
            contrasts += adjusted_contrasts(comparing, adjusted)
            means += adjusted_mean_rows(comparing, adjusted)
    return models, contrasts, means, omnibus


def _with_mixed_model(
    result: PhaseComparison, table: pd.DataFrame, columns: Columns, comparing: Comparing
) -> PhaseComparison:
    options = result.recipe.options
    route = mixed_contrasts if comparing.clusters is None else class_contrasts
    found = route(table, columns, comparing, adjust_by=options["adjust"], family=options["family"])
    found = replace(found, frame=_told_out_of(found.frame, columns.out_of))
    recipe = replace(
        result.recipe,
        engine=ENGINE + "; mixed model by restricted maximum likelihood or Laplace",
        converged=found.converged,
        message=found.message,
    )
    hits = "odds ratio" in set(found.frame["effect"])
    pooled = hits or comparing.clusters is not None
    few = (*few_people(comparing, hits), *(spread_still_pooled(comparing) if pooled else ()))
    judged = equivalence_frame(
        comparing, found.frame, bound=options["equivalence"], unit=options["equivalence_unit"]
    )
    return replace(
        result,
        mixed=found.frame,
        equivalence=pd.concat([result.equivalence, judged], ignore_index=True)
        if len(judged)
        else result.equivalence,
        limits=(*result.limits, *few, Limit("two routes")),
        recipe=recipe,
    )


def _told_out_of(frame: pd.DataFrame, out_of: float | None) -> pd.DataFrame:
    """Differences of probabilities as hits of so many, where hits are told so."""
    rows = frame["effect"] == "difference"
    if out_of is None or not rows.any():
        return frame
    told = frame.copy()
    names = ["estimate", "std_error", "conf_low", "conf_high"]
    told.loc[rows, names] = told.loc[rows, names] * out_of
    return told
