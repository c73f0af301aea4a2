"""Power of each kind of comparison against studies that statsmodels alone analyses."""

from dataclasses import dataclass

import numpy as np
import pytest
import statsmodels.api as sm
from plans_of_tests import plan
from statsmodels.stats.weightstats import DescrStatsW

import motorlearn as ml

SIMULATIONS = 2500
BETWEEN, WITHIN, STABILITY = 6.0, 18.0, 0.7
ASSUMED = {"between_sd": BETWEEN, "within_sd": WITHIN, "stability": STABILITY, "gain": 0}
SPEED = [{"name": "speed", "unit": "cm/s", "better": "higher"}]
DAY = {"phase": "retention", "name": "after a day", "trials": 8, "interval_days": 1}
WEEK = {"phase": "retention", "name": "after a week", "trials": 48, "interval_days": 7}
PRETEST = {"phase": "pretest", "trials": 16}


@dataclass(frozen=True)
class Drawn:
    """People of one study: group, score before, score at the primary test, who is left."""

    group: np.ndarray
    before: np.ndarray
    after: np.ndarray


def draw(rng, sizes, effect, *, trials, lost=0.0, slope=0.0):
    """Scores of one study: means of trials about true scores that last in part, and who leaves."""
    group = np.repeat(np.arange(len(sizes)), sizes)
    n = len(group)
    lasting = np.sqrt(STABILITY) * rng.standard_normal(n)
    before, after = (
        BETWEEN * (lasting + np.sqrt(1 - STABILITY) * rng.standard_normal(n))
        + WITHIN / np.sqrt(count) * rng.standard_normal(n)
        for count in trials
    )
    after = after + effect * (group == group.max())
    log_odds = np.log(lost / (1 - lost)) if lost else -np.inf
    worse = -(before - before.mean()) / before.std()
    # The share lost is that of all people, which a slope changes a little: mended for slope 1.5.
    mended = log_odds * np.sqrt(1 + 0.588**2 * slope**2)
    stays = rng.random(n) >= 1 / (1 + np.exp(-(mended + slope * worse)))
    return Drawn(group[stays], before[stays], after[stays])


def fitted(study):
    dummies = [(study.group == g).astype(float) for g in range(1, study.group.max() + 1)]
    return sm.OLS(
        study.after, np.column_stack([np.ones(len(study.after)), *dummies, study.before])
    ).fit()


def joint(study):
    fit = fitted(study)
    groups = fit.params.size - 2
    return fit.f_test(np.eye(fit.params.size)[1 : 1 + groups]).pvalue < 0.05


def adjusted(study):
    return fitted(study).pvalues[1] < 0.05


def equivalent(bound):
    """Both one-sided tests at 5 %: the 90 % interval of statsmodels lies inside the bounds."""

    def verdict(study):
        low, high = fitted(study).conf_int(0.10)[1]
        return -bound < low and high < bound

    return verdict


def not_worse(bound):
    """A one-sided test at 2.5 %: the 95 % interval of statsmodels ends above the bound."""
    return lambda study: fitted(study).conf_int(0.05)[1][0] > -bound


def paired(study):
    return DescrStatsW(study.after - study.before).ttest_mean(0)[1] < 0.05


@pytest.fixture(params=[400, pytest.param(4000, marks=pytest.mark.slow)])
def studies(request):
    return request.param


def rate(verdict, sizes, effect, studies, **how):
    """Share of so many studies in which a test says yes, with the error of that share."""
    rng = np.random.default_rng(studies)
    said = np.mean([verdict(draw(rng, sizes, effect, **how)) for _ in range(studies)])
    return said, np.sqrt(max(said * (1 - said), 0.01) * (1 / SIMULATIONS + 1 / studies))


def planned(groups, sizes, *, tests, assumed=None, **primary):
    named = [{"name": name, "size": size} for name, size in zip(groups, sizes, strict=True)]
    asked = {"outcome": "speed", "groups": list(groups[::-1]) if len(groups) > 1 else []} | primary
    bound = {"value": 3.0} if "aim" in primary else None
    return plan(
        groups=named,
        tests=tests,
        outcomes=SPEED,
        primary=asked,
        smallest_effect=bound,
        assumptions={"baseline": 0, **ASSUMED} | (assumed or {}),
    )


def agrees(design, n, effect, other):
    """Power by the toolkit, and that it lies within four errors of the other simulation."""
    table = ml.power(design, n=n, simulations=SIMULATIONS, seed=11, effects=[effect]).table
    row = table.iloc[(table["effect"] - effect).abs().argmin()]
    said, error = other
    assert row["power"] == pytest.approx(said, abs=4 * error)
    return row["power"]


@pytest.mark.parametrize("effect", [0.0, 4.0])
def test_three_groups_of_unequal_size_are_tested_together(effect, studies):
    sizes = (30, 15, 15)
    design = planned(("usual", "serial", "random"), sizes, tests=[PRETEST, WEEK])
    other = rate(joint, sizes, effect, studies, trials=(16, 48))
    agrees(design, 20, effect, other)


@pytest.mark.parametrize("test", [DAY, WEEK])
def test_of_several_retention_tests_the_one_that_is_named(test, studies):
    sizes = (24, 24)
    design = planned(("usual", "random"), sizes, tests=[PRETEST, DAY, WEEK], test=test["name"])
    other = rate(adjusted, sizes, 4.5, studies, trials=(16, test["trials"]))
    agrees(design, 24, 4.5, other)


def test_a_change_of_one_group_with_unlike_tests_and_people_who_leave(studies):
    design = planned(("all",), (30,), tests=[PRETEST, WEEK], assumed={"attrition": 0.2})
    other = rate(paired, (30,), 3.5, studies, trials=(16, 48), lost=0.2)
    assert 0.3 < agrees(design, 30, 3.5, other) < 0.9


@pytest.mark.parametrize("effect", [-3.0, 0.0])
@pytest.mark.parametrize(
    ("aim", "verdict"), [("equivalence", equivalent), ("non-inferiority", not_worse)]
)
def test_claims_against_a_bound_adjusted_for_the_baseline(aim, verdict, effect, studies):
    sizes = (60, 60)
    design = planned(("usual", "random"), sizes, tests=[PRETEST, WEEK], aim=aim)
    other = rate(verdict(3.0), sizes, effect, studies, trials=(16, 48))
    power = agrees(design, 60, effect, other)
    assert power < 0.08 if effect else power > 0.2


@pytest.mark.parametrize("slope", [0.0, 1.5])
def test_who_scored_worse_leaves_more_often(slope, studies):
    sizes = (24, 24)
    lost = {"attrition": 0.35, "attrition_slope": slope}
    design = planned(("usual", "random"), sizes, tests=[PRETEST, WEEK], assumed=lost)
    other = rate(adjusted, sizes, 4.5, studies, trials=(16, 48), lost=0.35, slope=slope)
    agrees(design, 24, 4.5, other)
