"""One athlete to five on the page of a study: people, the primary comparison, every test."""

from collections.abc import Iterator
from typing import Any

import pandas as pd

from motorlearn.analysis import StudyAnalysis
from motorlearn.compare import SingleCase
from motorlearn.design import Design
from motorlearn.measures.single_case import Randomised
from motorlearn.results import Refused


def case_fact(design: Design) -> str:
    """The comparison that a plan of a single case stands on, or that none was declared."""
    plan = design.single_case
    if plan is None:
        return "none declared"
    lot = "drawn by lot" if plan.randomised else "not drawn by lot"
    return (
        f"{design.outcomes[0].name}, {plan.conditions[1]} against {plan.conditions[0]}, "
        f"{plan.design}, {lot}"
    )


def flow_of_cases(analysis: StudyAnalysis) -> pd.DataFrame:
    """Participants allocated, and sessions held of those planned."""
    first = next(iter(analysis.single_cases.values()))
    plan = analysis.design.single_case
    held = len(first.sessions) if isinstance(first, SingleCase) else 0
    cases = len(first.cases) if isinstance(first, SingleCase) else 0
    planned = cases * (0 if plan is None else plan.sessions)
    return pd.DataFrame(
        {
            "group": list(analysis.allocated),
            "allocated": list(analysis.allocated.values()),
            "sessions held": held,
            "sessions planned": planned,
        }
    )


def rows_of_case(found: SingleCase | Refused) -> Iterator[dict[str, Any]]:
    """Every test and interval of one outcome of a single case; the first is its answer."""
    if isinstance(found, Refused):
        return
    a, b = found.conditions
    p = found.test.p if isinstance(found.test, Randomised) else float("nan")
    rows = found.estimates[found.estimates["index"] == "difference"]
    if len(rows) == 1:
        yield _row(rows.iloc[0], f"{b} − {a}", "randomisation test", p, first=True)
    else:
        said, alone = f"{b} − {a}, over the cases", {"estimate": float(rows["estimate"].mean())}
        none = {"conf_low": float("nan"), "conf_high": float("nan")}
        row = alone | none if isinstance(found.summary, Refused) else found.summary.iloc[0]
        yield _row(row, said, "randomisation test", p, first=True)
    for row in found.estimates.to_dict("records"):
        said = f"{row['case']}: {row['index']} of {b} against {a}"
        yield _row(row, said, "interval widened by serial dependence", float("nan"), first=False)


def _row(row: Any, contrast: str, method: str, p: float, *, first: bool) -> dict[str, Any]:
    numbers = {name: float(row[name]) for name in ("estimate", "conf_low", "conf_high")}
    return {"contrast": contrast, "method": method, "first": first, "p": p, **numbers}
