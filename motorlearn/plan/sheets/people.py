"""Who gets sheets: as given, as drawn before, continued with who joined since, or drawn now."""

from typing import Any

import pandas as pd

from motorlearn.design import Design
from motorlearn.plan.allocation.continuing import continue_allocation, kept_allocation
from motorlearn.plan.sheets.kept import Earlier
from motorlearn.plan.sheets.rows import allocation_of, people_of


def who_gets_sheets(
    design: Design, given: pd.DataFrame | None, seed: int, earlier: Earlier, *, redraw: bool
) -> tuple[pd.DataFrame, dict[str, Any]]:
    """Give the participants with their groups, and the audit log of how they came to them.

    A list that was drawn before is kept as it is; who is new on `given` gets the places that are
    left. Only `redraw` draws anew, and the earlier log is kept in the new one.

    Raises
    ------
    InputError
        If people are missing, or the kept list is not the one that was drawn.
    """
    settled = people_of(design, given)
    if settled is not None:
        log = {"method": "as given", "participants": len(settled)}
        if given is None and earlier.people is not None and not redraw:
            same = ["participant", "group"]
            settled = earlier.people if settled[same].equals(earlier.people[same]) else settled
        return settled, dict(earlier.log) if settled.equals(earlier.people) else log
    if earlier.people is not None and not redraw:
        return _continued(given, earlier)
    allocated = allocation_of(design, given, seed=seed)
    log = dict(allocated.log)
    if earlier.log:
        before = dict(earlier.log)
        log["earlier"] = [*before.pop("earlier", []), before]
    return allocated.table.drop(columns="sequence"), log


def _continued(given: pd.DataFrame | None, earlier: Earlier) -> tuple[pd.DataFrame, dict[str, Any]]:
    kept = pd.DataFrame() if earlier.people is None else earlier.people
    if given is None:
        return kept, dict(earlier.log)
    new = given[~given["participant"].astype("str").isin(set(kept["participant"]))]
    if new.empty:
        return kept, dict(earlier.log)
    longer = continue_allocation(kept_allocation(kept, earlier.log), new)
    before = {name: earlier.log[name] for name in ("earlier",) if name in earlier.log}
    return longer.table.drop(columns="sequence"), {**longer.log, **before}
