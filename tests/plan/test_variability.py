import distributed
import numpy as np
import pytest
from plans_of_tests import HITS, plan
from scipy import stats

import motorlearn as ml
from motorlearn.exceptions import InputError
from motorlearn.plan import variability_power


def test_trials_and_participants_trade_off_as_published():
    """A variance ratio of 1.2 is found with 80 % power by 100 trials x 12 people or 20 x 60.

    Shinya & Takiyama (2024), read in the abstract: both designs have 1,200 trials in all.
    """
    table = variability_power([20, 100], [12, 60], ratio=1.2, seed=1, simulations=4000)
    power = table.set_index(["trials", "participants"])["power"]
    assert power[100, 12] == pytest.approx(0.80, abs=0.03)
    assert power[20, 60] == pytest.approx(0.82, abs=0.04)
    assert power[20, 12] < 0.3


def test_the_trade_ends_where_people_differ():
    """Trials cannot stand in for people who respond differently."""
    table = variability_power([20, 100], [12, 60], ratio=1.2, seed=1, between_sd=0.2)
    power = table.set_index(["trials", "participants"])["power"]
    assert power[100, 12] < 0.6 < power[20, 60]


def test_power_of_log_variances_is_that_of_a_noncentral_t():
    k, n, ratio = 200, 15, 1.15
    delta = np.log(ratio) / np.sqrt(2 * 2 / (k - 1) / n)
    critical = stats.t.isf(0.025, n - 1)
    expected = stats.nct.sf(critical, n - 1, delta)
    row = variability_power(k, n, ratio=ratio, seed=3, simulations=6000).iloc[0]
    assert row["power"] == pytest.approx(expected, abs=4 * row["mc_error"])


def test_no_ratio_is_found_in_five_percent_paired_or_not():
    for paired in (True, False):
        row = variability_power(30, 15, ratio=1.0, seed=2, simulations=4000, paired=paired).iloc[0]
        assert row["power"] == pytest.approx(0.05, abs=0.015)


def test_unusable_questions_are_refused():
    with pytest.raises(InputError, match="trials must be 2 or more"):
        variability_power(1, 12, ratio=1.2, seed=1)


@pytest.mark.slow
def test_a_cluster_of_computers_gives_the_same_numbers():
    design = plan(**HITS)
    here = ml.power(design, n=[8, 12], simulations=500, seed=9, effects=[2])
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        executor = client.get_executor()
        there = ml.power(design, n=[8, 12], simulations=500, seed=9, effects=[2], executor=executor)
    assert here.table.equals(there.table)
