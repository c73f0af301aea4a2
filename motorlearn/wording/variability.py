"""What a model of level and spread says of a condition, in sentences."""

from collections.abc import Mapping
from itertools import combinations
from typing import Any

import numpy as np

from motorlearn import digits
from motorlearn.analysis.variability import AT_TEST, CHANGE, SpreadBeside
from motorlearn.design import Design
from motorlearn.mixed import VariabilityFit
from motorlearn.wording.tense import told as tense

BESIDE = (
    "This spread is that of a person's scores about where they lie at the time, as variable error "
    "is; in two dimensions bivariate variable error stands beside it."
)


def variability_sentences(
    fit: VariabilityFit, by: str, *, within: str | None = None
) -> tuple[str, ...]:
    """Say how variable performers are under each condition, with ratios and their intervals.

    Parameters
    ----------
    fit : VariabilityFit
        A model of level and spread.
    by : str
        Category of the spread whose levels are compared.
    within : str, optional
        Category within whose levels they are.

    Raises
    ------
    InputError
        If the spread does not follow one of the columns.

    Examples
    --------
    >>> import pandas as pd
    >>> from motorlearn.mixed import fit_variability
    >>> rng = np.random.default_rng(1)
    >>> person = np.repeat(np.arange(20), 20)
    >>> table = pd.DataFrame({
    ...     "participant": person,
    ...     "group": np.where(person < 10, "blocked", "random"),
    ...     "radial_error": rng.normal(25, np.where(person < 10, 2, 4)),
    ... })
    >>> fit = fit_variability("radial_error ~ group", table, spread="group")
    >>> variability_sentences(fit, "group")[0][:56]
    'A typical performer of random scattered 1.96 times as mu'
    """
    levels = list(fit.spreads(by).frame[by])
    pairs = [(a, b) for a, b in combinations(range(len(levels)), 2)]
    kind = {
        f"{levels[b]} - {levels[a]}": list(np.eye(len(levels))[b] - np.eye(len(levels))[a])
        for a, b in pairs
    }
    level = fit.recipe.options["level"]
    rows = fit.ratios(by, within=within, kind=kind, level=level).frame.to_dict("records")
    told = []
    for place, row in enumerate(rows):
        a, b = pairs[place % len(pairs)]
        where = "" if within is None else f" at {row[within]}"
        named = {str(k): v for k, v in row.items()}
        told.append(_one(named, levels[b], levels[a], where, level))
    return (*told, BESIDE)


def spread_rules_of(design: Design) -> list[str]:
    """How outcomes that are a variable error are modelled beside their comparison.

    Examples
    --------
    >>> from motorlearn.design import design_from_mapping
    >>> plan = design_from_mapping({
    ...     "study": {"title": "Ring push"},
    ...     "groups": [{"name": "blocked"}, {"name": "random"}],
    ...     "tests": [{"name": "pretest", "phase": "pretest", "trials": 10},
    ...               {"name": "retention", "phase": "retention", "trials": 10}],
    ...     "outcomes": [{"name": "bivariate_variable_error", "better": "lower"}],
    ... })
    >>> spread_rules_of(plan)[0][:71]
    'Beside the comparison of bivariate variable error, a model of all trial'
    """
    names = [entry.words for entry in design.outcomes if entry.is_variability]
    if not names or design.single_case is not None or design.within is not None:
        return []
    terms = "group and test" if len(design.groups) > 1 else "test"
    return [
        f"Beside the comparison of {' and '.join(names)}, a model of all trials of the first and "
        f"the primary test (level and logarithm of the standard deviation by {terms}, people "
        f"differing in both at each test) {tense('gave', 'gives')} ratios of standard deviations; "
        "it is secondary."
    ]


def spread_lead(found: SpreadBeside, name: str, tests: Mapping[str, str]) -> str:
    """What the model of spread is, and why it stands beside the comparison."""
    first, last = (tests.get(test, test) for test in found.tests)
    several = "group" in found.fit.of_spread.design.fixed.levels
    terms = "group and test" if several else "test"
    ways = (
        ", with a level in each of two directions and one spread," if found.directions > 1 else ""
    )
    return (
        f"The plan asks for {name}, one number for each person and test. Beside its comparison a "
        f"model of the trials themselves{ways} asks whether performers scatter differently: level "
        f"and spread follow {terms}, and people differ in both at {first} and at {last}. It is "
        "secondary; the comparison of people's scores is the planned one."
    )


def spread_beside_sentences(found: SpreadBeside, tests: Mapping[str, str]) -> tuple[str, ...]:
    """Ratios of spread at the primary test, and of how much it changed, with their intervals.

    Parameters
    ----------
    found : SpreadBeside
        What an analysis holds in ``spreads``.
    tests : mapping of str to str
        Names of tests as a reader knows them.
    """
    first, last = (tests.get(test, test) for test in found.tests)
    told = []
    for row in found.ratios.to_dict("records"):
        named = {str(key): value for key, value in row.items()}
        if row["kind"] == AT_TEST:
            later, earlier = row["group"], row["reference"]
            told.append(_one(named, later, earlier, f" at {last}"))
        elif row["kind"] == CHANGE:
            told.append(
                f"From {first} to {last} the spread of {row['group']} changed by "
                f"{digits.significant(row['estimate'])} times the factor of {row['reference']}, "
                f"{_numbers(named)}.{_open(named, 'whether they changed differently')}"
            )
        else:
            told.append(
                f"A typical performer scattered {digits.significant(row['estimate'])} times as "
                f"much at {last} as at {first}, {_numbers(named)}."
                f"{_open(named, 'whether the spread changed')}"
            )
    return tuple(told)


def _one(
    row: Mapping[str, Any], later: object, earlier: object, where: str, level: float = 0.95
) -> str:
    return (
        f"A typical performer of {later} scattered {digits.significant(row['estimate'])} times as "
        f"much about their own mean as one of {earlier}{where}, {_numbers(row, level)}."
        f"{_open(row, 'which of them scatters more')}"
    )


def _numbers(row: Mapping[str, Any], level: float = 0.95) -> str:
    limits = [digits.significant(row[name]) for name in ("conf_low", "conf_high")]
    return (
        f"{100 * level:g} % CI {' to '.join(limits)}, t({digits.degrees_of_freedom(row['df'])}) = "
        f"{digits.number(row['statistic'])}, {digits.p_clause(row['p_adjusted'])}"
    )


def _open(row: Mapping[str, Any], what: str) -> str:
    inside = row["conf_low"] <= 1 <= row["conf_high"]
    return f" The interval holds 1: {what} is not known." if inside else ""
