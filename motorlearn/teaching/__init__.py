"""Demonstrations for a lecture, class data sets with an answer key, and the class experiment.

Each demonstration is a function that takes settings and gives numbers, one conclusion and the
picture in words. A lesson declares it with its question, controls, picture and answer; ``show``
puts controls around it in a notebook, ``write_demonstration`` makes one HTML file of it.
"""

from typing import TYPE_CHECKING

from motorlearn.doors import late_names
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
from motorlearn.teaching.demonstrations.classics.adaptation import adaptation
from motorlearn.teaching.demonstrations.classics.after_a_gap import after_a_gap
from motorlearn.teaching.demonstrations.classics.baseline_adjustment import baseline_adjustment
from motorlearn.teaching.demonstrations.classics.ceiling import ceiling
from motorlearn.teaching.demonstrations.classics.feedback_schedules import feedback_schedules
from motorlearn.teaching.demonstrations.classics.individual_differences import (
    individual_differences,
)
from motorlearn.teaching.demonstrations.classics.many_outcomes import many_outcomes
from motorlearn.teaching.demonstrations.classics.optional_stopping import optional_stopping
from motorlearn.teaching.demonstrations.classics.part_and_whole import part_and_whole
from motorlearn.teaching.demonstrations.classics.pauses import pauses
from motorlearn.teaching.demonstrations.classics.power_or_exponential import power_or_exponential
from motorlearn.teaching.demonstrations.classics.specificity import specificity
from motorlearn.teaching.demonstrations.classics.speed_and_accuracy import speed_and_accuracy
from motorlearn.teaching.demonstrations.classics.variability import variability
from motorlearn.teaching.demonstrations.demonstration import Demonstration
from motorlearn.teaching.demonstrations.faces import LessonFace, show
from motorlearn.teaching.demonstrations.feedback_dependence import (
    FeedbackDependence,
    feedback_dependence,
)
from motorlearn.teaching.demonstrations.illustration import Illustration
from motorlearn.teaching.demonstrations.lesson import Control, Lesson, Source
from motorlearn.teaching.demonstrations.lessons import LESSONS, find_lesson
from motorlearn.teaching.demonstrations.page import demonstration_list, write_demonstration
from motorlearn.teaching.demonstrations.pooled_trials import PooledTrials, pooled_trials
from motorlearn.teaching.demonstrations.practice_and_tests import (
    PracticeAndTests,
    practice_and_tests,
)
from motorlearn.teaching.demonstrations.practice_course import PracticeCourse
from motorlearn.teaching.demonstrations.regression_to_mean import (
    RegressionToMean,
    regression_to_mean,
)
from motorlearn.teaching.demonstrations.twenty_attempts import TwentyAttempts, twenty_attempts
from motorlearn.teaching.tampered import TamperedStudy, tampered_study

if TYPE_CHECKING:
    from motorlearn.teaching.site.folder import write_site

__getattr__, __dir__ = late_names(__name__, {"write_site": "motorlearn.teaching.site.folder"})

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
    "Illustration",
    "Lesson",
    "LessonFace",
    "PooledTrials",
    "PracticeAndTests",
    "PracticeCourse",
    "RegressionToMean",
    "Sitting",
    "Source",
    "StudentStudy",
    "TamperedStudy",
    "TwentyAttempts",
    "adaptation",
    "after_a_gap",
    "averaged_curves",
    "baseline_adjustment",
    "ceiling",
    "class_data_sets",
    "class_plan",
    "collect_class",
    "demonstration_list",
    "feedback_dependence",
    "feedback_schedules",
    "find_lesson",
    "individual_differences",
    "make_programme",
    "many_outcomes",
    "merge_class",
    "optional_stopping",
    "part_and_whole",
    "pauses",
    "pooled_trials",
    "power_or_exponential",
    "practice_and_tests",
    "read_classroom",
    "regression_to_mean",
    "rehearse_class",
    "show",
    "specificity",
    "speed_and_accuracy",
    "student_study",
    "tampered_study",
    "twenty_attempts",
    "variability",
    "write_class_study",
    "write_classroom",
    "write_demonstration",
    "write_site",
]
