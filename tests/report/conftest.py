"""Studies of every shape the report must hold: shipped, null, applied, one group, two people."""

from functools import cache
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.analysis.beside import Beside
from motorlearn.design import design_from_mapping
from motorlearn.results import Refused
from motorlearn.trials import Study, Trials


@pytest.fixture(scope="session", autouse=True)
def _own_caches(tmp_path_factory):
    """Keep the user's own folder of caches out of the tests."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MPLCONFIGDIR", mpl.get_cachedir())  # fonts are where they were
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("caches")))
        yield


SHIPPED = Path(__file__).parents[2] / "data" / "ring-push"

PROGRAMME = {
    "study": {"title": "Ring push: an eight-week programme", "question": "Do hits rise?"},
    "groups": [{"name": "programme", "schedule": "increasing"}],
    "tests": [
        {"phase": "progress", "name": "week 2", "session": 2, "week": 2, "trials": 20},
        {"phase": "progress", "name": "week 4", "session": 4, "week": 4, "trials": 20},
        {
            "phase": "retention",
            "name": "one week after the end",
            "session": 5,
            "interval_days": 7,
            "trials": 20,
        },
    ],
    "outcomes": [{"name": "hits", "better": "higher", "low": 0, "high": 20}],
}
PILOT = {
    "study": {"title": "Ring push: pilot with two people"},
    "groups": [
        {"name": "blocked", "schedule": "blocked"},
        {"name": "random", "schedule": "random"},
    ],
    "practice": [{"session": 1, "day": 0, "blocks": 3, "trials_per_block": 6}],
    "tests": [
        {"phase": "pretest", "trials": 6},
        {"phase": "retention", "trials": 6, "interval_days": 1},
    ],
    "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
    "units": {"length": "cm"},
    "target": {"radius": 20},
    "allocation": {"method": "simple"},
}


def programme_study(people: int = 14) -> Study:
    """One group, 20 attempts a test, one person absent from the last test."""
    rng = np.random.default_rng(8)
    rows = []
    for i in range(people):
        own = rng.normal(0, 0.5)
        for phase, session, level in (
            ("progress", 2, -0.2),
            ("progress", 4, 0.3),
            ("retention", 5, 0.1),
        ):
            if i == 3 and phase == "retention":
                continue
            hits = rng.binomial(20, 1 / (1 + np.exp(-(level + own))))
            rows.append((f"P{i + 1:02d}", "programme", phase, session, hits, 20))
    table = pd.DataFrame(
        rows, columns=["participant", "group", "phase", "session", "hits", "attempts"]
    )
    return Study(design_from_mapping(PROGRAMME), Trials(table))


def pilot_study() -> Study:
    """Two people, one in each group."""
    rng = np.random.default_rng(4)
    rows = []
    for participant, group in (("P01", "blocked"), ("P02", "random")):
        for phase, blocks in (("pretest", 1), ("acquisition", 3), ("retention", 1)):
            for block in range(1, blocks + 1):
                for trial in range(1, 7):
                    x, y = rng.normal(0, 18, 2)
                    rows.append((participant, group, phase, 1, block, trial, x, y, np.hypot(x, y)))
    names = ["participant", "group", "phase", "session", "block", "trial", "x", "y", "radial_error"]
    return Study(
        design_from_mapping(PILOT),
        Trials(pd.DataFrame(rows, columns=names), units={"length": "cm"}),
    )


def simulated(preset: str) -> Study:
    """The plan of the shipped study with another truth."""
    return ml.simulate_study(ml.read_design(SHIPPED), seed=11, preset=preset)


def undelayed_study() -> Study:
    """Two groups whose only test comes straight after practice."""
    tests = [{"phase": "pretest", "trials": 6}, {"phase": "posttest", "trials": 6}]
    groups = [{"name": name, "schedule": name, "size": 7} for name in ("blocked", "random")]
    tasks = [{"name": "straight"}, {"name": "bank"}]
    plan = design_from_mapping(PILOT | {"tests": tests, "groups": groups, "tasks": tasks})
    return ml.simulate_study(plan, seed=2, missing=False)


COURSE = PROGRAMME | {
    "sample": {"age_low": 18, "include": ["new to the task"], "exclude": ["pain in the arm"]},
    "programme": {"weeks": 4, "sessions_per_week": 2, "warm_up_trials": 6, "place": "hall"},
    "drills": [
        {"name": "release only", "part": "part", "weeks": [1, 2], "trials_per_session": 30},
        {"name": "whole push", "part": "whole", "weeks": [2, 3, 4], "trials_per_session": 40},
    ],
    "primary": {"outcome": "hits", "phase": "retention", "groups": [], "effect": "difference"},
    "smallest_effect": {"value": 2, "reason": "what a coach would notice"},
    "stopping": [{"rule": "pain of 4 or more of 10", "action": "ends the session"}],
    "load": {"limits": [{"trials": 150, "per": "week", "source": "the club's own rule"}]},
}


def course_study() -> Study:
    """A programme with drills and a limit of load; one test of one person has 17 attempts."""
    table = programme_study().trials.table
    short = (table["participant"] == "P05") & (table["session"] == 4)
    table = table.assign(attempts=table["attempts"].mask(short, 17))
    table["hits"] = table[["hits", "attempts"]].min(axis=1)
    return Study(design_from_mapping(COURSE), Trials(table))


STUDIES = {
    "shipped": lambda: ml.read_study(SHIPPED),
    "null": lambda: simulated("null"),
    "applied": lambda: simulated("applied"),
    "programme": programme_study,
    "course": course_study,
    "pilot": pilot_study,
    "undelayed": undelayed_study,
}


@pytest.fixture(
    scope="session",
    params=[
        pytest.param(name, marks=pytest.mark.slow if name == "applied" else ()) for name in STUDIES
    ],
)
def study_name(request) -> str:
    return request.param


@pytest.fixture(scope="session")
def analysed():
    """Analysis of each study by its name, computed once."""
    return cache(lambda name: ml.analyse_study(STUDIES[name]()))


@pytest.fixture(scope="session")
def shipped() -> Study:
    return STUDIES["shipped"]()


@pytest.fixture(scope="session")
def quickly(without_pictures):
    """What ``quick_pictures`` does, for a fixture that has a patch of its own."""

    def leave_out(patch):
        beside = dict.fromkeys(Beside.__annotations__) | {"mixed": Refused("left out")}
        unjudged = {"audit": Refused("left out"), "sensitivity": None}
        patch.setattr("motorlearn.analysis.study.beside_of", lambda *a: beside)
        patch.setattr("motorlearn.analysis.study.judged", lambda *a: unjudged)
        return without_pictures(patch)

    return leave_out


@pytest.fixture
def quick_pictures(quickly, monkeypatch):
    """Leave out drawing and side results, which are slow; gives what would have been drawn."""
    return quickly(monkeypatch)


@pytest.fixture(scope="session")
def folder(analysed, tmp_path_factory, without_pictures):
    """The whole report of the shipped study, without its pictures."""
    analysis, out = analysed("shipped"), tmp_path_factory.mktemp("report") / "out"
    with pytest.MonkeyPatch.context() as patch:
        without_pictures(patch)
        return ml.write_report(analysis, out, quiet=True).parent


def says(shown: str, raw: str) -> bool:
    """Whether a written cell says what a raw cell of a CSV file holds, to its last decimal."""
    if shown in ("–", "") or raw == "":
        return shown in ("–", "") and raw == ""
    if shown == raw.removeprefix("'"):
        return True
    if shown[:1] in "<>":
        return float(raw) < 0.001 if shown[0] == "<" else float(raw) > 0.999
    try:
        value = float(raw)
    except ValueError:
        return False
    scale = 100 if shown.endswith(" %") else 1
    text = shown.removesuffix(" %").replace("−", "-").replace("∞", "inf")
    if text.endswith("inf"):
        return float(text) == value
    mantissa, _, power = text.partition("e")
    last = 10.0 ** (int(power or 0) - len(mantissa.partition(".")[2]))
    return abs(float(text) - scale * value) <= 0.5 * last * (1 + 1e-9)


@pytest.fixture(scope="session")
def agrees():
    return says


@pytest.fixture(scope="session")
def studies():
    return STUDIES


@pytest.fixture(scope="session")
def small():
    """Small studies of the same plan, by seed."""
    plan = PILOT | {
        "groups": [
            {"name": "blocked", "schedule": "blocked", "size": 6},
            {"name": "random", "schedule": "random", "size": 6},
        ],
        "tasks": [{"name": "straight"}, {"name": "bank"}],
    }
    design = design_from_mapping(plan)
    return lambda seed: ml.simulate_study(design, seed=seed, missing=False)
