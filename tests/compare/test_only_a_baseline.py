"""A study of which only the baseline test has been made."""

import motorlearn as ml


def test_the_mixed_route_has_nothing_to_compare_yet(study):
    first = study[study["phase"] == "pretest"]
    found = ml.compare_phases(
        first, "radial_error", group="group", baseline="pretest", route="mixed"
    )
    assert found.mixed.empty and len(found.contrasts)
