"""A plan that is started from files: what they show is written, what they cannot show is asked."""

import re
import tomllib

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

import motorlearn as ml
from motorlearn.commands import app
from motorlearn.exceptions import InputError

PARTS = {1: 6, 2: 24, 3: 6, 4: 6}
CELLS = {
    "1": "order:blocked+aid:always",
    "2": "order:blocked+aid:faded",
    "3": "order:random+aid:always",
    "4": "order:random+aid:faded",
}
ASKED = ml.trials.Asked(
    outcome="aim=push_deg,timing=push_ms",
    groups=CELLS,
    targets={"aim": "40", "aim@transfer": "60", "timing": "225"},
    measure="total_error",
    retention_days=1,
    primary="retention:order",
)


@pytest.fixture
def pushes(tmp_path):
    """Codes and two measurements in a row of trials that nothing cuts into blocks."""
    rng = np.random.default_rng(3)
    frames = [
        pd.DataFrame(
            {
                "id": f"s{person:02d}",
                "group_id": person % 4 + 1,
                "phase_id": part,
                "trial": np.arange(1, count + 1),
                "push_deg": ((60 if part == 4 else 40) + rng.normal(2, 8, count)).round(3),
                "push_ms": rng.normal(230, 20, count).round(1),
            }
        )
        for person in range(24)
        for part, count in PARTS.items()
    ]
    file = tmp_path / "pushes.csv"
    pd.concat(frames).to_csv(file, index=False)
    return file


def test_two_factors_two_outcomes_and_blocks_without_a_key_by_hand(pushes, tmp_path):
    found = ml.trials.take_in(pushes, tmp_path / "new", asked=ASKED)
    design = found.study.design
    assert design.group_names == (
        "blocked-always", "blocked-faded", "random-always", "random-faded",
    )  # fmt: skip
    assert {f.name: f.levels for f in design.factors} == {
        "order": ("blocked", "random"), "aid": ("always", "faded"),
    }  # fmt: skip
    assert (design.practice[0].blocks, design.practice[0].trials_per_block) == (4, 6)
    assert [(o.name, o.unit, o.target) for o in design.outcomes] == [
        ("aim", "deg", 40), ("timing", "ms", 225),
    ]  # fmt: skip
    assert [t.interval_days for t in design.tests] == [None, 1, 1]
    assert any("taken to hold 6 trials" in q for q in found.proposal.questions)
    row = ml.analysis.primary_comparison(found.study).primary.iloc[0]
    assert (row["n_group"], row["n_reference"]) == (12, 12)
    assert row["estimate"] == pytest.approx(adjusted_difference(pushes), rel=1e-9)


def adjusted_difference(file):
    """Random less blocked at retention by least squares, from the file and nothing else."""
    raw = pd.read_csv(file)
    total = ((raw["push_deg"] - 40) ** 2).groupby([raw["id"], raw["phase_id"]]).mean() ** 0.5
    scores = total.unstack()
    cell = raw.groupby("id")["group_id"].first() - 1
    order, aid = cell // 2 - 0.5, cell % 2 - 0.5
    model = np.column_stack([np.ones(24), order, aid, order * aid, scores[1]])
    return np.linalg.lstsq(model, scores[3], rcond=None)[0][1]


def test_outcomes_with_a_unit_in_their_heading_are_taken_and_asked_about(pushes, tmp_path):
    found = ml.trials.take_in(pushes, tmp_path / "new")
    assert [(o.name, o.unit) for o in found.study.design.outcomes] == [
        ("push_deg", "deg"), ("push_ms", "ms"),
    ]  # fmt: skip
    asked = " ".join(found.proposal.questions)
    for words in ("taken to be push_deg and push_ms", "target", "--retention-days"):
        assert words in asked
    text = (tmp_path / "new" / "study.toml").read_text()
    assert "# [primary]" in text
    assert found.study.design.primary is None


def test_the_command_takes_the_same_answers(pushes, tmp_path):
    words = [
        "--outcome", ASKED.outcome, "--measure", "total_error", "--retention-days", "1",
        "--primary", "retention:order", "--target", "aim=40,aim@transfer=60,timing=225",
        "--groups", ",".join(f"{code}={name}" for code, name in CELLS.items()),
    ]  # fmt: skip
    home = tmp_path / "new"
    done = CliRunner().invoke(app, ["import", str(pushes), "--study", str(home), *words])
    assert done.exit_code == 0, done.output
    told = ml.trials.take_in(pushes, tmp_path / "told", asked=ASKED).study.design
    assert ml.read_design(home).factors == told.factors
    assert ml.read_design(home).primary == told.primary


def test_rules_that_the_files_suggest_stand_behind_a_sign_until_they_are_taken(slides, tmp_path):
    home = tmp_path / "new"
    found = ml.trials.take_in(slides, home)
    design = found.study.design
    assert not design.exclusions
    assert not design.replacements
    plan = home / "study.toml"
    text = plan.read_text()
    for words in ("P07 out of the tests", "practice beyond block 3", "equals = 90"):
        assert words in text
    taken = re.sub(r"^# (?![?S])", "", text, flags=re.MULTILINE).replace(
        "value =\n", "value = 132\n"
    )
    plan.write_text(taken)
    tomllib.loads(taken)
    study = ml.read_study(home)
    assert [rule.rule for rule in study.design.exclusions] == [
        "P07 out of the tests", "practice beyond block 3",
    ]  # fmt: skip
    assert {(r.column, r.equals, r.value, r.take) for r in study.design.replacements} == {
        ("y", 90, 132, None), ("x", None, None, "largest"), ("y", None, None, "largest"),
    }  # fmt: skip
    table = study.trials.table
    assert not (table.loc[ml.trials.counted_rows(table), "y"] == 90).any()


def test_a_person_who_is_asked_decides_rule_by_rule(slides, tmp_path):
    def ask(question, expected):
        if "Exactly 90" in question:
            return "132"
        return "yes" if "P07" in question else expected

    study = ml.trials.take_in(slides, tmp_path / "new", ask=ask).study
    assert [rule.participants for rule in study.design.exclusions] == [("P07",)]
    assert [(r.equals, r.value) for r in study.design.replacements] == [(90, 132)]


@pytest.mark.parametrize(
    ("said", "word"),
    [
        ({"outcome": "push_deg", "targets": {"push_deg": "forty"}}, "a target is a number"),
        ({"outcome": "push_deg", "targets": {"aim": "40"}}, "a target is a number"),
        ({"groups": {"1": "order:blocked", "2": "random"}}, "different factors"),
        ({"groups": {"1": "order:", "2": "order:random"}}, "different factors"),
        ({"primary": "later"}, "primary"),
        ({"primary": "retention:sideways+blocked"}, "sideways"),
    ],
)
def test_answers_that_cannot_be_are_named(pushes, tmp_path, said, word):
    with pytest.raises(InputError, match=word):
        ml.trials.take_in(pushes, tmp_path / "new", asked=ml.trials.Asked(**said))
    assert not (tmp_path / "new").exists()


def test_days_that_are_no_number_are_named(pushes, tmp_path):
    with pytest.raises(InputError, match="days to the delayed tests are a number"):
        ml.trials.take_in(
            pushes, tmp_path / "new", ask=lambda q, e: "a day" if q.startswith("Days") else e
        )
