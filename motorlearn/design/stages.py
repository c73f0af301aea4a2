"""The parts of a study as its reader meets them: a phase given twice becomes two stages."""

from dataclasses import dataclass

import pandas as pd

from motorlearn.design.schema import Design, Test
from motorlearn.vocabulary import DELAYED_PHASES, PHASE_LABELS, PRACTICE_PHASE


@dataclass(frozen=True)
class Stage:
    """One part of the study: practice, or one test.

    Parameters
    ----------
    name : str
        Name in tables: the phase, with a number where the phase is given more than once.
    phase : str
        The phase it belongs to.
    label : str
        Name in headings.
    test : Test or None
        Its entry in the plan.
    """

    name: str
    phase: str
    label: str
    test: Test | None = None

    @property
    def is_delayed(self) -> bool:
        """Whether it can speak about more than performance."""
        return self.phase in DELAYED_PHASES


def stages_of(design: Design) -> tuple[Stage, ...]:
    """List the stages of a plan in the order of a study."""
    found = []
    for phase in design.phases:
        if phase == PRACTICE_PHASE:
            found.append(Stage(phase, phase, PHASE_LABELS[phase]))
            continue
        tests = [test for test in design.tests if test.phase == phase]
        for number, test in enumerate(tests, start=1):
            name = phase if len(tests) == 1 else f"{phase} {number}"
            found.append(Stage(name, phase, _label(test, number, len(tests)), test))
    return tuple(found)


def _label(test: Test, number: int, of: int) -> str:
    if test.name:
        return test.name[:1].upper() + test.name[1:]
    label = PHASE_LABELS[test.phase]
    return label if of == 1 else f"{label.split(' (')[0]} {number}"


def stage_column(table: pd.DataFrame, design: Design) -> pd.Series:
    """Say to which stage each row belongs; a repeated phase is told apart by its session.

    Where rows name their test, that name is looked up in the plan. Otherwise sessions are matched
    with the plan's where it numbers them, or taken in their order. Rows that cannot be matched keep
    the name of their phase.
    """
    stage = table["phase"].astype("str").copy()
    for phase in dict.fromkeys(test.phase for test in design.tests):
        tests = [test for test in design.tests if test.phase == phase]
        rows = table["phase"] == phase
        if len(tests) < 2:
            continue
        if "test" in table:
            rows &= ~_by_name(table["test"], rows, tests, stage)
        if "session" not in table or not rows.any():
            continue
        sessions = sorted(table.loc[rows, "session"].dropna().unique())
        planned = [test.session for test in tests]
        order = planned if set(sessions) <= set(planned) else sessions[: len(tests)]
        for number, session in enumerate(order, start=1):
            stage[rows & (table["session"] == session)] = f"{phase} {number}"
    return stage


def _by_name(named: pd.Series, rows: pd.Series, tests: list[Test], stage: pd.Series) -> pd.Series:
    """Name the stage of rows that say which test they are; gives the rows that do."""
    known = pd.Series(False, index=rows.index)
    for number, test in enumerate(tests, start=1):
        here = rows & (named.astype("object").fillna("").str.lower() == test.label.lower())
        stage[here] = f"{test.phase} {number}"
        known |= here
    return known
