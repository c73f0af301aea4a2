"""Acquisition, retention and transfer compared between groups."""

from collections.abc import Hashable, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
import pandas as pd

from motorlearn.compare.between import (
    Comparing,
    adjust_for_baseline,
    adjusted_contrasts,
    adjusted_mean_frame,
    adjusted_mean_rows,
    contrast_frame,
    describe_means,
    equivalence_frame,
    omnibus_frame,
    omnibus_rows,
    unadjusted_contrasts,
)
from motorlearn.compare.comparison import CONTRAST_COLUMNS, PhaseComparison
from motorlearn.compare.limits import design_limits
from motorlearn.compare.mixed_route import WHEN_WHICH, mixed_contrasts
from motorlearn.compare.participants import Columns, PhaseScores, score_participants
from motorlearn.compare.pooling import refuse_pooled_trials
from motorlearn.compare.within import (
    changes_between_groups,
    mixed_anova,
    paired_changes,
    phase_pairs,
)
from motorlearn.exceptions import InputError, RefusedError
from motorlearn.measures.cards import better_direction
from motorlearn.results import Recipe
from motorlearn.vocabulary import BETTER

EFFECTS = ("difference", "ratio")
ROUTES = ("ancova", "mixed")
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
    unit: str = "participant",
    route: str = "ancova",
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
    unit : {"participant"}
        ``"trial"`` is refused, with the inflation it would bring.
    route : {"ancova", "mixed"}
        ``"mixed"`` adds the contrasts of a mixed model on all available rows.

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
    columns = Columns(outcome, group, phase, participant, attempts)
    _check_options(effect=effect, route=route, adjust=adjust, pairs=pairs, unit=unit)
    _check_numbers(level, better, equivalence, effect)
    data = score_participants(table, columns, phases=phases, groups=groups)
    _check_level("baseline", baseline, data.phases)
    _check_level("reference", reference, data.groups)
    for name in family or ():
        _check_level("family", name, data.phases)
    if unit == "trial":
        refuse_pooled_trials(table, columns, phase=data.phases[-1], baseline=baseline)
    if effect == "ratio":
        _refuse_logarithms(data)
    comparing = Comparing(data, _pairs(data.groups, reference, pairs), effect, level, baseline)
    recipe = Recipe(
        call="compare_phases",
        columns=columns.used(),
        options={
            "baseline": baseline,
            "phases": data.phases,
            "groups": data.groups,
            "reference": reference if reference is not None else data.groups[0],
            "pairs": pairs,
            "effect": effect,
            "better": better or better_direction(outcome),
            "level": level,
            "adjust": adjust,
            "family": None if family is None else tuple(family),
            "equivalence": equivalence,
            "unit": unit,
            "route": route,
        },
        n=data.rows,
        left_out=data.left_out,
        engine=ENGINE,
    )
    result = _compare(comparing, recipe)
    return _with_mixed_model(result, table, columns, comparing) if route == "mixed" else result


def _compare(comparing: Comparing, recipe: Recipe) -> PhaseComparison:
    data, baseline = comparing.data, comparing.baseline
    contrasts, means, omnibus = [], [], []
    for phase in data.phases:
        adjusted = None
        if baseline is not None and phase != baseline and len(data.groups) > 1:
            adjusted = adjust_for_baseline(comparing, phase)
        contrasts += unadjusted_contrasts(comparing, phase)
        omnibus += omnibus_rows(comparing, phase, adjusted)
        if adjusted is not None:
            contrasts += adjusted_contrasts(comparing, adjusted)
            means += adjusted_mean_rows(comparing, adjusted)
    options = recipe.options
    frame = contrast_frame(contrasts, adjust_by=options["adjust"], family=options["family"])
    anova = mixed_anova(comparing)
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
        equivalence=equivalence_frame(comparing, frame, options["equivalence"]),
        mixed=pd.DataFrame(columns=list(CONTRAST_COLUMNS)),
        statements=design_limits(data, baseline),
        recipe=recipe,
    )


def _with_mixed_model(
    result: PhaseComparison, table: pd.DataFrame, columns: Columns, comparing: Comparing
) -> PhaseComparison:
    options = result.recipe.options
    found = mixed_contrasts(
        table, columns, comparing, adjust_by=options["adjust"], family=options["family"]
    )
    recipe = replace(
        result.recipe,
        engine=ENGINE + "; mixed model by restricted maximum likelihood or Laplace",
        converged=found.converged,
        message=found.message,
    )
    statements = (*result.statements, WHEN_WHICH)
    return replace(result, mixed=found.frame, statements=statements, recipe=recipe)


def _pairs(
    groups: tuple[Hashable, ...], reference: Hashable | None, pairs: str
) -> tuple[tuple[Hashable, Hashable], ...]:
    if pairs == "all":
        return tuple((second, first) for first, second in combinations(groups, 2))
    base = groups[0] if reference is None else reference
    return tuple((name, base) for name in groups if name != base)


_CHOICES = {
    "effect": EFFECTS,
    "route": ROUTES,
    "adjust": ("holm", "none"),
    "pairs": ("reference", "all"),
    "unit": ("participant", "trial"),
}


def _check_options(**given: str) -> None:
    for option, value in given.items():
        if value not in _CHOICES[option]:
            raise InputError(
                f"option {option!r} has no such choice",
                [value],
                "use " + " or ".join(repr(choice) for choice in _CHOICES[option]),
            )


def _check_numbers(
    level: float, better: str | None, equivalence: float | None, effect: str
) -> None:
    if not 0 < level < 1:
        raise InputError("a confidence level lies between 0 and 1", [level], "use for example 0.95")
    if better is not None and better not in BETTER:
        raise InputError("'better' must be 'lower' or 'higher'", [better])
    if equivalence is not None and not (
        equivalence > 0 and (effect != "ratio" or equivalence != 1)
    ):
        raise InputError(
            "the bound of equivalence must be positive, and a ratio other than 1",
            [equivalence],
            "give the smallest effect of interest that was declared beforehand",
        )


def _check_level(option: str, value: Hashable | None, known: tuple[Hashable, ...]) -> None:
    if value is not None and value not in known:
        raise InputError(
            f"{option} names something that the table does not hold",
            [value],
            f"it holds {', '.join(map(str, known))}",
        )


def _refuse_logarithms(data: PhaseScores) -> None:
    people, places = np.nonzero(~np.isnan(data.scores) & ~(data.scores > 0))
    if people.size:
        which = sorted(
            {f"{data.participants[i]} at {data.phases[j]}" for i, j in zip(people, places)}
        )
        raise RefusedError(
            "a ratio needs scores above zero, and these are not: "
            + ", ".join(which[:5])
            + (f" and {len(which) - 5} more" if len(which) > 5 else "")
            + "; use effect='difference', or the mixed model for hits."
        )
