"""A result in, axes out.

``levels`` holds the order and the looks of groups, ``style`` the sizes and the drawing, ``labels``
and ``panels`` what keeps texts apart, ``frames`` what a table must have; each other module draws
one kind of figure with seaborn and matplotlib and gives a
:class:`~motorlearn.figures.style.Drawing`. Every figure takes ``ax=`` where it fits into one panel,
keeps a theme that was set with ``seaborn.set_theme``, and has four sizes.
"""

from typing import TYPE_CHECKING

from motorlearn.doors import late_names

if TYPE_CHECKING:
    from motorlearn.figures.agreement import bland_altman, category_agreement, rater_drift
    from motorlearn.figures.change import paired_change
    from motorlearn.figures.curves import (
        curve_residuals,
        individual_fits,
        parameter_forest,
        population_curve,
    )
    from motorlearn.figures.diagnostics import conclusion_forest, diagnostic_panel, tipping_path
    from motorlearn.figures.distributions import estimation_plot, raincloud
    from motorlearn.figures.effects import effect_forest
    from motorlearn.figures.extents import text_overlaps, texts_cut
    from motorlearn.figures.flow import participant_flow
    from motorlearn.figures.generalisability import decision_curves
    from motorlearn.figures.landing import landing_map
    from motorlearn.figures.landmarks import cutoff_choice, stick_figure
    from motorlearn.figures.load import load_by_week
    from motorlearn.figures.missing import missing_map
    from motorlearn.figures.orders import trial_order_raster
    from motorlearn.figures.pairs import paired_lines
    from motorlearn.figures.power import power_contour, power_curves
    from motorlearn.figures.practice import outcome_label, practice_curve
    from motorlearn.figures.scores import delayed_scores
    from motorlearn.figures.style import (
        SIZES,
        Drawing,
        EndLabel,
        Levels,
        Look,
        canvas,
        contrast_ratio,
        house,
        label_ends,
        looks,
    )
    from motorlearn.figures.timeline import design_timeline
    from motorlearn.figures.tradeoff import speed_and_outcome

_HOMES = {
    "agreement": ("bland_altman", "category_agreement", "rater_drift"),
    "change": ("paired_change",),
    "curves": ("curve_residuals", "individual_fits", "parameter_forest", "population_curve"),
    "diagnostics": ("conclusion_forest", "diagnostic_panel", "tipping_path"),
    "distributions": ("estimation_plot", "raincloud"),
    "effects": ("effect_forest",),
    "extents": ("text_overlaps", "texts_cut"),
    "flow": ("participant_flow",),
    "generalisability": ("decision_curves",),
    "landing": ("landing_map",),
    "landmarks": ("cutoff_choice", "stick_figure"),
    "load": ("load_by_week",),
    "missing": ("missing_map",),
    "orders": ("trial_order_raster",),
    "pairs": ("paired_lines",),
    "power": ("power_contour", "power_curves"),
    "practice": ("outcome_label", "practice_curve"),
    "scores": ("delayed_scores",),
    "style": (
        "SIZES",
        "Drawing",
        "EndLabel",
        "Levels",
        "Look",
        "canvas",
        "contrast_ratio",
        "house",
        "label_ends",
        "looks",
    ),
    "timeline": ("design_timeline",),
    "tradeoff": ("speed_and_outcome",),
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
    "label_ends",
    "landing_map",
    "load_by_week",
    "looks",
    "missing_map",
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
    "speed_and_outcome",
    "stick_figure",
    "text_overlaps",
    "texts_cut",
    "tipping_path",
    "trial_order_raster",
]
