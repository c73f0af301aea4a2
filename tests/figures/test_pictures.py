"""The pictures in the README, and the one that its script draws from the shipped study."""

import importlib.util
import io
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
from PIL import Image

ROOT = Path(__file__).parents[2]
PINNED = dict(
    line.split("==")
    for line in (ROOT / ".ci" / "constraints.txt").read_text().split()
    if "==" in line
)


def pixels(source) -> np.ndarray:
    return np.asarray(Image.open(source).convert("L"), dtype=float)


@pytest.mark.skipif(
    mpl.__version__.split(".")[:2] != PINNED["matplotlib"].split(".")[:2],
    reason="another matplotlib than the picture was drawn with sets letters elsewhere",
)
def test_the_picture_of_the_readme_is_up_to_date():
    where = ROOT / "docs" / "pictures" / "make_pictures.py"
    spec = importlib.util.spec_from_file_location("make_pictures", where)
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    drawn = pixels(io.BytesIO(script.practice_curve().png(dpi=150)))
    stored = pixels(where.parent / "practice-curve.png")
    assert drawn.shape == stored.shape
    assert np.abs(drawn - stored).mean() < 2


def test_the_readme_shows_a_report_and_a_notebook():
    text = (ROOT / "README.md").read_text("utf-8")
    for name in ("practice-curve.png", "notebook.png"):
        assert f"docs/pictures/{name}" in text
        assert (pixels(ROOT / "docs" / "pictures" / name) < 128).mean() > 0.005
