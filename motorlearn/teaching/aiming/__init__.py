"""The class experiment: a small aiming task with which a class makes its own data."""

from motorlearn.teaching.aiming.face import AimingTask, draw_floors
from motorlearn.teaching.aiming.files import save_sitting
from motorlearn.teaching.aiming.floor import Rest, roll
from motorlearn.teaching.aiming.merging import ClassTrials, merge_class, write_class_study
from motorlearn.teaching.aiming.programme import Programme, class_plan, make_programme
from motorlearn.teaching.aiming.rehearsal import rehearse_class, rehearse_sitting
from motorlearn.teaching.aiming.sitting import Sitting

__all__ = [
    "AimingTask",
    "ClassTrials",
    "Programme",
    "Rest",
    "Sitting",
    "class_plan",
    "draw_floors",
    "make_programme",
    "merge_class",
    "rehearse_class",
    "rehearse_sitting",
    "roll",
    "save_sitting",
    "write_class_study",
]
