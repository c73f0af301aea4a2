"""A result prints and is stored from its declared fields, and comes back the same."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import pytest

from motorlearn.exceptions import InputError
from motorlearn.results import Recipe, Refused, Result
from motorlearn.tables import estimates_table


@dataclass(frozen=True)
class Sample(Result):
    estimates: pd.DataFrame
    matrix: np.ndarray
    refused: Refused
    recipe: Recipe
    limits: tuple[float, ...] = (1.0, float("inf"))
    names: dict[str, int] = field(default_factory=dict)

    def tables(self):
        return (estimates_table("sample", "A sample", self.estimates, notes=["A note."]),)


@pytest.fixture
def sample():
    frame = pd.DataFrame(
        {"term": ["start", "gain<b>"], "estimate": [1.25, np.nan], "p": [0.0421, 1e-9], "n": [3, 4]}
    )
    recipe = Recipe("fit", {"outcome": "time"}, {"level": 0.95, "pair": ("a", "b")}, n=7, seed=3)
    return Sample(frame, np.arange(6.0).reshape(2, 3), Refused("one person"), recipe,
                  names={"a": 1})  # fmt: skip


def test_json_round_trip_keeps_every_field(sample):
    back = Sample.from_json(sample.to_json())
    pd.testing.assert_frame_equal(back.estimates, sample.estimates)
    np.testing.assert_array_equal(back.matrix, sample.matrix)
    assert back.matrix.shape == (2, 3)
    assert back.refused == sample.refused
    assert back.limits == sample.limits
    assert back.names == sample.names
    assert back.recipe.options == sample.recipe.options
    assert list(back.recipe.left_out.columns) == list(sample.recipe.left_out.columns)


def test_json_of_another_class_is_refused(sample):
    with pytest.raises(InputError, match="does not hold a Sample"):
        Sample.from_json(sample.to_json().replace('"Sample"', '"Other"'))


def test_json_with_other_fields_is_refused(sample):
    with pytest.raises(InputError, match="limits"):
        Sample.from_json(sample.to_json().replace('"limits"', '"bounds"'))


def test_an_unknown_record_is_refused(sample):
    with pytest.raises(InputError, match="unknown kind"):
        Sample.from_json(sample.to_json().replace('"record": "Refused"', '"record": "os.system"'))


def test_text_and_html_show_the_same_cells_and_escape_them(sample):
    text, page = str(sample), sample._repr_html_()
    for cell in (".042", "< .001", "1.250", "–"):
        assert cell in text
        assert cell.replace("<", "&lt;") in page
    assert "<b>" not in page
    assert "A note." in text
    assert "A note." in page


def test_a_refusal_is_false_and_says_why():
    assert not Refused("too few")
    assert "too few" in str(Refused("too few"))


@pytest.mark.parametrize("reason", ["nobody has both scores", "nobody has both scores."])
def test_a_reason_ends_a_sentence_with_one_full_stop(reason):
    assert Refused(reason).told == "nobody has both scores."
