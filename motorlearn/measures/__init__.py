"""Arrays in, scores out.

``aim`` one-dimensional errors, ``landing`` two-dimensional ones, ``hits`` hits among attempts,
``times`` times, ``change`` gain, loss, savings and transfer, ``precision`` what one person's score
is worth, ``own_limits`` and ``individual_changes`` who changed beyond trial noise,
``moving_together`` whether two scores of the same people do,
``effect_sizes`` standardised effects, ``orders`` trial orders, ``cards`` the definition of each
measure, ``registry`` measures of one's own, ``scores`` all of them on a table, ``score_table``
these for a reader; ``single_case`` conditions within one person, ``questionnaires`` scales
of answers; ``agreement`` raters, ``landmarks`` and ``posture`` technique, on tables.
"""

from typing import TYPE_CHECKING

from motorlearn.doors import late_names
from motorlearn.measures.agreement.agreement import Agreement, rater_agreement
from motorlearn.measures.agreement.planning import RatingPlan, plan_rating
from motorlearn.measures.agreement.totals import Totals, total_scores
from motorlearn.measures.aim import (
    absolute_constant_error,
    absolute_error,
    constant_error,
    effective_width,
    total_error,
    variable_error,
)
from motorlearn.measures.cards import CARDS, Card, better_direction, definition
from motorlearn.measures.change import (
    bounded_transfer,
    gain,
    percent_transfer,
    relative_retention,
    retention_loss,
    savings,
    trials_to_criterion,
    warm_up_decrement,
)
from motorlearn.measures.effect_sizes import (
    StandardisedEffect,
    adjusted_g,
    d_from_log_odds,
    hedges_g,
    paired_g,
    small_sample_factor,
)
from motorlearn.measures.hits import (
    clopper_pearson_interval,
    empirical_logit,
    hit_rate,
    newcombe_difference,
    wilson_interval,
)
from motorlearn.measures.individual_changes import IndividualChanges, individual_changes
from motorlearn.measures.landing import (
    Ellipse,
    bivariate_variable_error,
    centroid_radial_error,
    hit_probability,
    landing_ellipse,
    mean_radial_error,
)
from motorlearn.measures.moving_together import MovingTogether, moving_together
from motorlearn.measures.orders import longest_run, mean_lag, switch_rate
from motorlearn.measures.own_limits import OwnChange, hit_change, hit_limits, mean_change
from motorlearn.measures.precision import (
    binomial_sem,
    design_effect,
    detectable_change_interval,
    smallest_detectable_change,
    standard_error_of_measurement,
)
from motorlearn.measures.questionnaires import Questionnaire, score_questionnaire
from motorlearn.measures.registry import (
    RegisteredMeasure,
    forget_measure,
    register_measure,
    registered_measures,
)
from motorlearn.measures.score_table import score_table
from motorlearn.measures.scores import score_trials
from motorlearn.measures.times import mean_time

if TYPE_CHECKING:
    from motorlearn.measures.landmarks.checklist import LandmarkPlan, read_landmark_plan
    from motorlearn.measures.landmarks.motion import Release, find_release, speed, with_release
    from motorlearn.measures.landmarks.posture import (
        ChecklistItem,
        Posture,
        Quantity,
        measure_posture,
        score_checklist,
        with_landmark_scores,
    )
    from motorlearn.measures.landmarks.tracks import Landmarks, read_landmarks

_LANDMARKS = {
    "checklist": ("LandmarkPlan", "read_landmark_plan"),
    "motion": ("Release", "find_release", "speed", "with_release"),
    "posture": (
        "ChecklistItem",
        "Posture",
        "Quantity",
        "measure_posture",
        "score_checklist",
        "with_landmark_scores",
    ),
    "tracks": ("Landmarks", "read_landmarks"),
}
__getattr__, __dir__ = late_names(
    __name__,
    {
        name: f"motorlearn.measures.landmarks.{home}"
        for home, names in _LANDMARKS.items()
        for name in names
    },
)

__all__ = [
    "CARDS",
    "Agreement",
    "Card",
    "ChecklistItem",
    "Ellipse",
    "IndividualChanges",
    "LandmarkPlan",
    "Landmarks",
    "MovingTogether",
    "OwnChange",
    "Posture",
    "Quantity",
    "Questionnaire",
    "RatingPlan",
    "RegisteredMeasure",
    "Release",
    "StandardisedEffect",
    "Totals",
    "absolute_constant_error",
    "absolute_error",
    "adjusted_g",
    "better_direction",
    "binomial_sem",
    "bivariate_variable_error",
    "bounded_transfer",
    "centroid_radial_error",
    "clopper_pearson_interval",
    "constant_error",
    "d_from_log_odds",
    "definition",
    "design_effect",
    "detectable_change_interval",
    "effective_width",
    "empirical_logit",
    "find_release",
    "forget_measure",
    "gain",
    "hedges_g",
    "hit_change",
    "hit_limits",
    "hit_probability",
    "hit_rate",
    "individual_changes",
    "landing_ellipse",
    "longest_run",
    "mean_change",
    "mean_lag",
    "mean_radial_error",
    "mean_time",
    "measure_posture",
    "moving_together",
    "newcombe_difference",
    "paired_g",
    "percent_transfer",
    "plan_rating",
    "rater_agreement",
    "read_landmark_plan",
    "read_landmarks",
    "register_measure",
    "registered_measures",
    "relative_retention",
    "retention_loss",
    "savings",
    "score_checklist",
    "score_questionnaire",
    "score_table",
    "score_trials",
    "small_sample_factor",
    "smallest_detectable_change",
    "speed",
    "standard_error_of_measurement",
    "switch_rate",
    "total_error",
    "total_scores",
    "trials_to_criterion",
    "variable_error",
    "warm_up_decrement",
    "wilson_interval",
    "with_landmark_scores",
    "with_release",
]
