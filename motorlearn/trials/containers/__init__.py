"""Files of every known kind as a grid of texts.

apart           Old workbooks read in a process of their own, which may fail without harm
delimited       Text files: encoding, separator and decimal mark found with evidence, cells kept
grid            A sheet of cells as it stood in the file, before anything is made of it
markup          What the parts of a workbook would cost to read, told by a stream of their elements
opening         Open a file of any known kind as a grid of texts, after the safety checks
parquet         Parquet files as a grid of texts, so that they pass the same checks as any other
safety          What is refused before it is read: paths that leave the folder, files that would
statistics      Files of SPSS and Stata, with their value labels and declared missing codes
workbook        Workbooks as a grid of texts: what is hidden, merged, computed or noted in them
workbook_marks  What a workbook says beside its values: formulas, hidden and merged cells

The readers of workbooks, SPSS and Stata stand on heavy packages and are loaded when they are used.
"""

from typing import TYPE_CHECKING

from motorlearn.doors import late_names

if TYPE_CHECKING:
    from motorlearn.trials.containers.statistics import read_statistics_file
    from motorlearn.trials.containers.workbook import (
        read_old_workbook,
        read_sheets,
        read_workbook,
    )

__getattr__, __dir__ = late_names(
    __name__,
    {
        "read_old_workbook": "motorlearn.trials.containers.workbook",
        "read_sheets": "motorlearn.trials.containers.workbook",
        "read_statistics_file": "motorlearn.trials.containers.statistics",
        "read_workbook": "motorlearn.trials.containers.workbook",
    },
)

__all__ = ["read_old_workbook", "read_sheets", "read_statistics_file", "read_workbook"]
