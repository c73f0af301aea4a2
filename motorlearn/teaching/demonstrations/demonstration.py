"""What every demonstration gives: its settings, its numbers, one conclusion, and the same in words.

A demonstration is a plain function: settings in, a frozen result out. ``drawings`` turns the result
into a picture, ``faces`` puts controls around both.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from motorlearn.exceptions import InputError
from motorlearn.results import Result


@dataclass(frozen=True)
class Demonstration(Result):
    """Base of every demonstration.

    Parameters
    ----------
    settings : mapping
        Every setting as it was used, the seed included.
    conclusion : str
        What these numbers show, in one sentence.
    text : str
        The picture in words, for a reader who cannot see it.
    """

    settings: Mapping[str, Any]
    conclusion: str
    text: str


def check_settings(
    given: Mapping[str, float], limits: Mapping[str, tuple[float, float]]
) -> dict[str, float]:
    """Refuse a setting outside its range, naming the range; give the settings back.

    Examples
    --------
    >>> check_settings({"days": 7}, {"days": (0, 60)})
    {'days': 7}
    """
    for name, (low, high) in limits.items():
        value = given[name]
        if not (np.isfinite(value) and low <= value <= high):
            raise InputError(
                f"the setting {name!r} is outside its range",
                [value],
                f"choose from {low} to {high}",
            )
    return dict(given)
