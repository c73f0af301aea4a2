"""A result in, axes out.

``style`` holds the looks, sizes and labels that every figure shares; each other module draws one
figure and gives a :class:`~motorlearn.figures.style.Drawing`.
"""

from motorlearn.figures.change import paired_change
from motorlearn.figures.effects import effect_forest
from motorlearn.figures.extents import text_overlaps, texts_cut
from motorlearn.figures.flow import participant_flow
from motorlearn.figures.landing import landing_map
from motorlearn.figures.missing import missing_map
from motorlearn.figures.practice import outcome_label, practice_curve
from motorlearn.figures.scores import delayed_scores
from motorlearn.figures.style import (
    SIZES,
    Drawing,
    EndLabel,
    Look,
    canvas,
    contrast_ratio,
    house,
    label_ends,
    looks,
)

__all__ = [
    "SIZES",
    "Drawing",
    "EndLabel",
    "Look",
    "canvas",
    "contrast_ratio",
    "delayed_scores",
    "effect_forest",
    "house",
    "label_ends",
    "landing_map",
    "looks",
    "missing_map",
    "outcome_label",
    "paired_change",
    "participant_flow",
    "practice_curve",
    "text_overlaps",
    "texts_cut",
]
