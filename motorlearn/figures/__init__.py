"""A result in, axes out.

``plan``, ``outcomes``, ``models`` and ``technique`` draw one kind of figure in each module, with
seaborn and matplotlib, and give a :class:`~motorlearn.figures.drawing.drawn.Drawing`; ``drawing``
is what they stand on. Every figure takes ``ax=`` where it fits into one panel, keeps a theme that
was set with ``seaborn.set_theme``, and has four sizes.
"""

from typing import TYPE_CHECKING

from motorlearn.doors import late_names

if TYPE_CHECKING:
    from motorlearn.figures.drawing.drawn import Drawing
    from motorlearn.figures.drawing.extents import text_overlaps, texts_cut
    from motorlearn.figures.drawing.naming import outcome_label
    from motorlearn.figures.drawing.style import (
        SIZES,
        EndLabel,
        Levels,
        Look,
        canvas,
        contrast_ratio,
        house,
        label_ends,
        looks,
    )
    from motorlearn.figures.models.curves import (
        curve_residuals,
        individual_fits,
        population_curve,
    )
    from motorlearn.figures.models.diagnostics import (
        conclusion_forest,
        diagnostic_panel,
        tipping_path,
    )
    from motorlearn.figures.models.families import modelled_means
    from motorlearn.figures.models.parameters import parameter_forest
    from motorlearn.figures.models.variability import modelled_spreads
    from motorlearn.figures.outcomes.change import paired_change
    from motorlearn.figures.outcomes.crossed import interaction_plot
    from motorlearn.figures.outcomes.distributions import estimation_plot, raincloud
    from motorlearn.figures.outcomes.effects import effect_forest
    from motorlearn.figures.outcomes.landing import landing_map
    from motorlearn.figures.outcomes.missing import missing_map
    from motorlearn.figures.outcomes.multiverse import multiverse_plot
    from motorlearn.figures.outcomes.pairs import paired_lines
    from motorlearn.figures.outcomes.practice import practice_curve
    from motorlearn.figures.outcomes.scores import delayed_scores
    from motorlearn.figures.outcomes.single_case import single_case_graph
    from motorlearn.figures.outcomes.tradeoff import speed_and_outcome
    from motorlearn.figures.plan.flow import participant_flow
    from motorlearn.figures.plan.load import load_by_week
    from motorlearn.figures.plan.orders import trial_order_raster
    from motorlearn.figures.plan.power import power_contour, power_curves
    from motorlearn.figures.plan.timeline import design_timeline
    from motorlearn.figures.technique.agreement import bland_altman, category_agreement, rater_drift
    from motorlearn.figures.technique.generalisability import decision_curves
    from motorlearn.figures.technique.landmarks import cutoff_choice, stick_figure

_HOMES = {
    "technique.agreement": ("bland_altman", "category_agreement", "rater_drift"),
    "outcomes.change": ("paired_change",),
    "models.curves": ("curve_residuals", "individual_fits", "population_curve"),
    "models.parameters": ("parameter_forest",),
    "models.diagnostics": ("conclusion_forest", "diagnostic_panel", "tipping_path"),
    "models.families": ("modelled_means",),
    "models.variability": ("modelled_spreads",),
    "outcomes.crossed": ("interaction_plot",),
    "outcomes.distributions": ("estimation_plot", "raincloud"),
    "outcomes.effects": ("effect_forest",),
    "drawing.extents": ("text_overlaps", "texts_cut"),
    "plan.flow": ("participant_flow",),
    "technique.generalisability": ("decision_curves",),
    "outcomes.landing": ("landing_map",),
    "technique.landmarks": ("cutoff_choice", "stick_figure"),
    "plan.load": ("load_by_week",),
    "outcomes.missing": ("missing_map",),
    "outcomes.multiverse": ("multiverse_plot",),
    "plan.orders": ("trial_order_raster",),
    "outcomes.pairs": ("paired_lines",),
    "plan.power": ("power_contour", "power_curves"),
    "drawing.naming": ("outcome_label",),
    "outcomes.practice": ("practice_curve",),
    "outcomes.scores": ("delayed_scores",),
    "drawing.drawn": ("Drawing",),
    "drawing.style": (
        "SIZES",
        "EndLabel",
        "Levels",
        "Look",
        "canvas",
        "contrast_ratio",
        "house",
        "label_ends",
        "looks",
    ),
    "plan.timeline": ("design_timeline",),
    "outcomes.single_case": ("single_case_graph",),
    "outcomes.tradeoff": ("speed_and_outcome",),
}
__getattr__, __dir__ = late_names(
    __name__,
    {name: f"motorlearn.figures.{home}" for home, names in _HOMES.items() for name in names},
)

__all__ = [
    "SIZES",
    "Drawing",
    "EndLabel",
    "Levels",
    "Look",
    "bland_altman",
    "canvas",
    "category_agreement",
    "conclusion_forest",
    "contrast_ratio",
    "curve_residuals",
    "cutoff_choice",
    "decision_curves",
    "delayed_scores",
    "design_timeline",
    "diagnostic_panel",
    "effect_forest",
    "estimation_plot",
    "house",
    "individual_fits",
    "interaction_plot",
    "label_ends",
    "landing_map",
    "load_by_week",
    "looks",
    "missing_map",
    "modelled_means",
    "modelled_spreads",
    "multiverse_plot",
    "outcome_label",
    "paired_change",
    "paired_lines",
    "parameter_forest",
    "participant_flow",
    "population_curve",
    "power_contour",
    "power_curves",
    "practice_curve",
    "raincloud",
    "rater_drift",
    "single_case_graph",
    "speed_and_outcome",
    "stick_figure",
    "text_overlaps",
    "texts_cut",
    "tipping_path",
    "trial_order_raster",
]
