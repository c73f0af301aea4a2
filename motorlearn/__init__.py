"""Plan, check, score, analyse and report practice studies of motor skills.

Names are loaded when they are first used, so that importing the package costs next to nothing.
"""

from importlib import import_module
from typing import Any

from motorlearn.exceptions import PackageError

__version__ = "2.0.0"

_HOMES = {
    "allocate": "motorlearn.plan",
    "analyse_single_case": "motorlearn.compare",
    "analyse_study": "motorlearn.analysis",
    "audit_design": "motorlearn.plan",
    "check_assumptions": "motorlearn.audit",
    "compare_blocks": "motorlearn.compare",
    "compare_phases": "motorlearn.compare",
    "contrasts": "motorlearn.mixed",
    "fit_curve": "motorlearn.curves",
    "fit_curves": "motorlearn.curves",
    "fit_forgetting": "motorlearn.curves",
    "fit_mixed": "motorlearn.mixed",
    "fit_population_curve": "motorlearn.curves",
    "fit_variability": "motorlearn.mixed",
    "interim_boundaries": "motorlearn.linear",
    "make_schedule": "motorlearn.plan",
    "marginal_means": "motorlearn.mixed",
    "multiverse": "motorlearn.analysis",
    "power": "motorlearn.plan",
    "rater_agreement": "motorlearn.measures",
    "read_design": "motorlearn.design",
    "read_study": "motorlearn.trials",
    "read_trials": "motorlearn.trials",
    "score_questionnaire": "motorlearn.measures",
    "score_trials": "motorlearn.measures",
    "simulate_study": "motorlearn.plan",
    "write_demonstration": "motorlearn.teaching",
    "write_learner_pages": "motorlearn.report.learners",
    "write_report": "motorlearn.report",
    "write_reports": "motorlearn.report.several",
}
_ROOMS = (
    "analysis",
    "audit",
    "compare",
    "curves",
    "design",
    "digits",
    "exceptions",
    "figures",
    "files",
    "linear",
    "measures",
    "mixed",
    "plan",
    "report",
    "results",
    "tables",
    "teaching",
    "trials",
    "vocabulary",
    "wording",
)

__all__ = [*sorted(_HOMES), *_ROOMS]


def __getattr__(name: str) -> Any:
    if name not in _HOMES and name not in _ROOMS:
        raise AttributeError(f"module 'motorlearn' has no attribute {name!r}")
    try:
        room = import_module(_HOMES.get(name, f"motorlearn.{name}"))
    except ModuleNotFoundError as absent:
        raise _told(name, absent) from absent
    value = getattr(room, name) if name in _HOMES else room
    globals()[name] = value
    return value


def _told(name: str, absent: ModuleNotFoundError) -> ImportError:
    """What is asked for and the package it lacks, in one sentence; our own faults as they are."""
    package = (absent.name or "").split(".")[0]
    if package in ("", "motorlearn"):
        return absent
    return PackageError(
        f"motorlearn.{name} needs the package {package}, which is not installed here: install it, "
        "or where Python runs in a browser take a distribution that holds it"
    )


def __dir__() -> list[str]:
    return sorted([*__all__, *(name for name in globals() if name.startswith("__"))])
