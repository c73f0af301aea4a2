"""Design audit, schedules, allocation, sheets, sample size; and invented studies of a plan."""

from motorlearn.plan.presets import PRESETS, Preset
from motorlearn.plan.schedules import make_schedule
from motorlearn.plan.simulation import Truth, simulate_study, true_values

__all__ = ["PRESETS", "Preset", "Truth", "make_schedule", "simulate_study", "true_values"]
