"""Covariates of the plan come from the trials or the file of participants, or are refused."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.analysis.crossed import with_covariates
from motorlearn.exceptions import InputError
from tests.gallery.studies import ERROR, PARTS, plan, study, trials


def with_age(**columns):
    content = plan(ERROR, units={"length": "cm"})
    content["primary"]["covariates"] = ["age"]
    found = study(content, trials(16, PARTS, seed=2).assign(**columns))
    people = pd.DataFrame({"participant": [f"P{i:02d}" for i in range(1, 17)]})
    return replace(found, participants=people.assign(age=np.arange(20, 36)))


def test_an_age_of_the_file_of_participants_reaches_every_trial_and_the_answer():
    found = with_age()
    table = with_covariates(found.trials.table, found)
    assert table.groupby("participant")["age"].agg(set).tolist() == [{20 + i} for i in range(16)]
    answer = ml.analyse_study(found).primary
    plain = ml.analyse_study(replace(found, design=study(plan(ERROR), table).design)).primary
    assert answer["df"].item() == plain["df"].item() - 1


def test_a_column_of_the_trials_is_taken_as_it_stands():
    found = with_age(age=50)
    assert set(with_covariates(found.trials.table, found)["age"]) == {50}


@pytest.mark.parametrize("people", [None, pd.DataFrame({"participant": ["P01"]})])
def test_a_covariate_in_no_file_is_refused(people):
    found = replace(with_age(), participants=people)
    with pytest.raises(InputError, match="a covariate of the plan is in no file"):
        with_covariates(found.trials.table, found)
