import copy
import re

import pytest

from motorlearn.design import design_from_mapping
from motorlearn.design.contradictions import UNITS
from motorlearn.exceptions import DesignError
from motorlearn.trials.reading.conversion import UNITS as CONVERTED

PLAN = {
    "study": {"title": "Ring push"},
    "groups": [{"name": "a", "size": 12}, {"name": "b", "size": 12}],
    "practice": [
        {"session": 1, "day": 0, "blocks": 6, "trials_per_block": 18},
        {"session": 2, "day": 1, "blocks": 6, "trials_per_block": 18},
    ],
    "tests": [
        {"phase": "pretest", "trials": 20},
        {"phase": "retention", "trials": 20, "interval_days": 7},
    ],
    "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower", "low": 0}],
    "primary": {"outcome": "radial_error", "groups": ["a", "b"]},
    "assumptions": {"baseline": 38, "between_sd": 6.5, "within_sd": 15, "gain": 12},
    "allocation": {"seed": 1},
}


def changed(*path_and_value):
    content = copy.deepcopy(PLAN)
    *path, last, value = path_and_value
    place = content
    for key in path:
        place = place.setdefault(key, {}) if isinstance(place, dict) else place[key]
    place[last] = value
    return content


def test_the_plan_without_a_change_is_read():
    assert design_from_mapping(PLAN).group_names == ("a", "b")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("tests", 1, "day", 3), "tests.day and tests.interval_days.*2 days after"),
        (("practice", 1, "day", -3), "practice.day: session 2 is on day -3"),
        (("practice", 1, "session", 1), "practice.session 1 is given twice"),
        (("practice", 0, "maximal_trials", 500), "maximal_trials: 500 of the 108 trials"),
        (("primary", "groups", ["a"]), "primary.groups names a;"),
        (("primary", "groups", ["a", "a"]), "primary.groups names a and a"),
        (("primary", "baseline", "pre-test"), "primary.baseline 'pre-test' is not a test"),
        (("primary", "baseline", "retention"), "the primary test itself"),
        (("outcomes", 0, "high", -1), "outcomes.low 0 is not below outcomes.high -1"),
        (("sample", {"age_low": 40, "age_high": 18}), "sample.age_low 40 is above"),
        (
            ("analyses", [{"outcome": "height", "phase": "retention", "method": "t"}]),
            "analyses.0.outcome 'height'",
        ),
        (
            ("analyses", [{"outcome": "hit", "phase": "transfer", "method": "t"}]),
            "analyses.0.phase 'transfer'",
        ),
        (("allocation", "block_size", 3), "allocation.block_size 3 does not hold 2 groups"),
        (("allocation", "block_size", [4, 5]), "allocation.block_size 5"),
        (("groups", 0, "size", 36), None),
        (("units", {"length": "inch"}), "units.length 'inch' is not known; choose one of mm"),
        (("assumptions", "gain", 40), "assumptions.gain 40 takes radial_error"),
    ],
)
def test_a_contradiction_is_named_with_its_keys(change, words):
    if words is None:
        content = changed(*change)
        content["allocation"]["block_size"] = 6
        words = "ratio 3:1; take a multiple of 4"
    else:
        content = changed(*change)
    with pytest.raises(DesignError, match=words):
        design_from_mapping(content)


@pytest.mark.parametrize(
    ("phases", "names", "refused"),
    [
        (("transfer", "transfer"), ("near", "Near"), True),
        (("transfer", "transfer"), ("near", "far"), False),
        (("progress", "transfer"), ("near", "near"), False),
        (("transfer", "transfer"), ("", ""), False),
    ],
)
def test_two_tests_of_a_phase_have_names_of_their_own(phases, names, refused):
    """Rows name their test by it; of two alike the second took all rows."""
    content = changed("study", "title", "Ring push")
    content["tests"] += [
        {"phase": phase, "name": name, "trials": 20, "session": 8 + place, "day": 20 + place}
        for place, (phase, name) in enumerate(zip(phases, names))
    ]
    if refused:
        with pytest.raises(DesignError, match=r"tests.name: 2 tests of transfer are called 'near'"):
            design_from_mapping(content)
    else:
        design_from_mapping(content)


def test_all_contradictions_are_named_at_once():
    content = changed("allocation", "block_size", 3)
    content["primary"]["groups"] = ["a"]
    with pytest.raises(DesignError, match=r"primary.groups.*allocation.block_size"):
        design_from_mapping(content)


def test_units_are_those_that_data_are_converted_in():
    assert {quantity: tuple(units) for quantity, units in CONVERTED.items()} == UNITS


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("allocation", "seed", -1), "allocation.seed: must be 0 or more"),
        (("groups", 0, "size", "many"), "groups (entry 1).size: must be a whole number"),
        (("groups", "a"), "groups: must be a list in brackets"),
        (("tests", 0, "day", "monday"), "tests (entry 1).day: must be a number"),
        (("tests", 0, "blinded", "perhaps"), "tests (entry 1).blinded: must be true or false"),
        (("assumptions", "stability", 1.2), "assumptions.stability: must be 1 or less"),
        (("assumptions", "baseline", float("nan")), "baseline: must be a finite number"),
        (("assumptions", "between_sd", 0), "between_sd: must be above 0"),
        (("allocation", "block_size", 2.5), "allocation.block_size: must be a whole number"),
        (("study", "plan"), "study: must be a section with keys of its own"),
        (("groups", 0, "name", ""), "groups (entry 1).name: must not be empty"),
    ],
)
def test_what_the_library_finds_is_said_in_words_of_a_plan(change, words):
    with pytest.raises(DesignError, match=re.escape(words)) as caught:
        design_from_mapping(changed(*change))
    assert "Input should" not in str(caught.value)
    assert "constrained" not in str(caught.value)
