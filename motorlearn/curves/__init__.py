"""Learning curves: one learner, a million learners, and a population."""

from motorlearn.curves.adaptation import Adaptation, fit_adaptation, simulate_adaptation
from motorlearn.curves.averages import (
    AveragingDemonstration,
    average_of_exponentials,
    demonstrate_averaging,
)
from motorlearn.curves.batch.learners import CurveFits, StoredCurveFits, fit_curves
from motorlearn.curves.change_point import ChangePoint, find_change_point
from motorlearn.curves.forgetting import ForgettingCurve, fit_forgetting
from motorlearn.curves.forms import FORMS, Form, check_form, make_form, named_form, register_form
from motorlearn.curves.groups import CurveComparison, compare_curves
from motorlearn.curves.held_out import PredictionScores, score_predictions
from motorlearn.curves.monotone import MonotoneCurve, fit_monotone
from motorlearn.curves.population.curve import PopulationCurve
from motorlearn.curves.population.population import fit_population_curve
from motorlearn.curves.quantities import CurveQuantities, curve_quantities
from motorlearn.curves.recall import ForgettingCurves
from motorlearn.curves.single.curve_fit import CurveFit
from motorlearn.curves.single.learner import fit_curve

__all__ = [
    "FORMS",
    "Adaptation",
    "AveragingDemonstration",
    "ChangePoint",
    "CurveComparison",
    "CurveFit",
    "CurveFits",
    "CurveQuantities",
    "ForgettingCurve",
    "ForgettingCurves",
    "Form",
    "MonotoneCurve",
    "PopulationCurve",
    "PredictionScores",
    "StoredCurveFits",
    "average_of_exponentials",
    "check_form",
    "compare_curves",
    "curve_quantities",
    "demonstrate_averaging",
    "find_change_point",
    "fit_adaptation",
    "fit_curve",
    "fit_curves",
    "fit_forgetting",
    "fit_monotone",
    "fit_population_curve",
    "make_form",
    "named_form",
    "register_form",
    "score_predictions",
    "simulate_adaptation",
]
