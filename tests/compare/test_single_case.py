"""One athlete to five: the call, the plan, the draw, the check of data; what is refused and how."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import motorlearn as ml
from motorlearn.compare import SingleCase, analyse_single_case
from motorlearn.design import Randomisation, design_from_mapping
from motorlearn.exceptions import DesignError, InputError
from motorlearn.results import Refused
from motorlearn.trials import check_table

# A worked example of Tau-U given with the definition of Parker et al. (2011) in public
# documentation of that index: A and B below, Tau-U .7380952.
A = [20, 20, 26, 25, 22, 23]
B = [28, 25, 24, 27, 30, 30, 29]


def rings(*phases, participant="P01", names=("A", "B")):
    scores = np.concatenate(phases).astype(float)
    labels = [names[n % 2] for n, part in enumerate(phases) for _ in part]
    return pd.DataFrame(
        {
            "participant": participant,
            "session": range(1, len(scores) + 1),
            "condition": labels,
            "score": scores,
        }
    )


def test_values_of_an_ab_record_by_hand():
    found = analyse_single_case(rings(A, B), "score")
    difference = found.of("P01", "difference")
    assert difference["estimate"] == pytest.approx(193 / 7 - 136 / 6)
    assert found.of("P01", "Tau-U")["estimate"] == pytest.approx(0.7380952, abs=1e-7)
    area = stats.mannwhitneyu(B, A).statistic / 42
    assert found.of("P01", "NAP")["estimate"] == pytest.approx(area)
    first = found.phases.iloc[0]
    assert first["slope"] == pytest.approx(stats.linregress(range(1, 7), A).slope)
    assert (first["n"], first["last"], first["sd"]) == (6, 6, pytest.approx(np.std(A, ddof=1)))
    assert isinstance(found.test, Refused) and "nothing was drawn" in found.test.reason


def test_the_interval_of_the_difference_is_that_of_t_where_neighbours_do_not_depend():
    swinging = rings([3, 5, 3, 5, 3, 5], [7, 9, 7, 9, 7, 9])
    found = analyse_single_case(swinging, "score")
    assert found.neighbours["inflation"].item() == pytest.approx(1, abs=1e-5)
    row = found.of("P01", "difference")
    expected = stats.ttest_ind([7, 9] * 3, [3, 5] * 3).confidence_interval()
    assert (row["conf_low"], row["conf_high"]) == pytest.approx(tuple(expected), rel=1e-5)


def test_sessions_that_do_not_vary_within_conditions_have_no_interval_of_the_difference():
    found = analyse_single_case(rings([5] * 6, [7] * 6), "score")
    row = found.of("P01", "difference")
    assert row["estimate"] == 2 and np.isnan(row["conf_low"])
    assert "do not vary" in row["reason"]


def test_better_lower_turns_the_overlap_and_not_the_difference():
    up = analyse_single_case(rings(A, B), "score")
    down = analyse_single_case(rings(A, B), "score", better="lower")
    assert down.of("P01", "difference")["estimate"] == up.of("P01", "difference")["estimate"]
    assert down.of("P01", "NAP")["estimate"] == pytest.approx(1 - up.of("P01", "NAP")["estimate"])


def test_trials_of_a_session_are_averaged_and_void_rows_do_not_count():
    table = rings(A, B)
    twice = pd.concat(
        [table.assign(score=table["score"] - 1), table.assign(score=table["score"] + 1)]
    )
    wrong = table.assign(score=999.0, void="slipped")
    found = analyse_single_case(pd.concat([twice.assign(void=""), wrong]), "score")
    assert found.sessions["score"].tolist() == [*A, *B]
    hits = table.assign(hits=table["score"], attempts=40)
    rate = analyse_single_case(hits, "hits", attempts="attempts", out_of=20)
    assert rate.sessions["score"].tolist() == pytest.approx([v / 2 for v in [*A, *B]])


def test_what_the_rows_of_a_table_are_called_does_not_matter():
    table = rings(A, B)
    plain = analyse_single_case(table, "score").estimates
    named = table.sample(frac=1, random_state=1).set_index("session", drop=False)
    pd.testing.assert_frame_equal(analyse_single_case(named, "score").estimates, plain)


def test_abab_compares_each_a_with_the_b_that_follows():
    found = analyse_single_case(rings([1, 2, 3], [4, 5, 6], [7, 8, 9], [8, 9, 10]), "score")
    assert found.design == "ABAB" and len(found.phases) == 4
    pairs = [([1, 2, 3], [4, 5, 6]), ([7, 8, 9], [8, 9, 10])]
    area = sum(stats.mannwhitneyu(b, a).statistic for a, b in pairs)
    assert found.of("P01", "NAP")["estimate"] == pytest.approx(area / 18)


def test_athletes_together_and_each_drawn_towards_the_mean():
    rows = pd.concat([rings(A, B, participant=f"P{i}") for i in range(3)], ignore_index=True)
    rows["score"] += rows["participant"].map({"P0": 0, "P1": 1, "P2": 2}) * (
        rows["condition"] == "B"
    )
    found = analyse_single_case(rows, "score")
    own = found.estimates[found.estimates["index"] == "difference"]["estimate"]
    assert found.summary["estimate"].item() == pytest.approx(own.mean(), abs=0.3)
    assert found.summary["df"].item() == 2
    assert found.shrunken["estimate"].std() <= own.std()
    again = SingleCase.from_json(found.to_json())
    pd.testing.assert_frame_equal(again.estimates, found.estimates)
    assert "P0" in str(found) and len(repr(found)) < 700


def test_a_missing_session_keeps_its_place_and_is_said():
    table = rings(A, B).drop(index=9)
    draw = Randomisation("AB", starts=((5, 9),))
    found = analyse_single_case(table, "score", randomisation=draw)
    assert found.test.assignments == 5 and len(found.sessions) == 12
    assert any("session 10" in text for text in found.statements)


def test_a_record_that_cannot_have_been_drawn_gets_no_test_and_the_reason():
    late = Randomisation("AB", starts=((9, 11),))
    found = analyse_single_case(rings(A, B), "score", randomisation=late)
    assert "B starts at session 7, outside the planned 9 to 11" in found.test.reason
    assert any("no randomisation test" in text for text in found.statements)


def test_equal_values_give_no_interval_and_no_test():
    flat = rings([5] * 6, [5] * 7)
    found = analyse_single_case(flat, "score", randomisation=Randomisation("AB"))
    assert "one score" in found.test.reason
    assert found.estimates["conf_low"].isna().all()
    assert set(found.estimates["reason"]) == {"all sessions have one score"}


REFUSED = {
    "two sessions": (rings(A, [28, 25]), {}, "fewer than 3 sessions"),
    "one condition": (rings(A), {}, "'condition' holds 1"),
    "no column": (rings(A, B).drop(columns="session"), {}, "lacks a column"),
    "third": (rings(A, B), {"conditions": ("A", "C")}, "neither A nor B"),
    "both": (
        pd.concat([rings(A, B), rings(A, B).assign(condition="B")]), {}, "has both conditions",
    ),
    "better": (rings(A, B), {"better": "up"}, "higher or lower"),
    "one without B": (
        pd.concat([rings(A, B).assign(participant="P1"), rings(A).assign(participant="P2")]), {},
        "P2 has no session under 'B'.*wait for these sessions, or leave this case out",
    ),
    "half sessions": (rings(A, B).assign(session=np.arange(13) + 0.5), {}, "numbered 1, 2, 3"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_analysed_is_refused_in_one_sentence(name):
    table, options, said = REFUSED[name]
    with pytest.raises(InputError, match=said):
        analyse_single_case(table, "score", **options)


def plan(**single):
    return {
        "study": {"title": "Ring push of one", "seed": 4},
        "single_case": {"design": "AB", "sessions": 13, **single},
        "outcomes": [{"name": "radial_error", "better": "lower"}],
    }


def test_a_plan_needs_neither_groups_nor_tests():
    design = design_from_mapping(plan())
    assert design.group_names == ("athletes",) and design.tests == ()
    assert len(design.practice) == 13
    again = design_from_mapping(design.model_dump(exclude_unset=True, by_alias=True))
    assert again.single_case == design.single_case
    with pytest.raises(DesignError, match="tests: a plan needs a test"):
        design_from_mapping({k: v for k, v in plan().items() if k != "single_case"} | {
            "groups": [{"name": "a"}]
        })  # fmt: skip


BAD_PLANS = {
    "outside": ({"starts": [2, 9]}, "fewer than 3 of 13 sessions"),
    "short": ({"minimum": 2}, "3 sessions at least"),
    "odd": ({"design": "alternating"}, "even number of sessions"),
    "no starts": ({"design": "multiple baseline"}, "a start point, or a range"),
    "one name": ({"conditions": ["a", "a"]}, "have one name"),
    "kind": ({"design": "ABA"}, "must be one of"),
    "key": ({"start": [4, 9]}, "did you mean 'starts'"),
}


@pytest.mark.parametrize("name", BAD_PLANS)
def test_a_plan_that_contradicts_itself_is_refused(name):
    keys, said = BAD_PLANS[name]
    with pytest.raises(DesignError, match=said):
        design_from_mapping(plan(**keys))


def test_what_is_drawn_fits_the_plan_and_comes_again_from_its_seed():
    for keys in (
        {"starts": [5, 8]},
        {"design": "ABAB"},
        {"design": "multiple baseline", "starts": [[4, 5], [6, 7], [9, 9]]},
        {"design": "alternating", "sessions": 12, "alternation": "restricted"},
    ):
        design = design_from_mapping(plan(**keys))
        people = [f"P{n}" for n in range(3)]
        drawn = ml.plan.draw_single_case(design, people)
        assert drawn.recipe.seed == 4
        pd.testing.assert_frame_equal(drawn.table, ml.plan.draw_single_case(design, people).table)
        scores = np.random.default_rng(1).normal(size=len(drawn.table))
        found = analyse_single_case(
            drawn.table.assign(score=scores),
            "score",
            conditions=("A", "B"),
            randomisation=design.single_case.draw,
            sessions=design.single_case.sessions,
        )
        assert found.test.assignments == drawn.assignments


CHECKED = {
    "start outside": ({"starts": [9, 11]}, rings(A, B), "conditions do not fit the draw"),
    "strange": ({"starts": [5, 9]}, rings(A, B, names=("A", "X")), "condition not in the plan"),
    "missing": ({"starts": [5, 9]}, rings(A, B).drop(index=9), "session missing"),
    "more": ({"sessions": 12, "starts": [5, 9]}, rings(A, B), "more sessions than planned"),
    "column": ({}, rings(A, B).drop(columns="condition"), "column of a single case missing"),
    "clean": ({"starts": [5, 9]}, rings(A, B), None),
}


@pytest.mark.parametrize("name", CHECKED)
def test_data_are_checked_against_the_plan(name):
    keys, table, rule = CHECKED[name]
    design = design_from_mapping(plan(**keys))
    rules = set(check_table(table.rename(columns={"score": "radial_error"}), design=design)["rule"])
    assert rules == ({rule} if rule else set()) or rule in rules


def test_the_audit_of_a_plan_asks_what_a_single_case_is_asked():
    topics = ml.audit_design(design_from_mapping(plan(starts=[5, 9]))).table["topic"].tolist()
    assert "too few ways to draw" in topics and "one change" in topics
    assert not {"one group", "no delayed test", "no primary comparison"} & set(topics)
    bare = ml.audit_design(design_from_mapping(plan(randomised=False))).table["topic"].tolist()
    assert "nothing drawn by lot" in bare
