"""Generalisability: variance components of a score, and what more conditions would give."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.analysis import generalisability
from motorlearn.exceptions import ColumnError, InputError

REFERENCE = Path(__file__).parents[1] / "reference" / "generalisability"


def crossed(seed=0, learners=12, raters=3):
    rng = np.random.default_rng(seed)
    scores = rng.normal(10, 2, (learners, 1)) + rng.normal(0, 0.8, raters)
    scores = np.round(scores + rng.normal(0, 1, (learners, raters)), 1)
    rows = [(f"p{i}", f"r{j}", scores[i, j]) for i, j in np.ndindex(scores.shape)]
    return pd.DataFrame(rows, columns=["participant", "rater", "score"])


def test_one_facet_is_the_intraclass_correlation():
    """Absolute is ICC(A,m), relative ICC(C,m), of a table that every rater filled."""
    table = crossed()
    found = generalisability(table, "score", facets=["rater"])
    agreed = ml.rater_agreement(
        table, item="participant", rater="rater", score="score", kind="continuous"
    ).estimates.set_index("term")["estimate"]
    one, three = found.coefficients(), found.coefficients(rater=3)
    assert one["absolute"] == pytest.approx(agreed["ICC(A,1)"], abs=1e-5)
    assert one["relative"] == pytest.approx(agreed["ICC(C,1)"], abs=1e-5)
    assert three["absolute"] == pytest.approx(agreed["ICC(A,k)"], abs=1e-5)
    assert three["relative"] == pytest.approx(agreed["ICC(C,k)"], abs=1e-5)
    assert found.components["share"].sum() == pytest.approx(1)


def test_coefficients_by_hand():
    """Variances 4, 1, 2, 1 of learners, raters, clips of a learner and residual."""
    rng = np.random.default_rng(3)
    rows = [(f"p{p}", f"c{p}.{c}", r) for p in range(6) for c in range(2) for r in "AB"]
    table = pd.DataFrame(rows, columns=["participant", "clip", "rater"])
    table["score"] = rng.normal(0, 1, len(table)) + table["participant"].str[1].astype(int)
    found = generalisability(table, "score", facets=["rater"], nested=["clip"])
    assert found.components["source"].tolist() == [
        "participant", "rater", "clip of a participant", "participant × rater", "residual",
    ]  # fmt: skip
    by_hand = type(found)(
        components=found.components.assign(variance=[4.0, 1.0, 2.0, 0.5, 1.0]),
        decisions=found.decisions,
        learner=found.learner,
        facets=found.facets,
        parts=found.parts,
        recipe=found.recipe,
    )
    told = by_hand.coefficients(rater=2, clip=4)
    relative, absolute = 2 / 4 + 0.5 / 2 + 1 / 8, 1 / 2 + 2 / 4 + 0.5 / 2 + 1 / 8
    assert told["relative"] == pytest.approx(4 / (4 + relative))
    assert told["absolute"] == pytest.approx(4 / (4 + absolute))
    assert told["sem"] == pytest.approx(absolute**0.5)


def test_fewest_scores_that_reach_a_coefficient():
    found = generalisability(crossed(), "score", facets=["rater"], numbers={"rater": range(1, 9)})
    best = found.fewest(0.9)
    enough = found.decisions[found.decisions["absolute"] >= 0.9]["rater"].min()
    assert best["scores"].min() == enough
    assert f"0.90 is reached with fewest scores of a learner by rater: {enough}." in (
        found.sentence(0.9)
    )
    assert "None of the numbers" in found.sentence(0.9999)
    assert "Where a single score comes from" in str(found) and "without intervals" in str(found)
    assert str(type(found).from_json(found.to_json())) == str(found)


@pytest.mark.slow
def test_components_of_three_facets_with_gaps_are_those_of_lme4():
    table = pd.read_csv(REFERENCE / "scores.csv")
    expected = pd.read_csv(REFERENCE / "values.csv").set_index("grp")["vcov"]
    found = generalisability(table, "score", facets=["rater", "occasion"], nested=["clip"])
    names = {
        "participant": "participant", "rater": "rater", "occasion": "occasion",
        "own": "clip of a participant", "participant:rater": "participant × rater",
        "participant:occasion": "participant × occasion", "rater:occasion": "rater × occasion",
        "rater:own": "rater × participant × clip", "occasion:own": "occasion × participant × clip",
        "Residual": "residual",
    }  # fmt: skip
    ours = found.components.set_index("source")["variance"]
    for name, source in names.items():
        assert ours[source] == pytest.approx(expected[name], rel=2e-4, abs=1e-5), name


@pytest.mark.parametrize(
    ("change", "options", "error", "said"),
    [
        (lambda t: t, {"facets": []}, InputError, "needs facets"),
        (lambda t: t, {"facets": ["item"]}, ColumnError, "lacks a column"),
        (lambda t: t[t["rater"] == "r0"], {"facets": ["rater"]}, InputError, "one condition"),
        (lambda t: t[t["participant"].isin(["p0", "p1"])], {"facets": ["rater"]}, InputError,
         "5 of them"),
        (lambda t: t.assign(test=t["rater"]), {"facets": ["rater", "test"]}, InputError,
         "cannot be told apart"),
        (lambda t: t.assign(score="good"), {"facets": ["rater"]}, InputError, "not finite numbers"),
        (
            lambda t: t.assign(score=t["score"].mask(t.index == 3, np.inf)),
            {"facets": ["rater"]},
            InputError,
            "not finite numbers",
        ),
        (lambda t: t[t["rater"] == "r0"], {"facets": ["rater"]}, InputError, "one condition"),
        (lambda t: t, {"facets": ["rater"], "numbers": {"clip": [1]}}, InputError, "no facet"),
    ],
)  # fmt: skip
def test_what_cannot_be_told_apart_is_refused(change, options, error, said):
    with pytest.raises(error, match=said):
        generalisability(change(crossed()), "score", **options)


def test_impossible_questions_are_refused():
    found = generalisability(crossed(), "score", facets=["rater"])
    for ask in (
        lambda: found.coefficients(rater=0),
        lambda: found.coefficients(clip=2),
        lambda: found.fewest(1.5),
        lambda: found.fewest(0.8, kind="both"),
    ):
        with pytest.raises(InputError):
            ask()


def test_words_name_the_reader_s_columns_and_never_reach_a_goal_by_rounding():
    table = crossed(seed=3)
    same = table.assign(score=table["score"] - table.groupby("rater")["score"].transform("mean"))
    found = generalisability(same, "score", facets=["rater"])
    assert "no variance was found for rater" in found.recipe.message
    assert "source" not in found.recipe.message and "y'" not in found.recipe.message
    most = found.decisions["absolute"].max()
    told = found.sentence(most + 1e-4)
    assert f"the highest is {most:.3f}" in told
    drawn = ml.figures.decision_curves(found, goal=most + 1e-4)
    assert f" to {most:.3f} with more of rater" in drawn.alt
