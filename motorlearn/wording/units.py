"""What was allocated and what was analysed, in few words for the page to sign."""

from motorlearn.design import Design
from motorlearn.wording.method import ALLOCATION


def units_of(design: Design) -> dict[str, str]:
    """The unit that was allocated and the one that is analysed.

    Parameters
    ----------
    design : Design
        The plan.

    Returns
    -------
    dict
        ``unit allocated`` and ``unit analysed``.

    Examples
    --------
    >>> from motorlearn.design import design_from_mapping
    >>> plan = design_from_mapping({
    ...     "study": {"title": "Ring push"},
    ...     "groups": [{"name": "blocked"}, {"name": "random"}],
    ...     "tests": [{"phase": "retention", "trials": 20, "interval_days": 7}],
    ...     "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
    ... })
    >>> units_of(plan)["unit analysed"]
    'participant: one score per person and test'
    """
    allocated, analysed = _units(design)
    return {"unit allocated": allocated, "unit analysed": analysed}


def _units(design: Design) -> tuple[str, str]:
    way = ALLOCATION.get(design.allocation.method, "not by chance")
    unit = design.allocation.clusters
    if design.single_case is not None:
        how = "by lot" if design.single_case.randomised else "not by lot"
        return f"conditions of sessions, {how}", "session of a person: the mean of its trials"
    if design.within is not None:
        said = "participant: the difference between conditions at each test"
        return f"order of conditions, {way}", said
    if unit is not None:
        return f"{unit}, {way}", f"{unit}: one mean per {unit} and test"
    people = "participant: one score per person and test"
    if len(design.groups) < 2:
        return "nobody, there is one group", people
    return f"{design.allocation.unit}, {way}", people
