"""Questionnaires: scale scores of people, and how well the items of a scale hold together.

``scoring`` is the call, ``answers`` reads long and wide tables, ``reliability`` estimates alpha and
omega on arrays, ``result`` holds what comes out.
"""

from motorlearn.measures.questionnaires.reliability import omega_total, one_factor
from motorlearn.measures.questionnaires.result import Questionnaire
from motorlearn.measures.questionnaires.scoring import score_questionnaire

__all__ = ["Questionnaire", "omega_total", "one_factor", "score_questionnaire"]
