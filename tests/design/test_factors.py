"""Two factors between people in a plan: cells, words, and what cannot be."""

import re

import pytest

from motorlearn.design import design_from_mapping, joint_term, levels_by_group
from motorlearn.exceptions import DesignError

ORDER = {"name": "order", "levels": ["blocked", "random"]}
FEEDBACK = {"name": "feedback", "levels": ["always", "faded"], "label": "feedback in practice"}
PLAN = {
    "study": {"title": "Ring push"},
    "factors": [ORDER, FEEDBACK],
    "tests": [{"phase": "pretest", "trials": 20}, {"phase": "retention", "trials": 20}],
    "outcomes": [{"name": "hits", "better": "higher"}],
}


def test_groups_are_made_from_factors():
    found = design_from_mapping(PLAN)
    assert found.group_names == (
        "blocked-always", "blocked-faded", "random-always", "random-faded",
    )  # fmt: skip
    assert levels_by_group(found)["random-always"] == {"order": "random", "feedback": "always"}
    assert [factor.words for factor in found.factors] == ["order", "feedback in practice"]


def test_groups_with_levels_keep_their_names_and_sizes():
    cells = [("b1", "blocked", "always", 9), ("b2", "blocked", "faded", 8)]
    cells += [("r2", "random", "faded", 7), ("r1", "random", "always", 6)]
    groups = [{"name": n, "levels": [a, b], "size": size} for n, a, b, size in cells]
    found = design_from_mapping(PLAN | {"groups": groups})
    assert found.group_names == ("b1", "b2", "r2", "r1")
    assert levels_by_group(found)["r2"] == {"order": "random", "feedback": "faded"}


def test_a_group_with_the_name_of_a_cell_has_its_levels():
    groups = [
        {"name": name, "size": 9}
        for name in ("random-faded", "blocked-always", "random-always", "blocked-faded")
    ]
    found = design_from_mapping(PLAN | {"groups": groups})
    assert levels_by_group(found)["random-faded"] == {"order": "random", "feedback": "faded"}
    assert [group.size for group in found.groups] == [9, 9, 9, 9]
    with pytest.raises(DesignError, match=r"'odd' needs one level for each factor"):
        design_from_mapping(PLAN | {"groups": [*groups[:3], {"name": "odd"}]})


def test_what_is_written_is_read_again():
    found = design_from_mapping(PLAN | {"primary": {"outcome": "hits", "factors": ["order"]}})
    assert design_from_mapping(found.model_dump(exclude_unset=True, by_alias=True)) == found


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"factors": [ORDER, FEEDBACK | {"levels": ["always"]}]}, "factors (entry 2).levels"),
        ({"factors": [ORDER, ORDER]}, "factor named twice: order"),
        ({"factors": [ORDER]}, "are two and this plan has 1"),
        ({"factors": 3}, "factors: must be a list"),
        ({"factors": [ORDER, FEEDBACK | {"levels": ["x", "x"]}]}, "level of factor 'feedback'"),
        ({"groups": [{"name": "a", "levels": ["blocked", "x"]}]}, "no level of 'feedback'"),
        ({"groups": [{"name": "a", "levels": ["blocked", "always"]}]}, "no group has the levels"),
        ({"groups": [{"name": "a"}]}, "needs one level for each factor"),
        (
            {"factors": [], "groups": [{"name": "a", "levels": ["b"]}]},
            "has levels and the plan has no [[factors]]",
        ),
    ],
)
def test_what_factors_cannot_be(change, words):
    with pytest.raises(DesignError, match=re.escape(words)) as caught:
        design_from_mapping(PLAN | change)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("primary", "words"),
    [
        ({"factors": ["x"]}, "no factor of the plan: x"),
        ({"factors": ["order", "order"]}, "named twice"),
        ({"factors": ["order"], "levels": ["random"]}, "two different levels of 'order'"),
        ({"factors": ["order"], "levels": ["random", "odd"]}, "two different levels of 'order'"),
        ({"levels": ["random", "blocked"]}, "primary.factors, which is missing"),
        ({"factors": ["order"], "groups": ["random-faded", "blocked-faded"]}, "exclude each other"),
    ],
)
def test_what_a_primary_effect_cannot_be(primary, words):
    with pytest.raises(DesignError, match=words):
        design_from_mapping(PLAN | {"primary": {"outcome": "hits"} | primary})


def test_an_effect_of_three_levels_is_one_joint_test_and_no_number():
    factors = [ORDER, FEEDBACK | {"levels": ["always", "faded", "none"]}]
    for named in (["feedback"], ["order", "feedback"]):
        primary = {"outcome": "hits", "factors": named}
        plan = design_from_mapping(PLAN | {"factors": factors, "primary": primary})
        assert joint_term(plan) == ":".join(named)
        for more in ({"aim": "equivalence"}, {"effect": "ratio"}):
            with pytest.raises(DesignError, match="one joint test and no single number"):
                design_from_mapping(PLAN | {"factors": factors, "primary": primary | more})
    pair = {"outcome": "hits", "factors": ["feedback"], "levels": ["faded", "none"]}
    plan = design_from_mapping(PLAN | {"factors": factors, "primary": pair})
    assert plan.primary.levels and not joint_term(plan)
