"""Caption and alternative text of a cloud of scores."""

from collections.abc import Sequence

import pandas as pd

from motorlearn.vocabulary import capitalised
from motorlearn.wording.voice import Voice, Words


def cloud_words(scores: pd.DataFrame, groups: Sequence[str], stage: str, voice: Voice) -> Words:
    """Say what half a violin, a box and points show, and in the alternative text the quartiles."""
    said = []
    for group in groups:
        own = scores.loc[scores["group"].astype(str) == group, "score"]
        if len(own):
            low, middle, high = own.quantile([0.25, 0.5, 0.75])
            said.append(
                f"{group}, n = {len(own)}, median {voice.number(middle)} "
                f"(quartiles {voice.number(low)} and "
                f"{voice.number(high)})"
            )
    what = f"{voice.name} of every {voice.one} {voice.during(stage)}"
    apart = ", by group" if len(groups) > 1 else ""
    return Words(
        f"{capitalised(what)}{apart}: half a violin (how the scores are spread), a box (the "
        "middle half with the median; whiskers reach the last score within 1.5 box lengths) and "
        "points.",
        f"Half violins and boxes of {what}. {capitalised('; '.join(said))}.",
    )
