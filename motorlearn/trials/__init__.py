"""Files in, checked tables out."""

from motorlearn.trials.package import data_package, table_bytes, table_schema, unit_of
from motorlearn.trials.study import Study, Trials, no_changes, no_problems

__all__ = [
    "Study",
    "Trials",
    "data_package",
    "no_changes",
    "no_problems",
    "table_bytes",
    "table_schema",
    "unit_of",
]
