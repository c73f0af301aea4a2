"""Demonstrations for a lecture, class data sets with an answer key, and the class experiment.

Each demonstration is a function that takes settings and gives numbers, one conclusion and the
picture in words; ``drawings`` draws it and ``faces`` puts controls around it.
"""

from motorlearn.teaching.aiming import (
    AimingTask,
    ClassTrials,
    Sitting,
    class_plan,
    make_programme,
    merge_class,
    rehearse_class,
    write_class_study,
)
from motorlearn.teaching.class_data import (
    AnswerKey,
    StudentStudy,
    class_data_sets,
    student_study,
)
from motorlearn.teaching.classroom.collecting import collect_class
from motorlearn.teaching.classroom.page import Classroom, read_classroom, write_classroom
from motorlearn.teaching.classroom.serving import ClassServer
from motorlearn.teaching.demonstrations.averaged_curves import AveragedCurves, averaged_curves
from motorlearn.teaching.demonstrations.demonstration import Demonstration
from motorlearn.teaching.demonstrations.faces import LessonFace, show
from motorlearn.teaching.demonstrations.feedback_dependence import (
    FeedbackDependence,
    feedback_dependence,
)
from motorlearn.teaching.demonstrations.lessons import LESSONS, Control, Lesson
from motorlearn.teaching.demonstrations.pooled_trials import PooledTrials, pooled_trials
from motorlearn.teaching.demonstrations.practice_and_tests import (
    PracticeAndTests,
    practice_and_tests,
)
from motorlearn.teaching.demonstrations.regression_to_mean import (
    RegressionToMean,
    regression_to_mean,
)
from motorlearn.teaching.demonstrations.twenty_attempts import TwentyAttempts, twenty_attempts
from motorlearn.teaching.tampered import TamperedStudy, tampered_study

__all__ = [
    "LESSONS",
    "AimingTask",
    "AnswerKey",
    "AveragedCurves",
    "ClassServer",
    "ClassTrials",
    "Classroom",
    "Control",
    "Demonstration",
    "FeedbackDependence",
    "Lesson",
    "LessonFace",
    "PooledTrials",
    "PracticeAndTests",
    "RegressionToMean",
    "Sitting",
    "StudentStudy",
    "TamperedStudy",
    "TwentyAttempts",
    "averaged_curves",
    "class_data_sets",
    "class_plan",
    "collect_class",
    "feedback_dependence",
    "make_programme",
    "merge_class",
    "pooled_trials",
    "practice_and_tests",
    "read_classroom",
    "regression_to_mean",
    "rehearse_class",
    "show",
    "student_study",
    "tampered_study",
    "twenty_attempts",
    "write_class_study",
    "write_classroom",
]
