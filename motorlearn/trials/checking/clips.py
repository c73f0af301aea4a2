"""Files of coordinates that the plan asks for: are they there, and named as the raters do."""

from pathlib import Path

import pandas as pd

from motorlearn.design import Design
from motorlearn.trials.checking.problems import gather, problem_frame
from motorlearn.trials.named_files import clip_files

_MOST_NAMED = 5


def clips_as_rated(design: Design, folder: Path, ratings: pd.DataFrame | None) -> pd.DataFrame:
    """Ask about clips that no rater knows, and note that there are none yet."""
    asked = design.landmarks
    if asked is None:
        return gather([])
    files = clip_files(design, folder)
    if not files:
        return problem_frame(
            "no coordinates yet",
            severity="note",
            file=asked.folder,
            advice="put one CSV for each clip there, named as the raters know the clip",
        )
    if ratings is None or "clip" not in ratings:
        return gather([])
    strange = sorted(set(files) - set(ratings["clip"].dropna().astype("str")))
    if not strange:
        return gather([])
    more = len(strange) - _MOST_NAMED
    named = ", ".join(strange[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
    return problem_frame(
        "clips that no rater knows",
        severity="doubt",
        file=asked.folder,
        value=named,
        advice="their scores from landmarks stand beside nobody's; name files as the ratings do",
    )
