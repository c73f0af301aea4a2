"""Assumptions checked, sensitivity tried, and the one page a supervisor reads.

``front`` takes any result, ``sensitivity`` tries every other defensible way, ``page`` puts a whole
study on one page, ``kept_page`` reads it back and recomputes it. ``guides`` holds the thresholds,
``report`` what an audit gives. ``general``, ``comparison``, ``repeated``, ``mixed``
(``mixed_linear``, ``mixed_counts``), ``curves``, ``population``, ``agreement`` and ``equivalence``
check one kind of result each; ``phase_model``, ``mixed_model``, ``mixed_refits``, ``leave_one_out``
and ``simulated`` compute what they need.
"""

from motorlearn.audit.front import check_assumptions
from motorlearn.audit.guides import GUIDES, Guide
from motorlearn.audit.kept_page import changed_files, read_page, recompute
from motorlearn.audit.page import StudyAudit, audit_study
from motorlearn.audit.report import Audit, Check, Conclusion, Remedy, Step
from motorlearn.audit.sensitivity.table import Sensitivity, sensitivity

__all__ = [
    "GUIDES",
    "Audit",
    "Check",
    "Conclusion",
    "Guide",
    "Remedy",
    "Sensitivity",
    "Step",
    "StudyAudit",
    "audit_study",
    "changed_files",
    "check_assumptions",
    "read_page",
    "recompute",
    "sensitivity",
]
