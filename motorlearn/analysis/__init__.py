"""A study in, its answers out: what this study asks, computed once for everybody who shows it.

study      ``analyse_study``: from a study to all of its answers; ``page_analysis``: to some
result     ``StudyAnalysis``: what it gives
staged     Trials with their part of the study
questions  What the plan asks: tests, groups, baseline, reference; of each outcome scale and bound
scores     How an outcome comes from columns: hits of attempts or 0/1 rows, means, measures
outcome    One outcome: comparison, practice, change of each person
points     Participants' scores by cell, and what groups show of them
primary    The one comparison the study stands on, as a row
technique  Technique beside the outcome: change by item, what moves together
speed      Speed beside the outcome: whether a gain was bought with slower trials
people     Who was allocated, who is where, who is missing
beside     The mixed model of trials, raters, learning curves
generalisability  Sources of variance of a score, and how many raters, trials, occasions help
landmarks  Clips scored from landmarks as the plan says, beside the raters
kinds      The mixed model of trials that suits the kind of an outcome
multiverse The primary comparison in every combination of declared choices
choices    These choices, and scores by choice
interim    Which look of a planned sequence this is, and what it may claim
judged     Assumptions of the primary comparison, and the same conclusion in other ways
"""

from motorlearn.analysis.beside import counted_blocks
from motorlearn.analysis.generalisability import Generalisability, generalisability
from motorlearn.analysis.interim import InterimLook
from motorlearn.analysis.landmarks import LandmarkScores, landmark_scores
from motorlearn.analysis.multiverse import Multiverse, multiverse
from motorlearn.analysis.outcome import OutcomeAnalysis
from motorlearn.analysis.people import People, reasons_of
from motorlearn.analysis.points import group_points
from motorlearn.analysis.primary import claimed, contrast_row, equivalence_rows
from motorlearn.analysis.questions import Question
from motorlearn.analysis.result import StudyAnalysis
from motorlearn.analysis.speed import SpeedBeside, speed_beside
from motorlearn.analysis.study import analyse_study, page_analysis, primary_comparison
from motorlearn.analysis.technique import TechniqueChange, technique_change
from motorlearn.analysis.variability import SpreadBeside

__all__ = [
    "Generalisability",
    "InterimLook",
    "LandmarkScores",
    "Multiverse",
    "OutcomeAnalysis",
    "People",
    "Question",
    "SpeedBeside",
    "SpreadBeside",
    "StudyAnalysis",
    "TechniqueChange",
    "analyse_study",
    "claimed",
    "contrast_row",
    "counted_blocks",
    "equivalence_rows",
    "generalisability",
    "group_points",
    "landmark_scores",
    "multiverse",
    "page_analysis",
    "primary_comparison",
    "reasons_of",
    "speed_beside",
    "technique_change",
]
