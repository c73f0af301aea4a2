"""The picture in the README is the one that its script draws from the shipped study."""

import importlib.util
import io
from pathlib import Path

import numpy as np
from PIL import Image

ROOT = Path(__file__).parents[2]


def pixels(source) -> np.ndarray:
    return np.asarray(Image.open(source).convert("L"), dtype=float)


def test_the_picture_of_the_readme_is_up_to_date():
    where = ROOT / "docs" / "pictures" / "make_pictures.py"
    spec = importlib.util.spec_from_file_location("make_pictures", where)
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    drawn = pixels(io.BytesIO(script.practice_curve().png(dpi=150)))
    stored = pixels(where.parent / "practice-curve.png")
    assert drawn.shape == stored.shape
    assert np.abs(drawn - stored).mean() < 2
    assert "docs/pictures/practice-curve.png" in (ROOT / "README.md").read_text("utf-8")
