"""The order of the levels of a plan, and how each level looks in every figure.

A look hangs on the place of the level in the plan, never on the data. Colour, marker and line style
all carry it: the colours are apart in lightness, so that a grey print and the three kinds of
colour blindness keep them apart, and the marker and the line style tell them where two still meet.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.colors import to_hex, to_rgb

from motorlearn.exceptions import InputError

PAPER: Final = "#ffffff"
_LEGIBLE: Final = 4.5

# Chosen by CIE lightness (24, 58, 43, 0, 51, 35) with at least 3:1 on white; tests/figures checks
# grey and the simulations of Machado, Oliveira & Fernandes (2009).
COLOURS: Final = ("#10386f", "#c77a0a", "#00735f", "#000000", "#b2599c", "#8a3b12")
_MARKERS: Final = ("o", "s", "^", "D", "v", "P", "X", "<", ">", "p", "*", "h")
_DASHES: Final = ((), (5, 1.6), (1.2, 1.4), (6, 1.5, 1.2, 1.5), (9, 1.4), (3, 1))


@dataclass(frozen=True)
class Look:
    """How one level is drawn in every figure."""

    group: str
    colour: str
    marker: str
    line: Any

    @property
    def text_colour(self) -> str:
        """The level's colour, darkened until text in it reaches 4.5:1 on white."""
        return legible(self.colour)

    @property
    def line_style(self) -> dict[str, Any]:
        """Keywords for a line with markers."""
        return {
            "color": self.colour,
            "marker": self.marker,
            "linestyle": self.line,
            "markeredgecolor": PAPER,
            "markeredgewidth": 0.6,
        }

    @property
    def point_style(self) -> dict[str, Any]:
        """Keywords for markers without a line."""
        return {**self.line_style, "linestyle": "none"}


@dataclass(frozen=True)
class Levels:
    """The levels of one factor in the order of the plan.

    It is what every figure takes for ``groups``: a sequence of names gives one, and
    :meth:`keywords` is what seaborn wants to know.

    Parameters
    ----------
    names : sequence of str
        Levels in the order of the plan; a name that comes twice counts once.

    Examples
    --------
    >>> order = Levels(["blocked", "serial", "random"])
    >>> [order[name].marker for name in order]
    ['o', 's', '^']
    >>> order.keywords("group")["hue_order"]
    ['blocked', 'serial', 'random']
    """

    names: Sequence[str]

    def __post_init__(self) -> None:
        object.__setattr__(self, "names", tuple(dict.fromkeys(str(name) for name in self.names)))
        if not self.names:
            raise InputError("a figure by group needs at least one group", None, "name the groups")

    def __iter__(self) -> Iterator[str]:
        return iter(self.names)

    def __len__(self) -> int:
        return len(self.names)

    def __getitem__(self, name: str) -> Look:
        return self.looks[name]

    @cached_property
    def looks(self) -> dict[str, Look]:
        """Look of each level by its name."""
        colours = _palette()
        return {
            name: Look(name, colours[i % len(colours)], *_shape(i))
            for i, name in enumerate(self.names)
        }

    @property
    def palette(self) -> dict[str, str]:
        """Colour of each level by its name."""
        return {name: look.colour for name, look in self.looks.items()}

    @property
    def markers(self) -> dict[str, str]:
        """Marker of each level by its name."""
        return {name: look.marker for name, look in self.looks.items()}

    @property
    def dashes(self) -> dict[str, Any]:
        """Dashes of each level by its name, as seaborn writes them."""
        return {name: _dash(i) or "" for i, name in enumerate(self.names)}

    def keywords(self, column: str) -> dict[str, Any]:
        """Keywords of a seaborn line plot that tell the levels of a column apart."""
        return {
            "hue": column,
            "hue_order": list(self.names),
            "palette": self.palette,
            "style": column,
            "style_order": list(self.names),
            "dashes": self.dashes,
        }

    def present(self, table: pd.DataFrame, column: str = "group") -> list[Look]:
        """Looks of the levels that a table has, in the order of the plan.

        Raises
        ------
        InputError
            If the table has none of them.
        """
        seen = set(table[column].astype(str))
        found = [look for name, look in self.looks.items() if name in seen]
        if not found:
            raise InputError(
                f"no {column} of the plan is in the data to draw",
                list(self.names),
                f"the data have {', '.join(sorted(seen)) or 'no rows'}",
            )
        return found


def in_order(names: Sequence[str], order: Sequence[str] | None) -> list[str]:
    """Give names in the order of the plan, where it has them all; else as they are.

    Examples
    --------
    >>> in_order(["random", "blocked"], ["blocked", "serial", "random"])
    ['blocked', 'random']
    """
    if order is None or not set(names) <= set(order):
        return list(names)
    return [name for name in order if name in names]


def looks(groups: Sequence[str]) -> dict[str, Look]:
    """Give each group its look, by its place in the plan.

    Examples
    --------
    >>> {name: look.marker for name, look in looks(["blocked", "serial", "random"]).items()}
    {'blocked': 'o', 'serial': 's', 'random': '^'}
    """
    return Levels(groups).looks


def _palette() -> tuple[str, ...]:
    """The house colours, or those of a theme that the user has set."""
    cycle = mpl.rcParams["axes.prop_cycle"]
    if cycle == mpl.rcParamsDefault["axes.prop_cycle"] or "color" not in cycle.keys:
        return COLOURS
    return tuple(to_hex(colour) for colour in cycle.by_key()["color"])


def _shape(place: int) -> tuple[str, Any]:
    """Marker and line style of a place; pairs repeat only after seventy-two levels."""
    dash = _dash(place)
    return _MARKERS[place % len(_MARKERS)], (0, dash) if dash else "-"


def _dash(place: int) -> tuple[float, ...]:
    return _DASHES[(place + place // len(_MARKERS)) % len(_DASHES)]


def relative_luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour as WCAG 2.2 defines it."""
    channels = np.array(to_rgb(colour))
    linear = np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast_ratio(first: str, second: str = PAPER) -> float:
    """Contrast ratio of two colours, (L1 + 0.05) / (L2 + 0.05), from 1 to 21.

    References
    ----------
    W3C (2023). Web Content Accessibility Guidelines 2.2, success criteria 1.4.3 and 1.4.11.

    Examples
    --------
    >>> contrast_ratio("#000000", "#ffffff")
    21.0
    """
    light, dark = sorted((relative_luminance(first), relative_luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def legible(colour: str) -> str:
    """Darken a colour in steps until it can be read as text on the paper (contrast of 4.5)."""
    channels = np.array(to_rgb(colour))
    while contrast_ratio(_hex(channels), PAPER) < _LEGIBLE and channels.max() > 0.01:
        channels = channels * 0.96
    return _hex(channels)


def _hex(channels: np.ndarray) -> str:
    red, green, blue = (float(channel) for channel in channels)
    return to_hex((red, green, blue))
