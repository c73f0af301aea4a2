"""The plan says what an outcome is, and the mixed model of trials follows."""

import numpy as np
import pytest

import motorlearn as ml
from motorlearn.exceptions import ColumnError, DesignError
from motorlearn.mixed import MixedFit
from motorlearn.results import Refused
from motorlearn.trials.kind_problems import kind_problems
from tests.gallery import studies
from tests.gallery.studies import PARTS, plan, study, trials, written


def rated_study(kind="rating"):
    """Technique rated 0 to 2 in every trial of the tests; events and times beside it."""
    parts = [part for part in PARTS if part[0] != "acquisition"]
    table = trials(24, parts, seed=5, effect=-0.3)
    near = table["radial_error"]
    table["score"] = (near < 22).astype(int) + (near < 11)
    table["catches"] = np.floor(near / 9).astype(int)
    name = {"rating": "score", "count": "catches", "time": "time"}[kind]
    content = plan({"name": name, "better": "higher", "kind": kind}, practice=None)
    return study(content, table, name) if kind == "time" else study(content, table, "none")


FAMILIES = {"rating": "ordinal", "count": "negative-binomial", "time": "lognormal"}
SAID = {
    "rating": "one of ordered categories (cumulative logit)",
    "count": "the model is negative binomial",
    "time": "one of its logarithm",
}


@pytest.fixture(scope="module", params=FAMILIES)
def analysed(request):
    return request.param, ml.analyse_study(rated_study(request.param))


def test_the_kind_chooses_the_model(analysed):
    kind, found = analysed
    assert isinstance(found.mixed, MixedFit) and found.mixed.family == FAMILIES[kind]
    assert found.mixed.converged and not isinstance(found.mixed_audit, Refused)
    rows = found.mixed_audit.table
    assert rows["assumption"].str.contains("proportional odds").any() == (kind == "rating")


def test_what_an_analysis_holds_goes_by_its_name(analysed):
    _, found = analysed
    assert [table.title for table in found.tables()] == [
        "Primary comparison", "Outcomes of the study"
    ]  # fmt: skip
    assert found.beside["mixed model"] is found.mixed
    assert found.beside["assumptions of the mixed model"] is found.mixed_audit


@pytest.mark.parametrize("name", ["hits", "hit_rate"])
def test_hits_that_nobody_noted_are_refused_with_what_to_add(name):
    content = plan({"name": name, "better": "higher"})
    table = trials(4, PARTS, seed=2).drop(columns="hit")
    with pytest.raises(ColumnError) as told:
        ml.analyse_study(study(content, table, "x"))
    assert str(told.value) == (
        f"outcome '{name}' has no column in the trials ('{name}'); add 'hit' with 1 and 0 for "
        "every trial, or 'hits' and 'attempts'."
    )


def test_the_report_says_why_and_draws_it(analysed, tmp_path, no_pictures):
    kind, found = analysed
    ml.write_report(found, tmp_path / "out", quiet=True)
    assert "modelled-means" in {name for name, _ in no_pictures}
    text = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert SAID[kind] in text
    assert "modelled-means" in text
    assert (kind == "rating") == ("the logit of a higher rating" in text)


def test_values_that_are_not_of_the_kind_are_told():
    content = plan({"name": "radial_error", "better": "lower", "kind": "count"})
    found = ml.analyse_study(study(content, trials(8, PARTS, seed=2), "radial_error"))
    assert isinstance(found.mixed, Refused)
    assert "calls 'radial_error' a count" in found.mixed.reason
    assert "whole number" in found.mixed.reason


def test_an_unknown_kind_is_refused_in_a_sentence(tmp_path):
    folder = studies.write(rated_study(), tmp_path / "s")
    text = (folder / "study.toml").read_text(encoding="utf-8")
    assert f"kind = {written('rating')}" in text
    assert ml.read_study(folder).design.outcomes[0].kind == "rating"
    (folder / "study.toml").write_text(text.replace('"rating"', '"mark"'), encoding="utf-8")
    with pytest.raises(DesignError, match=r"kind.*mark|mark.*kind"):
        ml.read_study(folder)


@pytest.mark.parametrize(
    ("kind", "spoil", "rule"),
    [
        ("rating", lambda v: v.replace(1, 2), "a rating that nobody was given"),
        ("count", lambda v: v * 0, "outcome never varies"),
        ("rating", lambda v: v + 0.5 * (v.index == 3), "ratings between two others"),
        ("count", lambda v: v + 0.5 * (v.index == 3), "counts below zero or not whole"),
        ("count", lambda v: v.mask(v.index == 3, -1), "counts below zero or not whole"),
        ("time", lambda v: v.mask(v.index == 3, 0), "times that are not above zero"),
    ],
)
def test_a_check_names_values_that_are_not_of_the_kind(kind, spoil, rule):
    found = rated_study(kind)
    name, table = found.design.outcomes[0].recorded, found.trials.table
    assert kind_problems(table, found.design, "trials.csv").empty
    spoilt = table.assign(**{name: spoil(table[name])})
    (row,) = kind_problems(spoilt, found.design, "trials.csv").to_dict("records")
    assert row["rule"] == rule and row["column"] == name and row["advice"]


def test_ratings_that_are_all_at_the_top_at_one_test_are_told_and_refused_with_the_reason():
    found = rated_study("rating")
    name, table = found.design.outcomes[0].recorded, found.trials.table
    late = table["phase"] == "retention"
    spoilt = table.assign(**{name: table[name].mask(late, table[name].max())})
    (row,) = kind_problems(spoilt, found.design, "trials.csv").to_dict("records")
    assert row["rule"] == "outcome never varies at a test" and "retention" in row["value"]
    best = f"{table[name].max():g}"
    answer = ml.compare_phases(spoilt, name, group="group", baseline="pretest")
    told = f"everyone in a group has the same score (blocked {best}, random {best})"
    assert told in " ".join(answer.contrasts["reason"])
