"""Learning curves: one learner, a million learners, and a population."""

from motorlearn.curves.forms import FORMS, Form, named_form
from motorlearn.curves.learner import CurveFit, fit_curve
from motorlearn.curves.learners import CurveFits, StoredCurveFits, fit_curves

__all__ = [
    "FORMS",
    "CurveFit",
    "CurveFits",
    "Form",
    "StoredCurveFits",
    "fit_curve",
    "fit_curves",
    "named_form",
]
