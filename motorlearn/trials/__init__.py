"""Files in, checked tables out.

Reading: ``reading`` (one file), ``folder`` (a study), ``opening`` and the readers of each kind of
file behind it. Foreign files: ``proposing``, ``importing``, ``intake``. Checking: ``rules``,
``planned``, ``people``, ``orders``, ``suspicions``. Looking: ``balance``. Showing: ``problems``,
``problem_page``.
Giving away: ``privacy``,
``pseudonyms``, ``package``, ``sharing``.
"""

from typing import TYPE_CHECKING

from motorlearn.doors import late_names
from motorlearn.trials.checking.balance import attrition, baseline_differences, missing_table
from motorlearn.trials.checking.orders import order_audit
from motorlearn.trials.checking.people import left_out
from motorlearn.trials.checking.problem_page import MADE_HERE, problem_page, problem_table
from motorlearn.trials.checking.problems import problem_counts, problem_list
from motorlearn.trials.checking.rules import trial_key
from motorlearn.trials.checking.suspicions import outliers
from motorlearn.trials.counted import counted_rows, set_aside_void, void_reasons
from motorlearn.trials.folder import has_data, read_study, shipped_study
from motorlearn.trials.handedness import left_handed
from motorlearn.trials.importing.intake import change_table, take_in
from motorlearn.trials.importing.proposing import propose_recipe
from motorlearn.trials.importing.replay import import_trials
from motorlearn.trials.importing.said_questionnaires import AskedQuestionnaires
from motorlearn.trials.importing.starting import Asked
from motorlearn.trials.named_files import clip_files, refuse_inputs, study_files, study_sums
from motorlearn.trials.reading.trials_file import read_trials
from motorlearn.trials.ruled import as_recorded, planned_rows
from motorlearn.trials.sharing.data_package import data_package, table_bytes, table_schema, unit_of
from motorlearn.trials.sharing.packing import share_study
from motorlearn.trials.sharing.pseudonyms import replace_identifiers, study_identifiers
from motorlearn.trials.sharing.small_cells import small_cells
from motorlearn.trials.study import Study, Trials, no_changes, no_problems
from motorlearn.trials.time_rules import count_cuts, no_cuts, time_cuts

if TYPE_CHECKING:
    from motorlearn.trials.schema import check_table, trials_schema

__getattr__, __dir__ = late_names(
    __name__, dict.fromkeys(("check_table", "trials_schema"), "motorlearn.trials.schema")
)

__all__ = [
    "MADE_HERE",
    "Asked",
    "AskedQuestionnaires",
    "Study",
    "Trials",
    "as_recorded",
    "attrition",
    "baseline_differences",
    "change_table",
    "check_table",
    "clip_files",
    "count_cuts",
    "counted_rows",
    "data_package",
    "has_data",
    "import_trials",
    "left_handed",
    "left_out",
    "missing_table",
    "no_changes",
    "no_cuts",
    "no_problems",
    "order_audit",
    "outliers",
    "planned_rows",
    "problem_counts",
    "problem_list",
    "problem_page",
    "problem_table",
    "propose_recipe",
    "read_study",
    "read_trials",
    "refuse_inputs",
    "replace_identifiers",
    "set_aside_void",
    "share_study",
    "shipped_study",
    "small_cells",
    "study_files",
    "study_identifiers",
    "study_sums",
    "table_bytes",
    "table_schema",
    "take_in",
    "time_cuts",
    "trial_key",
    "trials_schema",
    "unit_of",
    "void_reasons",
]
