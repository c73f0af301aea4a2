"""Design audit, schedules, allocation, sheets, sample size; and invented studies of a plan."""

from typing import TYPE_CHECKING

from motorlearn.doors import late_names
from motorlearn.plan.allocation.allocation import AllocationList, allocate
from motorlearn.plan.allocation.continuing import continue_allocation, kept_allocation
from motorlearn.plan.allocation.planned import allocate_plan
from motorlearn.plan.audit.design_audit import DesignAudit, audit_design
from motorlearn.plan.audit.hole import Hole
from motorlearn.plan.deviations import Deviations, analysis_label, compare_with_plan
from motorlearn.plan.load import ThrowLoad, throw_load
from motorlearn.plan.power.closed_form import (
    anova_power,
    detectable_effect,
    inflate_for_attrition,
    participants_needed,
    score_variance,
    t_power,
)
from motorlearn.plan.power.power import Power, power
from motorlearn.plan.programme_table import programme_tables
from motorlearn.plan.programme_template import programme_text
from motorlearn.plan.schedules.balanced_orders import williams_design, williams_orders
from motorlearn.plan.schedules.schedule import make_schedule
from motorlearn.plan.simulation.presets import PRESETS, Preset
from motorlearn.plan.single_case import SingleCaseDraw, draw_single_case
from motorlearn.plan.single_case_power import SingleCasePower, single_case_power
from motorlearn.plan.template import Answers, plan_text, write_plan

if TYPE_CHECKING:
    from motorlearn.plan.pilot import Pilot, pilot_page, radius_for
    from motorlearn.plan.power.prior_effects import prior_effects
    from motorlearn.plan.power.variability import variability_power
    from motorlearn.plan.sheets.folder import write_sheets
    from motorlearn.plan.sheets.kept import drawn_people, earlier_sheets
    from motorlearn.plan.sheets.rows import planned_trials, unblind
    from motorlearn.plan.simulation.study import Truth, simulate_study, true_values

_LATE = {
    "pilot": ("Pilot", "pilot_page", "radius_for"),
    "power.prior_effects": ("prior_effects",),
    "power.variability": ("variability_power",),
    "sheets.folder": ("write_sheets",),
    "sheets.kept": ("drawn_people", "earlier_sheets"),
    "sheets.rows": ("planned_trials", "unblind"),
    "simulation.study": ("Truth", "simulate_study", "true_values"),
}
__getattr__, __dir__ = late_names(
    __name__,
    {name: f"motorlearn.plan.{home}" for home, names in _LATE.items() for name in names},
)

__all__ = [
    "PRESETS",
    "AllocationList",
    "Answers",
    "DesignAudit",
    "Deviations",
    "Hole",
    "Pilot",
    "Power",
    "Preset",
    "SingleCaseDraw",
    "SingleCasePower",
    "ThrowLoad",
    "Truth",
    "allocate",
    "allocate_plan",
    "analysis_label",
    "anova_power",
    "audit_design",
    "compare_with_plan",
    "continue_allocation",
    "detectable_effect",
    "draw_single_case",
    "drawn_people",
    "earlier_sheets",
    "inflate_for_attrition",
    "kept_allocation",
    "make_schedule",
    "participants_needed",
    "pilot_page",
    "plan_text",
    "planned_trials",
    "power",
    "prior_effects",
    "programme_tables",
    "programme_text",
    "radius_for",
    "score_variance",
    "simulate_study",
    "single_case_power",
    "t_power",
    "throw_load",
    "true_values",
    "unblind",
    "variability_power",
    "williams_design",
    "williams_orders",
    "write_plan",
    "write_sheets",
]
