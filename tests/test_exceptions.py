"""Messages name cause, values and remedy in one sentence."""

import pickle

import numpy as np

from motorlearn.exceptions import ColumnError, InputError, MotorlearnError


def test_message_names_cause_values_and_remedy():
    problem = InputError("hits exceed attempts", [np.int64(21), 22], "check the sheet")
    assert str(problem) == "hits exceed attempts (21, 22); check the sheet."


def test_only_five_values_are_quoted_and_the_rest_counted():
    assert "(0, 1, 2, 3, 4 and 3 more)" in str(InputError("odd", range(8)))


def test_the_tree_is_caught_by_its_root_and_by_value_error():
    assert issubclass(ColumnError, InputError)
    assert issubclass(InputError, MotorlearnError)
    assert issubclass(InputError, ValueError)


def test_an_error_crosses_a_process_border():
    problem = ColumnError("no column", ["participant"], "rename one")
    assert str(pickle.loads(pickle.dumps(problem))) == str(problem)
