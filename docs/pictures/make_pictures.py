"""Draw the picture of the README again: python docs/pictures/make_pictures.py [FOLDER]."""

import sys
from pathlib import Path

import motorlearn as ml
from motorlearn.files import write_bytes
from motorlearn.report.sections.exhibits import practice_figure
from motorlearn.report.view import view_of

HERE = Path(__file__).parent
STUDY = HERE.parents[1] / "data" / "ring-push"


def practice_curve() -> ml.figures.Drawing:
    """The practice curve of the shipped study, as its report draws it."""
    found = view_of(ml.analyse_study(ml.read_study(STUDY)), decimal=".")
    return practice_figure(found, found.outcomes[0], "thesis")


def main(folder: Path) -> None:
    """Write the picture."""
    write_bytes(folder / "practice-curve.png", practice_curve().png(dpi=150))


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
