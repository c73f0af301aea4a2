"""The general linear model on arrays.

``least_squares`` the fit, ``hypotheses`` estimates and tests of it, ``coding`` columns and sums of
squares, ``samples`` t, Welch and one-way, ``ancova`` groups adjusted for a baseline, ``by_group``
contrasts with a variance for each group, ``batch`` the same in many studies at once, ``repeated``
repeated measures, ``factorial`` several factors between people and covariates, ``equivalence`` two
one-sided tests, ``multiplicity`` families of tests, ``sequential`` what interim looks may spend.
"""

from motorlearn.linear.ancova import Ancova, ancova
from motorlearn.linear.batch import BatchContrast, ancova_batch
from motorlearn.linear.by_group import (
    estimate_by_group,
    group_variances,
    joint_test_by_group,
    true_size,
    wishart_test,
)
from motorlearn.linear.coding import (
    product_columns,
    sum_columns,
    sums_of_squares,
    treatment_columns,
)
from motorlearn.linear.equivalence import (
    Equivalence,
    equivalence_from_summary,
    equivalence_of_means,
    equivalence_test,
)
from motorlearn.linear.factorial import crossed_columns, factorial_anova
from motorlearn.linear.hypotheses import (
    Estimate,
    FTest,
    coefficient_table,
    compare_models,
    estimate_contrast,
    f_test,
    joint_test,
    t_estimate,
    t_quantile,
)
from motorlearn.linear.jackknife import Jackknife, jackknife_by_group
from motorlearn.linear.least_squares import LeastSquares, fit_least_squares
from motorlearn.linear.multiplicity import holm
from motorlearn.linear.repeated import (
    RepeatedEffect,
    Sphericity,
    repeated_anova,
    within_contrasts,
)
from motorlearn.linear.samples import one_sample, one_way, welch, welch_one_way, welch_summary
from motorlearn.linear.sequential import Boundaries, interim_boundaries, spent_by

__all__ = [
    "Ancova",
    "BatchContrast",
    "Boundaries",
    "Equivalence",
    "Estimate",
    "FTest",
    "Jackknife",
    "LeastSquares",
    "RepeatedEffect",
    "Sphericity",
    "ancova",
    "ancova_batch",
    "coefficient_table",
    "compare_models",
    "crossed_columns",
    "equivalence_from_summary",
    "equivalence_of_means",
    "equivalence_test",
    "estimate_by_group",
    "estimate_contrast",
    "f_test",
    "factorial_anova",
    "fit_least_squares",
    "group_variances",
    "holm",
    "interim_boundaries",
    "jackknife_by_group",
    "joint_test",
    "joint_test_by_group",
    "one_sample",
    "one_way",
    "product_columns",
    "repeated_anova",
    "spent_by",
    "sum_columns",
    "sums_of_squares",
    "t_estimate",
    "t_quantile",
    "treatment_columns",
    "true_size",
    "welch",
    "welch_one_way",
    "welch_summary",
    "wishart_test",
    "within_contrasts",
]
