"""Rates of what is shown by default: mixed routes of designs, single cases, scales (slow)."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

DOCS = Path(__file__).parents[2] / "docs"


def script(name):
    spec = importlib.util.spec_from_file_location(name, DOCS / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def shown(capsys, text):
    with capsys.disabled():
        print(text, flush=True)


@pytest.mark.slow
@pytest.mark.parametrize("people, missed", [(8, 0.0), (8, 0.2), (12, 0.2), (24, 0.2)])
def test_the_mixed_route_within_people_keeps_its_rate(people, missed, capsys):
    rates = script("error_rates_of_designs")
    rng = np.random.default_rng([people, int(10 * missed)])
    found = rates.refitted(rng, 600, rates.crossover(people, missed))
    shown(capsys, f"within {people} {missed}: {found}")
    assert 0.02 < found["rate"] < 0.08


@pytest.mark.slow
@pytest.mark.parametrize("classes, icc", [(3, 0.05), (3, 0.2), (6, 0.05), (6, 0.2), (10, 0.2)])
def test_the_mixed_route_of_classes_keeps_its_rate(classes, icc, capsys):
    rates = script("error_rates_of_designs")
    rng = np.random.default_rng([classes, int(100 * icc)])
    found = rates.refitted(rng, 600, rates.classes_of(classes, icc))
    shown(capsys, f"classes {classes} {icc}: {found}")
    # Careful where classes hardly differ: 1.2 % of 600 with three classes and an ICC of .05.
    assert found["rate"] < 0.08


@pytest.mark.slow
def test_intervals_of_a_single_case_cover(capsys):
    rows = script("error_rates_single_case").rates(300)
    for row in rows:
        shown(capsys, ", ".join(f'"{v}"' if "," in str(v) else str(v) for v in row.values()))
        for name in ("coverage, difference", "coverage, NAP", "coverage, Tau-U"):
            assert not row[name] or float(row[name].split()[0]) > 89


@pytest.mark.slow
@pytest.mark.parametrize("steps", [False, True])
def test_intervals_of_alpha_and_omega_cover(steps, capsys):
    rates = script("error_rates_of_designs")
    for name, people, held in rates.of_scales(300, steps):
        shown(capsys, f"{name} {'steps' if steps else 'normal'} {people}: {held}")
        assert held["alpha"] > 0.85 and held["omega"] > 0.85
