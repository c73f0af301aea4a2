"""The quick search of forms with several rates tells what the careful search tells."""

import numpy as np
import pytest

from motorlearn.curves import FORMS
from motorlearn.curves.batch import one_batch, quick_s_shaped, quick_two_processes
from motorlearn.curves.batch.one_batch import Batch, fit_batch
from motorlearn.curves.batch.quick_s_shaped import least_of_steps
from motorlearn.curves.batch.quickly import fit_quickly
from motorlearn.curves.batch.shared import Scores
from motorlearn.curves.single.problem import Problem
from motorlearn.curves.single.solving import solve

N = np.arange(1.0, 41.0)
CLEAR = ("little noise", "rising")
RATES = {"s_shaped": (0.25, 17.0), "two_processes": (0.5, 0.1, 0.6)}


def scores(form: str, kind: str, learners: int) -> np.ndarray:
    rng = np.random.default_rng(22)
    shape = learners, len(N)
    curves = {
        "little noise": FORMS[form].curve(N, 20.0, 15.0, RATES[form]) + rng.normal(0, 0.5, shape),
        "much noise": FORMS[form].curve(N, 20.0, 15.0, RATES[form]) + rng.normal(0, 4, shape),
        "rising": FORMS[form].curve(N, 20.0, -15.0, RATES[form]) + rng.normal(0, 1, shape),
        "flat": 20 + rng.normal(0, 3, shape),
        "step": 20 + 9 * (rng.integers(3, 38, (learners, 1)) > N) + rng.normal(0, 1, shape),
        "straight": 30 - 0.2 * N + rng.normal(0, 1, shape),
    }
    return curves[kind]


def batch(y: np.ndarray) -> Batch:
    ends = len(N) * np.arange(1, len(y) + 1)
    return Batch(ends, np.tile(N, len(y)), y.ravel(), None, False)


@pytest.mark.parametrize(
    "kind", ["little noise", "much noise", "rising", "flat", "step", "straight"]
)
@pytest.mark.parametrize("form", RATES)
def test_quick_and_careful_search_agree(form, kind, monkeypatch):
    y = scores(form, kind, 30 if kind in CLEAR else 5)
    quick = fit_batch(batch(y), [form], 1.0)
    monkeypatch.setattr(one_batch, "is_quick", lambda *_: False)
    careful = fit_batch(batch(y), [form], 1.0)
    assert np.all(quick["sse"] <= careful["sse"] * (1 + 1e-9))
    same = quick["sse"] >= careful["sse"] * (1 - 1e-9)
    assert same.mean() > 0.7
    assert np.array_equal(quick["status"][same], careful["status"][same])
    for name in ("asymptote", "gain", *FORMS[form].rates):
        error = careful[f"se_{name}"][same]
        some = np.isfinite(error)
        apart = np.abs(quick[name][same] - careful[name][same])[some]
        assert np.all(apart <= 1e-3 * error[some])
        assert quick[f"se_{name}"][same][some] == pytest.approx(error[some], rel=1e-3)


@pytest.mark.parametrize(("form", "least"), [("s_shaped", 0.9), ("two_processes", 0.6)])
def test_most_clear_curves_are_told_quickly_as_the_single_fit_tells_them(form, least):
    y = scores(form, "little noise", 60)
    found, sure = fit_quickly(FORMS[form], N, Scores.of(y), 1.0)
    assert sure.mean() >= least
    for k in np.flatnonzero(sure)[:3]:
        alone = solve(Problem(FORMS[form], N, y[k], np.ones(len(N)), False))
        assert found["sse"][k] / 2 == pytest.approx(alone.loss, rel=1e-9)
        for name, rate in zip(FORMS[form].rates, alone.theta):
            assert found[name][k] == pytest.approx(rate, abs=1e-4 * found[f"se_{name}"][k])


@pytest.mark.parametrize(
    ("module", "at"), [(quick_s_shaped, [0.3, 15.0]), (quick_two_processes, [0.5, 0.15])]
)
def test_slope_and_bend_agree_with_differences(module, at):
    y = np.sin(np.outer([1.0, 2.0], N))
    y -= y.mean(axis=1, keepdims=True)
    at, step = np.log(np.tile(at, (2, 1))), 1e-5
    here = module.look(N, y, at)
    for k in range(2):
        move = step * np.eye(2)[k]
        after, before = module.look(N, y, at + move), module.look(N, y, at - move)
        slope = (after.loss - before.loss) / (2 * step)
        assert here.slope[:, k] == pytest.approx(slope, rel=1e-5, abs=1e-8)
        turn = (after.slope - before.slope) / (2 * step)
        assert here.bend[:, k : k + 2] == pytest.approx(turn, rel=1e-5, abs=1e-7)


def test_least_of_steps_is_that_of_all_steps():
    y = np.random.default_rng(3).normal(size=(20, 9))
    told = Scores.of(y)
    for row, least in zip(y, least_of_steps(told.centred, told.total)):
        losses = []
        for k in range(1, 9):
            losses.append(np.var(row[:k]) * k + np.var(row[k:]) * (9 - k))
            early, late = row[:k].mean(), row[k + 1 :].mean() if k < 8 else np.nan
            if min(early, late) <= row[k] <= max(early, late):
                losses.append(np.var(row[:k]) * k + np.var(row[k + 1 :]) * (8 - k))
        assert least == pytest.approx(min(losses) / 2, rel=1e-12)
