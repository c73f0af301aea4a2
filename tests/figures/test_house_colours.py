"""Figures, pages and notebooks take their colours from one place."""

import re
from pathlib import Path

import motorlearn
from motorlearn.figures.drawing.levels import COLOURS
from motorlearn.figures.plan.orders import TASK_COLOURS
from motorlearn.figures.plan.timeline import _DELAYED

PACKAGE = Path(motorlearn.__file__).parent
GREYISH = 50
"""Largest distance of channels that still reads as grey, paper or a tint of a table's row."""


def test_no_colour_comes_from_elsewhere():
    house = {*COLOURS, *TASK_COLOURS, _DELAYED}
    strangers = {
        (str(path.relative_to(PACKAGE)), colour)
        for kind in ("py", "css", "js", "j2")
        for path in PACKAGE.rglob(f"*.{kind}")
        for colour in re.findall(r"#[0-9a-fA-F]{6}\b", path.read_text(encoding="utf-8"))
        if spread(colour) > GREYISH and colour.lower() not in house
    }
    assert not strangers


def spread(colour):
    channels = [int(colour[place : place + 2], 16) for place in (1, 3, 5)]
    return max(channels) - min(channels)
