"""Rows of many curves written to a Parquet file as they are made, and counted on the way."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from motorlearn.curves.batch.frames import learner_columns, verdicts
from motorlearn.curves.batch.one_batch import Found
from motorlearn.curves.batch.running import Done
from motorlearn.curves.choice import choose
from motorlearn.curves.status import STATUSES
from motorlearn.files import new_file


@dataclass
class Tally:
    """Learners and rows so far, learners by form and status, and by preferred form."""

    forms: tuple[str, ...]
    learners: int = 0
    rows: int = 0

    def __post_init__(self) -> None:
        self.by_status = np.zeros((len(self.forms), len(STATUSES)), np.int64)
        self.by_verdict = np.zeros(len(verdicts(self.forms)), np.int64)

    def add(self, found: Found, verdict: np.ndarray) -> None:
        """Count one batch; ``verdict`` holds indices into :func:`verdicts`."""
        self.learners += len(verdict)
        self.rows += int(found["n"][:, 0].sum())
        for column, counts in enumerate(self.by_status):
            counts += np.bincount(found["status"][:, column], minlength=len(STATUSES))
        self.by_verdict += np.bincount(verdict, minlength=len(self.by_verdict))

    def status(self) -> pd.DataFrame:
        """Learners by form and status, in the order of the forms and of the statuses."""
        form, code = np.nonzero(self.by_status)
        return pd.DataFrame(
            {
                "form": [self.forms[k] for k in form],
                "status": [STATUSES[k] for k in code],
                "learners": self.by_status[form, code],
            }
        )

    def preferred(self) -> pd.DataFrame:
        """Learners by preferred form, most of them first."""
        order = np.argsort(-self.by_verdict, kind="stable")
        order = order[self.by_verdict[order] > 0]
        names = verdicts(self.forms)
        return pd.DataFrame({"form": [names[k] for k in order], "learners": self.by_verdict[order]})


def write_rows(done: Done, forms: tuple[str, ...], target: Path) -> Tally:
    """Write rows as they come; the file takes its place when all are there."""
    tally = Tally(forms)
    with new_file(target, only_over=b"PAR1") as temporary:
        writer = None
        try:
            for keys, _, found in done:
                sheet = _sheet(learner_columns(keys, found, forms))
                writer = writer or _writer(temporary, sheet.schema)
                writer.write_table(sheet.cast(writer.schema))
                tally.add(found, choose(found["aicc"], found["status"])[0])
        finally:
            if writer is not None:
                writer.close()
    return tally


def _sheet(columns: Mapping[str, Any]) -> pa.Table:
    """Columns as a table in which what is missing is empty."""
    return pa.table(
        {name: pa.Array.from_pandas(pd.Series(values)) for name, values in columns.items()}
    )


def _writer(path: Path, schema: pa.Schema) -> pq.ParquetWriter:
    """A writer that looks for repeats among words alone; estimates hardly ever repeat."""
    numbers = (pa.types.is_floating, pa.types.is_integer, pa.types.is_boolean)
    words = [item.name for item in schema if not any(kind(item.type) for kind in numbers)]
    return pq.ParquetWriter(path, schema, use_dictionary=words)
