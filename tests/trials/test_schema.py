"""Tables from code pass the same rules as files."""

import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.exceptions import ColumnError
from motorlearn.trials import check_table


def test_a_table_in_memory_passes_the_rules_of_a_file(study_folder):
    design = ml.read_design(study_folder.write())
    study_folder.trials["void"] = None
    assert check_table(study_folder.trials, design=design).empty
    broken = study_folder.trials.copy()
    broken.loc[3, "hit"] = 0
    broken.loc[5, "x"] = 99.0
    problems = check_table(broken, design=design)
    assert problems[["row", "rule"]].values.tolist() == [
        [3, "hit contradicts landing point"],
        [5, "radial error contradicts landing point"],
        [5, "hit contradicts landing point"],
    ]


def test_text_where_numbers_belong_and_a_missing_participant_are_refused():
    with pytest.raises(ColumnError, match="time"):
        check_table(pd.DataFrame({"participant": ["p1"], "time": ["9.1"]}))
    with pytest.raises(ColumnError, match="participant"):
        check_table(pd.DataFrame({"time": [9.1]}))
