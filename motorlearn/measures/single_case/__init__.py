"""Single-case designs on arrays: what could have been drawn, overlap of phases, neighbours.

``randomisation`` says how phases were drawn and whether a record fits it, ``assignments`` lists
what could have been drawn, ``overlap`` compares phases pair by pair (NAP, Tau-U) with intervals,
``neighbours`` estimates how alike successive sessions are, ``dependence`` compares two conditions
whatever that is.
"""

from motorlearn.design.randomisation import Randomisation
from motorlearn.measures.single_case.assignments import (
    MOST_ASSIGNMENTS,
    Randomised,
    count_assignments,
    draw_conditions,
    randomisation_test,
)
from motorlearn.measures.single_case.dependence import DependentDifference, dependent_difference
from motorlearn.measures.single_case.neighbours import Neighbours, lag_one, variance_inflation
from motorlearn.measures.single_case.overlap import Overlap, nonoverlap, tau_u

__all__ = [
    "MOST_ASSIGNMENTS",
    "DependentDifference",
    "Neighbours",
    "Overlap",
    "Randomisation",
    "Randomised",
    "count_assignments",
    "dependent_difference",
    "draw_conditions",
    "lag_one",
    "nonoverlap",
    "randomisation_test",
    "tau_u",
    "variance_inflation",
]
