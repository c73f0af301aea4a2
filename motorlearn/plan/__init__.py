"""Design audit, schedules, allocation, sheets, simulation and power."""
