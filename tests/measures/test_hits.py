import json
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from motorlearn import measures as m
from motorlearn.exceptions import InputError

CASE = Path(__file__).parents[1] / "reference" / "proportions" / "values.json"
NEWCOMBE = json.loads(CASE.read_text(encoding="utf-8"))
SINGLE = [name for name in NEWCOMBE if not name.startswith(("diff", "12/20"))]


@pytest.mark.parametrize("name", SINGLE)
def test_published_intervals(name):
    k, n = (int(part) for part in name.split("/"))
    assert m.wilson_interval(k, n) == pytest.approx(NEWCOMBE[name]["wilson"], abs=1e-9)
    assert m.clopper_pearson_interval(k, n) == pytest.approx(NEWCOMBE[name]["cp"], abs=1e-9)


def test_published_difference():
    _, low, high = m.newcombe_difference((56, 48), (70, 80))
    assert [low, high] == pytest.approx(NEWCOMBE["diff_56/70_48/80_newcombe10"], abs=1e-8)


def test_twelve_of_twenty():
    assert m.wilson_interval(12, 20) == pytest.approx([0.387, 0.781], abs=5e-4)


def test_all_hits_and_no_hits_mirror_each_other():
    low, high = m.wilson_interval([0, 20], 20)
    assert low[0] == 0 and high[1] == 1
    assert high[0] == pytest.approx(1 - low[1])


def test_exact_interval_covers_at_least_its_level():
    n, k = 20, np.arange(21)
    low, high = m.clopper_pearson_interval(k, n)
    for p in np.linspace(0.02, 0.98, 33):
        inside = (low <= p) & (p <= high)
        assert stats.binom.pmf(k, n, p)[inside].sum() >= 0.95


def test_no_attempt_has_no_rate():
    for value in (m.hit_rate(0, 0), *m.wilson_interval(0, 0), *m.clopper_pearson_interval(0, 0)):
        assert np.isnan(value)


def test_empirical_logit_is_antisymmetric_and_finite():
    k = np.arange(21)
    logits = m.empirical_logit(k, 20)
    assert np.isfinite(logits).all()
    np.testing.assert_allclose(logits, -logits[::-1])


@pytest.mark.parametrize(("k", "n"), [(21, 20), (-1, 20), (np.nan, 20), (1, np.inf)])
def test_impossible_counts_are_refused(k, n):
    with pytest.raises(InputError, match="between 0 and the attempts"):
        m.wilson_interval(k, n)


def test_impossible_level_is_refused():
    with pytest.raises(InputError, match="level"):
        m.wilson_interval(1, 2, level=95)
