"""Learning curves: one learner, a million learners, and a population."""

from motorlearn.curves.forms import FORMS, Form, named_form
from motorlearn.curves.learner import CurveFit, fit_curve
from motorlearn.curves.learners import CurveFits, StoredCurveFits, fit_curves
from motorlearn.curves.population import PopulationCurve, fit_population_curve

__all__ = [
    "FORMS",
    "CurveFit",
    "CurveFits",
    "Form",
    "PopulationCurve",
    "StoredCurveFits",
    "fit_curve",
    "fit_curves",
    "fit_population_curve",
    "named_form",
]
