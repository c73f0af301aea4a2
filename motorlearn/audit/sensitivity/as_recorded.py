"""The conclusion from values as they were recorded, before the plan's replacements."""

import pandas as pd

from motorlearn.audit.comparison.groups import focused
from motorlearn.audit.comparison.phase_model import phase_model
from motorlearn.audit.context import Context
from motorlearn.audit.sensitivity.table import VARIANTS
from motorlearn.compare import PhaseComparison
from motorlearn.results import Refused
from motorlearn.trials import Study


def as_recorded_rows(
    name: str,
    note: str,
    original: PhaseComparison,
    other: PhaseComparison | Refused,
    phase: str,
    study: Study,
) -> pd.DataFrame:
    """Rows of a table of sensitivity: another comparison beside the original one."""
    if isinstance(other, Refused):
        return VARIANTS.frame([VARIANTS.row(variant=name, n=0, note=f"not run: {other.reason}")])
    context = Context(design=study.design, study=study)
    before = focused(phase_model(original, phase), context).conclusions()
    model = focused(phase_model(other, phase), context)
    after = {one.label: one for one in model.conclusions()}
    rows = []
    for first in before:
        one = after.get(first.label)
        if one is None:
            rows.append(VARIANTS.row(variant=name, contrast=first.label, n=0, note="not computed"))
            continue
        rows.append(
            VARIANTS.row(
                variant=name, contrast=one.label, n=len(model.complete.y), estimate=one.estimate,
                conf_low=one.conf_low, conf_high=one.conf_high, p=one.p,
                changes=one.direction != first.direction, note=note, null=one.null,
            )
        )  # fmt: skip
    return VARIANTS.frame(rows)
