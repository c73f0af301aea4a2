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
    omnibus_frame,
    omnibus_rows,
    unadjusted_contrasts,
)
from motorlearn.compare.cluster_route import class_contrasts
from motorlearn.compare.clusters import cost_and_limits, unit_scores
from motorlearn.compare.comparison import CONTRAST, PhaseComparison
from motorlearn.compare.conditions.comparing import compare_conditions, within_of
from motorlearn.compare.equivalence import equivalence_frame
from motorlearn.compare.limits import Limit
from motorlearn.compare.mixed_route import mixed_contrasts
from motorlearn.compare.options import Options, checked_out_of
from motorlearn.compare.participants import Columns, score_participants
from motorlearn.compare.pooling import refuse_pooled_trials
from motorlearn.compare.posthoc import all_pairs
from motorlearn.compare.spread import few_people, spread_still_pooled, unequal_spread
from motorlearn.compare.within import (
    changes_between_groups,
    mixed_anova,
    paired_changes,
    phase_pairs,
)
from motorlearn.results import Recipe

ENGINE = (
    "one score per participant and phase; Welch t, analysis of covariance and type III analysis "
    "of variance by least squares; Huynh-Feldt epsilon in Lecoutre's form, truncated at 1"
)


def compare_phases(
    table: pd.DataFrame,
    outcome: str,
    *,
    group: str | None,
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
    group : str or None
        Column of the group; None for a programme with one group.
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
    equivalence_unit : {"score", "sd"}
        ``"sd"``: the bound is in pooled standard deviations of participants at that phase.
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
    columns = Columns(
        outcome, group, phase, participant, attempts, checked_out_of(out_of, attempts)
    )
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
    )
    if within is not None:
        people = within_of(within, period, group, unit)
        columns = replace(columns, group=None)
        return compare_conditions(table, columns, options, people, phases=phases, groups=groups)
    data = score_participants(table, columns, phases=phases, groups=groups)
    options.check_against(data)
    if unit == "trial":
        refuse_pooled_trials(table, columns, phase=data.phases[-1], baseline=baseline)
    data, clusters = unit_scores(table, columns, data, unit)
    pairs_of_groups = options.contrasts(data.groups)
    comparing = Comparing(data, pairs_of_groups, effect, level, baseline, variance, clusters)
    recipe = Recipe(
        call="compare_phases",
        columns=columns.used(),
        options=options.recorded(data, outcome) | {"out_of": out_of},
        n=data.rows,
        left_out=data.left_out,
        engine=ENGINE,
    )
    result = _compare(comparing, recipe)
    return _with_mixed_model(result, table, columns, comparing) if route == "mixed" else result


def _compare(comparing: Comparing, recipe: Recipe) -> PhaseComparison:
    data, baseline = comparing.data, comparing.baseline
    contrasts, means, omnibus = [], [], []
    models: list[Adjusted] = []
    for phase in data.phases:
        adjusted = None
        if baseline is not None and phase != baseline and len(data.groups) > 1:
            adjusted = adjust_for_baseline(comparing, phase)
            models.append(adjusted)
        contrasts += unadjusted_contrasts(comparing, phase)
        omnibus += omnibus_rows(comparing, phase, adjusted)
        if adjusted is not None:
            contrasts += adjusted_contrasts(comparing, adjusted)
            means += adjusted_mean_rows(comparing, adjusted)
    options = recipe.options
    frame = contrast_frame(contrasts, adjust_by=options["adjust"], family=options["family"])
    anova = mixed_anova(comparing)
    cost, limits = cost_and_limits(comparing.clusters, data, baseline)
    steps = phase_pairs(data.phases, baseline) if len(data.phases) > 1 else []
    return PhaseComparison(
        scores=data.tidy(),
        means=describe_means(comparing),
        adjusted_means=adjusted_mean_frame(means),
        contrasts=frame,
        omnibus=omnibus_frame(omnibus),
        interaction=changes_between_groups(comparing, steps, anova),
        anova=anova,
        paired=paired_changes(comparing, steps),
        posthoc=all_pairs(comparing),
        equivalence=equivalence_frame(
            comparing, frame, options["equivalence"], unit=options["equivalence_unit"]
        ),
        mixed=CONTRAST.frame(),
        limits=(
            *limits,
            *unequal_spread(comparing, models, options["route"]),
        ),
        recipe=recipe,
        clusters=cost,
    )


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
        comparing, found.frame, options["equivalence"], unit=options["equivalence_unit"]
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
