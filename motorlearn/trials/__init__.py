"""Files in, checked tables out."""

from motorlearn.trials.study import Study, Trials, no_changes, no_problems

__all__ = ["Study", "Trials", "no_changes", "no_problems"]
