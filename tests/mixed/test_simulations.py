"""Simulation evidence: error rates and coverage. Run with ``pytest -m slow``."""

import numpy as np
import pytest
from scipy.special import expit
from scipy.stats import norm

from motorlearn.mixed import fit_binomial_many, fit_linear_many
from motorlearn.mixed.inference.degrees_of_freedom import f_test
from motorlearn.mixed.inference.kenward_roger import kenward_roger
from motorlearn.mixed.solve.covariance import correlated
from motorlearn.mixed.solve.factors import Factor
from motorlearn.mixed.solve.likelihoods import Binomial
from motorlearn.mixed.solve.starts import first_coefficients

pytestmark = pytest.mark.slow


def groups_by_phases(per_group, keep):
    """Two groups, three phases, some cells missing: fixed part and participant of each row."""
    person = np.repeat(np.arange(2 * per_group), 3)[keep]
    phase = np.tile(np.arange(3), 2 * per_group)[keep]
    group = person % 2
    columns = [np.ones(len(person)), group, phase == 1, phase == 2]
    columns += [group * (phase == 1), group * (phase == 2)]
    return np.column_stack(columns).astype(float), person


@pytest.mark.parametrize("per_group", [8, 12, 20])
def test_kenward_roger_keeps_the_error_rate_of_the_interaction(per_group):
    """Null: no group-by-phase interaction; 10 % of the scores are missing, so df are not exact."""
    replicates = 6000
    rng = np.random.default_rng(per_group)
    x, person = groups_by_phases(per_group, rng.random(6 * per_group) > 0.1)
    levels = rng.normal(0, 0.8, (replicates, 2 * per_group))[:, person]
    y = x[:, :4] @ [1.0, 0.3, 0.5, 0.4] + levels + rng.normal(size=(replicates, len(person)))
    fits = fit_linear_many(x, y, person)
    factor = Factor(person, np.ones((len(person), 1)), correlated(1), 2 * per_group)
    interaction = np.eye(6)[4:]
    rejected = 0
    for beta, psi, sigma in zip(fits.beta, fits.psi, fits.sigma, strict=True):
        inference = kenward_roger(x, [factor], np.ones(len(person)), len(person), [psi], sigma)
        rejected += f_test(interaction, beta, inference).p < 0.05
    rate = rejected / replicates
    print(f"\nKenward-Roger, {per_group} per group: {100 * rate:.2f} % rejected at 5 %")
    assert fits.converged.all()
    assert 0.04 <= rate <= 0.06


@pytest.mark.parametrize("effect", [0.0, 0.5])
def test_coverage_of_the_binomial_group_effect_and_of_pooled_trials(effect):
    """24 people per group, three tests of 20 attempts, participants differing by SD 0.8 logits."""
    replicates, per_group = 12_000, 24
    rng = np.random.default_rng(24 + int(10 * effect))
    x, person = groups_by_phases(per_group, np.ones(6 * per_group, dtype=bool))
    x = x[:, :4]
    eta = x @ [-0.4, effect, 0.5, 0.3] + rng.normal(0, 0.8, (replicates, 2 * per_group))[:, person]
    hits = rng.binomial(20, expit(eta))
    fits = fit_binomial_many(x, hits, np.full(len(person), 20), person)
    margin = norm.ppf(0.975) * np.sqrt(fits.vcov[:, 1, 1])
    covered = np.mean(np.abs(fits.beta[:, 1] - effect) < margin)
    attempts = np.full(hits.shape, 20.0)
    offset, logit = np.zeros(len(x)), Binomial("logit")
    pooled, information = first_coefficients(x, hits.astype(float), attempts, offset, logit)
    pooled_margin = norm.ppf(0.975) * np.sqrt(np.linalg.inv(information)[:, 1, 1])
    averaged = pooled[:, 1].mean()  # what pooling estimates; the average of its own estimates
    pooled_covered = np.mean(np.abs(pooled[:, 1] - averaged) < pooled_margin)
    print(
        f"\ngroup effect {effect}: mixed model covers {100 * covered:.1f} %, "
        f"pooled trials {100 * pooled_covered:.1f} % of their own mean"
    )
    assert fits.converged.all()
    assert 0.93 <= covered <= 0.97
    assert pooled_covered < 0.80
