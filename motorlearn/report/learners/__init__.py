"""What each learner and the coach are told, at any time of a programme.

progress  Each learner's tests, change, technique, sessions and next cue, from a study
load      Trials that each learner really had, held against the limits of the plan
pages     A page for each learner, and the overview for the coach
"""

from motorlearn.report.learners.pages import write_learner_pages
from motorlearn.report.learners.progress import Learner, Progress, follow_learners

__all__ = ["Learner", "Progress", "follow_learners", "write_learner_pages"]
