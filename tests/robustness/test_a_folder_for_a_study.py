"""The name of a folder where a study is asked for."""

import pytest

import motorlearn as ml
from motorlearn.exceptions import InputError

CALLS = {
    "analyse_study": lambda given, out: ml.analyse_study(given),
    "write_report": ml.write_report,
    "write_learner_pages": ml.write_learner_pages,
}


@pytest.mark.parametrize("name", CALLS)
@pytest.mark.parametrize("given", ["my-study", None])
def test_what_is_no_study_is_named_with_the_remedy(name, given, tmp_path):
    with pytest.raises(InputError, match=r"no study.*read_study"):
        CALLS[name](given, tmp_path / "out")
    assert not (tmp_path / "out").exists()
