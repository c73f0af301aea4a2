"""Trials of a study with the part of the study and the group in every row."""

import pandas as pd

from motorlearn.analysis.allocated import with_clusters
from motorlearn.analysis.crossed import with_cells_of_factors, with_covariates
from motorlearn.design import stage_column, tests_not_told_apart
from motorlearn.exceptions import InputError
from motorlearn.trials import Study
from motorlearn.trials.checking.conditions import conditions_as_groups
from motorlearn.trials.checking.single_case import in_one_phase
from motorlearn.trials.study import study_or_refuse


def staged_trials(study: Study) -> pd.DataFrame:
    """Trials with a column ``stage`` and a group in every row.

    Raises
    ------
    InputError
        If a column is lacking, or tests of one phase cannot be told apart.
    """
    study = study_or_refuse(study)
    table, design = study.trials.table, study.design
    table = in_one_phase(table, design)
    absent = [name for name in ("participant", "phase") if name not in table]
    if absent:
        raise InputError("the trials lack a column", absent, "add it, or map it at import")
    table = with_covariates(table, study)
    table = with_cells_of_factors(table, design)
    table = conditions_as_groups(table, design)
    if "group" not in table:
        if len(design.group_names) > 1:
            raise InputError(
                "the trials do not say who is in which group",
                list(design.group_names),
                "add a column 'group', or a file of participants that has it",
            )
        table = table.assign(group=design.group_names[0])
    merged = tests_not_told_apart(table, design)
    if merged:
        raise InputError(
            "tests of one phase cannot be told apart",
            [f"{phase}: {', '.join(names)}" for phase, names in merged.items()],
            "add a column 'test' with their names, or give each test a session of its own",
        )
    return with_clusters(table.assign(stage=stage_column(table, design)), study)
