"""Design audit, schedules, allocation, sheets, sample size; and invented studies of a plan."""

from motorlearn.plan.allocation import AllocationList, allocate
from motorlearn.plan.balanced_orders import williams_design, williams_orders
from motorlearn.plan.closed_form import (
    anova_power,
    design_effect,
    detectable_effect,
    inflate_for_attrition,
    participants_needed,
    score_variance,
    t_power,
)
from motorlearn.plan.design_audit import DesignAudit, audit_design
from motorlearn.plan.hole import Hole
from motorlearn.plan.load import ThrowLoad, throw_load
from motorlearn.plan.power import Power, power
from motorlearn.plan.presets import PRESETS, Preset
from motorlearn.plan.prior_effects import prior_effects
from motorlearn.plan.schedules import make_schedule
from motorlearn.plan.simulation import Truth, simulate_study, true_values

__all__ = [
    "PRESETS",
    "AllocationList",
    "DesignAudit",
    "Hole",
    "Power",
    "Preset",
    "ThrowLoad",
    "Truth",
    "allocate",
    "anova_power",
    "audit_design",
    "design_effect",
    "detectable_effect",
    "inflate_for_attrition",
    "make_schedule",
    "participants_needed",
    "power",
    "prior_effects",
    "score_variance",
    "simulate_study",
    "t_power",
    "throw_load",
    "true_values",
    "williams_design",
    "williams_orders",
]
