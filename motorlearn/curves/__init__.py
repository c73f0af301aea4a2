"""Learning curves: one learner, a million learners, and a population."""

from motorlearn.curves.forms import FORMS, Form, named_form
from motorlearn.curves.learner import CurveFit, fit_curve

__all__ = ["FORMS", "CurveFit", "Form", "fit_curve", "named_form"]
