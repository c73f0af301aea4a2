"""The parts of a study as its reader meets them: a phase given twice becomes two stages."""

from dataclasses import dataclass

import pandas as pd

from motorlearn.design.schema import Design
from motorlearn.design.sections import Test
from motorlearn.vocabulary import (
    DELAYED_PHASES,
    PHASE_LABELS,
    PRACTICE_PHASE,
    SHORT_LABELS,
    capitalised,
)


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
    short : str
        Name in tables and on axes: the label without what explains it.
    test : Test or None
        Its entry in the plan.
    spoken : str
        Name inside a sentence, for example ``the delayed retention test``.
    """

    name: str
    phase: str
    label: str
    short: str
    test: Test | None = None
    spoken: str = ""

    @property
    def is_delayed(self) -> bool:
        """Whether it can speak about more than performance."""
        return self.phase in DELAYED_PHASES if self.test is None else self.test.is_delayed

    @property
    def told(self) -> str:
        """The label inside a sentence; a test with a name of its own is called by its phase too."""
        return self.spoken if self.test is not None and self.test.name else self.label.lower()

    @property
    def inside(self) -> str:
        """The short name inside a title or a cell: in small letters, or as the plan writes it."""
        return (self.test.name if self.test is not None else "") or self.short.lower()


def stages_of(design: Design) -> tuple[Stage, ...]:
    """List the stages of a plan in the order of a study."""
    found = []
    for phase in design.phases:
        if phase == PRACTICE_PHASE:
            found.append(standard_stage(phase))
            continue
        tests = [test for test in design.tests if test.phase == phase]
        for number, test in enumerate(tests, start=1):
            name = phase if len(tests) == 1 else f"{phase} {number}"
            label, short = _labels(test, number, len(tests))
            found.append(Stage(name, phase, label, short, test, _spoken(phase, short)))
    return tuple(found)


def own_name_of_test(design: Design, name: str) -> str:
    """A test by its own name where its phase is given more than once, else as it stands."""
    for stage in stages_of(design):
        if stage.name == name and stage.test is not None and stage.name != stage.phase:
            return stage.told.removeprefix("the ")
    return name


def standard_stage(phase: str) -> Stage:
    """A phase as a stage, under its standard names; one that is not standard keeps its own."""
    short = SHORT_LABELS.get(phase, phase)
    spoken = "practice (acquisition)" if phase == PRACTICE_PHASE else _spoken(phase, short)
    return Stage(phase, phase, PHASE_LABELS.get(phase, phase), short, None, spoken)


def _spoken(phase: str, short: str) -> str:
    """A test inside a sentence; one with a name of its own is called by its phase too."""
    if phase == "pretest":
        return "the pretest"
    name = short.removesuffix(" test")
    name = name[:1].lower() + name[1:]
    if phase not in name.lower():
        return f"the {phase} {name}" if phase == "posttest" else f"the {phase} test {name}"
    whole = phase == "posttest" or name.startswith("progress test")
    return f"the {name}" if whole else f"the {name} test"


def _labels(test: Test, number: int, of: int) -> tuple[str, str]:
    if test.name:
        own = capitalised(test.name)
        return own, own
    label, short = PHASE_LABELS[test.phase], SHORT_LABELS[test.phase]
    if test.phase == "retention" and not test.is_delayed:
        label = short = "Retention"
    return (label, short) if of == 1 else (f"{short} {number}",) * 2


def stage_column(table: pd.DataFrame, design: Design) -> pd.Series:
    """Say to which stage each row belongs; tests of one phase are told apart.

    A column ``test`` that holds the plan's name of the test, or its number among the tests of its
    phase, decides. Without it sessions decide: they are matched with the plan's where it numbers
    them, otherwise taken in their order. Rows that cannot be matched keep the name of their phase;
    :func:`tests_not_told_apart` names the phases of which no column tells the tests.
    """
    stage = table["phase"].astype("str").copy()
    for phase, tests in _repeated(design).items():
        rows = table["phase"] == phase
        number = _numbers_of_tests(table[rows], tests)
        known = number[number.notna()].astype(int)
        stage[known.index] = [f"{phase} {place}" for place in known]
    return stage


def tests_not_told_apart(table: pd.DataFrame, design: Design) -> dict[str, tuple[str, ...]]:
    """Phases whose tests no column tells apart, with the plan's names of these tests.

    They share a session in the plan, and the rows name neither their test nor any session of their
    own.
    """
    found = {}
    for phase, tests in _repeated(design).items():
        rows = table[table["phase"] == phase]
        if len(rows) and _numbers_of_tests(rows, tests).isna().all():
            found[phase] = tuple(test.label for test in tests)
    return found


def _repeated(design: Design) -> dict[str, list[Test]]:
    """Tests of every phase that is given more than once."""
    phases = dict.fromkeys(test.phase for test in design.tests)
    tests = {phase: [test for test in design.tests if test.phase == phase] for phase in phases}
    return {phase: entries for phase, entries in tests.items() if len(entries) > 1}


def _numbers_of_tests(rows: pd.DataFrame, tests: list[Test]) -> pd.Series:
    """Number of the test of each row among the tests of its phase; missing where not known."""
    number = pd.Series(pd.NA, index=rows.index, dtype="Int64")
    if "test" in rows:
        said = rows["test"].astype("str").str.strip().str.casefold()
        names = {str(place): place for place in range(1, len(tests) + 1)}
        names |= {t.name.strip().casefold(): n for n, t in enumerate(tests, 1) if t.name.strip()}
        number = said.map(names).astype("Int64")
    planned = [test.session for test in tests]
    if "session" not in rows or (None not in planned and len(set(planned)) < len(planned)):
        return number
    sessions = sorted(rows["session"].dropna().unique())
    order = planned if set(sessions) <= set(planned) else sessions[: len(tests)]
    days = {(test.planned_day, test.interval_days) for test in tests}
    if len(sessions) < 2 and None in planned and len(days) < 2:
        return number
    places = {session: place for place, session in enumerate(order, start=1)}
    return number.fillna(rows["session"].map(places).astype("Int64"))
