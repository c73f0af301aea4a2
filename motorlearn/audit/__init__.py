"""Assumptions checked and sensitivity tried.

``front`` takes any result, ``sensitivity`` tries every other defensible way. ``guides`` holds the
thresholds,
``report`` what an audit gives. ``general``, ``comparison``, ``repeated``, ``mixed``
(``mixed_linear``, ``mixed_counts``), ``curves``, ``population``, ``agreement`` and ``equivalence``
check one kind of result each; ``phase_model``, ``mixed_model``, ``mixed_refits``, ``leave_one_out``
and ``simulated`` compute what they need.
"""

from motorlearn.audit.front import check_assumptions
from motorlearn.audit.guides import GUIDES, Guide
from motorlearn.audit.report import Audit, Check, Conclusion, Remedy, Step
from motorlearn.audit.sensitivity.table import Sensitivity, sensitivity
from motorlearn.doors import late_names

__getattr__, __dir__ = late_names(__name__, {})

__all__ = [
    "GUIDES",
    "Audit",
    "Check",
    "Conclusion",
    "Guide",
    "Remedy",
    "Sensitivity",
    "Step",
    "check_assumptions",
    "sensitivity",
]
