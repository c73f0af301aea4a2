"""Files in, checked tables out."""

from motorlearn.trials.folder import read_study
from motorlearn.trials.package import data_package, table_bytes, table_schema, unit_of
from motorlearn.trials.people import left_out
from motorlearn.trials.problems import problem_counts, problem_list
from motorlearn.trials.reading import read_trials
from motorlearn.trials.rules import is_void, trial_key
from motorlearn.trials.study import Study, Trials, no_changes, no_problems

__all__ = [
    "Study",
    "Trials",
    "data_package",
    "is_void",
    "left_out",
    "no_changes",
    "no_problems",
    "problem_counts",
    "problem_list",
    "read_study",
    "read_trials",
    "table_bytes",
    "table_schema",
    "trial_key",
    "unit_of",
]
