"""Assumptions checked, sensitivity tried, and the one page a supervisor reads.

``front`` takes any result; ``guides`` holds the thresholds, ``report`` what an audit gives;
``comparison`` and ``repeated`` check comparisons of phases, ``phase_model`` runs their remedies.
"""

from motorlearn.audit.front import check_assumptions
from motorlearn.audit.guides import GUIDES, Guide
from motorlearn.audit.report import Audit, Check, Conclusion, Remedy, Step
from motorlearn.audit.sensitivity import Sensitivity, sensitivity

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
