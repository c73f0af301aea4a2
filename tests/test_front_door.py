"""The front door: names that are relied on from outside, their shapes, and how light it is."""

import inspect
import subprocess
import sys

import pytest

import motorlearn as ml

SHAPES = {
    "read_trials": "(path, *, columns=None, levels=None, units=None, sheet=None)",
    "read_study": "(folder)",
    "score_trials": "(table, by)",
    "fit_curve": "(practice, outcome, *, form='exponential', fixed=None, attempts=None, first=1.0, "
    "interval='wald', level=0.95)",
    "fit_curves": "(table, outcome, *, practice, by, forms=('exponential', 'power'), "
    "attempts=None, cluster=None)",
    "fit_population_curve": "(table, outcome, *, practice, participant='participant', "
    "form='exponential', group=None, vary=('asymptote', 'gain', 'rate'), amount='gain', first=1.0)",
    "fit_mixed": "(formula, table, *, random, family='gaussian', attempts=None, reml=True, "
    "quadrature=1, df='satterthwaite')",
    "marginal_means": "(fit, by, *, within=None, scale='link')",
    "contrasts": "(fit, by, *, within=None, adjust='holm', scale='link')",
    "compare_phases": "(table, outcome, *, group, phase='phase', participant='participant', "
    "baseline=None, attempts=None)",
    "check_assumptions": "(result)",
    "rater_agreement": "(ratings, *, item, rater, score, kind)",
    "make_schedule": "(kind, tasks, trials, *, block_size, seed)",
    "allocate": "(participants, groups, *, strata, seed)",
    "audit_design": "(design)",
    "simulate_study": "(design, *, seed)",
    "power": "(design, *, n, simulations, seed)",
    "write_report": "(study, folder)",
}


def parameters(text: str) -> list[inspect.Parameter]:
    space: dict[str, object] = {}
    exec(f"def f{text}: pass", space)
    return list(inspect.signature(space["f"]).parameters.values())


@pytest.mark.parametrize("name", SHAPES)
def test_promised_names_keep_their_shapes(name):
    actual = inspect.signature(getattr(ml, name)).parameters
    for promised in parameters(SHAPES[name]):
        assert promised.name in actual, f"{name} lost {promised.name}"
        given = actual[promised.name]
        if promised.default is not inspect.Parameter.empty:
            assert given.default == promised.default, f"{name}({promised.name}=)"
        if promised.kind is inspect.Parameter.KEYWORD_ONLY:
            assert given.kind is inspect.Parameter.KEYWORD_ONLY


@pytest.mark.parametrize("name", SHAPES)
def test_what_was_added_to_a_promised_shape_has_a_default(name):
    promised = {entry.name for entry in parameters(SHAPES[name])}
    added = [p for p in inspect.signature(getattr(ml, name)).parameters.values()
             if p.name not in promised]  # fmt: skip
    assert [p.name for p in added if p.default is inspect.Parameter.empty] == []


def test_importing_the_package_loads_nothing_heavy():
    heavy = ("numpy", "pandas", "matplotlib", "scipy")
    code = f"import sys, motorlearn; print([m for m in {heavy} if m in sys.modules])"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"


def test_every_lazy_name_is_there():
    missing = [name for name in ml.__all__ if not hasattr(ml, name)]
    assert missing == []


def test_an_unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="no attribute 'fit_everything'"):
        _ = ml.fit_everything


def test_the_front_door_lists_its_own_names_only():
    assert {name for name in dir(ml) if not name.startswith("__")} == set(ml.__all__)


@pytest.mark.parametrize("room", ["curves", "figures", "trials", "tables"])
def test_a_room_does_not_list_how_its_door_is_made(room):
    assert not {"late_names", "TYPE_CHECKING"} & set(dir(getattr(ml, room)))
