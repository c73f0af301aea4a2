"""The house style: fixed looks per group, two sizes, direct labels, and a drawing with its words.

How a figure is written::

    with house(size):                                  # "thesis" or "slide"
        figure, axes = canvas(size, columns=2)         # no pyplot, no global state
        for group, look in looks(plan_order).items():  # the same look in every figure
            axes[0].plot(x, y, **look.line_style)      # line with markers
            axes[0].plot(x, y, **look.point_style)     # markers only
        label_ends(axes[0], [EndLabel(x_end, y_end, group, look.text_colour), ...])
    return Drawing("practice-curve", figure, caption=..., alt=...)

``looks`` takes the groups in the order of the plan, never in the order of the data. Marker, line
style and direct label carry the group as well as colour does, so that a grey print can be read.
``contrast_ratio`` is the ratio of WCAG 2.2; ``text_overlaps`` and ``texts_cut`` name labels that
collide or leave the page. ``Drawing`` gives bytes (``png()``, ``svg()``, ``pdf()``) and shows
itself, with its alternative text, in a notebook.
"""

import base64
import contextlib
import html
import io
import re
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final, Literal, Self

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_hex, to_rgb
from matplotlib.figure import Figure
from matplotlib.text import Text

from motorlearn.exceptions import InputError
from motorlearn.figures.extents import text_overlaps as text_overlaps
from motorlearn.figures.extents import texts_cut as texts_cut

SizeName = Literal["thesis", "slide"]

INK: Final = "#222222"
SOFT_INK: Final = "#595959"
FAINT: Final = "#8c8c8c"
PAPER: Final = "#ffffff"

# Okabe & Ito (2008) as printed by Wong (2011), Nature Methods 8:441, doi:10.1038/nmeth.1618: the
# members that reach 3:1 on white first; then reddish purple and orange, darkened until they do.
_COLOURS: Final = ("#0072B2", "#D55E00", "#009E73", "#000000", "#CC79A7", "#E69F00")
_MARKERS: Final = ("o", "s", "^", "D", "v", "P")
_LINES: Final = ("-", (0, (5, 1.6)), (0, (1.2, 1.4)), (0, (6, 1.5, 1.2, 1.5)), "-", (0, (3, 1)))


@dataclass(frozen=True)
class Size:
    """Width and height in inches, type in points and line widths of one use of a figure."""

    width: float
    height: float
    font: float
    line: float
    marker: float


SIZES: Final = {
    "thesis": Size(6.3, 3.7, 9.0, 1.6, 5.0),
    "slide": Size(13.33, 7.0, 20.0, 3.2, 11.0),
}
"""Sizes by name: a text column of an A4 page, and a 16:9 slide with type of 20 points."""


@dataclass(frozen=True)
class Look:
    """How one group is drawn in every figure."""

    group: str
    colour: str
    marker: str
    line: Any

    @property
    def text_colour(self) -> str:
        """The group's colour, darkened until text in it reaches 4.5:1 on white."""
        return legible(self.colour, 4.5)

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


def looks(groups: Sequence[str]) -> dict[str, Look]:
    """Give each group its look, by its place in the plan.

    Examples
    --------
    >>> {name: look.marker for name, look in looks(["blocked", "serial", "random"]).items()}
    {'blocked': 'o', 'serial': 's', 'random': '^'}
    """
    names = list(dict.fromkeys(str(group) for group in groups))
    return {
        name: Look(
            name,
            legible(_COLOURS[i % len(_COLOURS)], 3.0),
            _MARKERS[(i + i // len(_COLOURS)) % len(_MARKERS)],
            _LINES[(i + 2 * (i // len(_COLOURS))) % len(_LINES)],
        )
        for i, name in enumerate(names)
    }


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


def legible(colour: str, ratio: float = 4.5, paper: str = PAPER) -> str:
    """Darken a colour in steps until it reaches a contrast ratio on the paper."""
    channels = np.array(to_rgb(colour))
    while contrast_ratio(_hex(channels), paper) < ratio and channels.max() > 0.01:
        channels = channels * 0.96
    return _hex(channels)


def _hex(channels: np.ndarray) -> str:
    red, green, blue = (float(channel) for channel in channels)
    return to_hex((red, green, blue))


@contextlib.contextmanager
def house(size: SizeName = "thesis") -> Iterator[Size]:
    """Apply the house style while a figure is made, and nothing beyond."""
    if size not in SIZES:
        raise InputError("there is no such figure size", [size], "use 'thesis' or 'slide'")
    chosen = SIZES[size]
    with mpl.rc_context(_settings(chosen)):
        yield chosen


def _settings(size: Size) -> Any:
    return {
        "font.family": "sans-serif",
        "font.sans-serif": ["DejaVu Sans"],
        "font.size": size.font,
        "axes.labelsize": size.font,
        "axes.titlesize": size.font,
        "axes.titleweight": "bold",
        "axes.titlelocation": "left",
        "xtick.labelsize": size.font * 0.9,
        "ytick.labelsize": size.font * 0.9,
        "text.color": INK,
        "axes.labelcolor": INK,
        "axes.edgecolor": SOFT_INK,
        "xtick.color": SOFT_INK,
        "ytick.color": SOFT_INK,
        "xtick.labelcolor": INK,
        "ytick.labelcolor": INK,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.linewidth": size.line / 2,
        "xtick.major.width": size.line / 2,
        "ytick.major.width": size.line / 2,
        "lines.linewidth": size.line,
        "lines.markersize": size.marker,
        "axes.unicode_minus": True,
        "figure.facecolor": PAPER,
        "axes.facecolor": PAPER,
        "svg.fonttype": "path",
        "svg.hashsalt": "motorlearn",
        "pdf.fonttype": 42,
    }


def canvas(
    size: SizeName = "thesis",
    *,
    rows: int = 1,
    columns: int = 1,
    height: float = 1.0,
    share_y: bool = False,
    width_ratios: Sequence[float] | None = None,
) -> tuple[Figure, list[Axes]]:
    """Make a figure with its axes in reading order; call it inside :func:`house`.

    ``height`` multiplies the usual height of the size.
    """
    chosen = SIZES[size]
    figure = Figure(figsize=(chosen.width, chosen.height * height), layout="constrained")
    FigureCanvasAgg(figure)
    grid = figure.subplots(rows, columns, sharey=share_y, squeeze=False, width_ratios=width_ratios)
    return figure, list(grid.ravel())


@dataclass(frozen=True)
class EndLabel:
    """A label that belongs to the end of a line or to a point, in data coordinates."""

    x: float
    y: float
    text: str
    colour: str = INK


def label_ends(axes: Axes, labels: Sequence[EndLabel], *, offset: float = 8.0) -> list[Text]:
    """Write labels to the right of their points, spread so that none covers another.

    Call it after the limits are set. A label that had to move is tied to its point by a thin line.
    """
    present = sorted((label for label in labels if np.isfinite(label.y)), key=lambda label: label.y)
    if not present:
        return []
    figure = axes.get_figure(root=True)
    assert figure is not None
    figure.draw_without_rendering()
    wanted = np.array([axes.transData.transform((label.x, label.y))[1] for label in present])
    box = axes.get_window_extent()
    lines = max(label.text.count("\n") + 1 for label in present)
    spacing = mpl.rcParams["font.size"] * (0.15 + 1.2 * lines) * axes.figure.dpi / 72
    placed = spread(wanted, spacing, box.y0 + spacing / 2, box.y1 - spacing / 2)
    points = (placed - wanted) * 72 / axes.figure.dpi
    return [
        axes.annotate(
            label.text,
            (label.x, label.y),
            (offset, float(shift)),
            textcoords="offset points",
            va="center",
            ha="left",
            color=label.colour,
            annotation_clip=False,
            arrowprops=_tie(label.colour) if abs(shift) > mpl.rcParams["font.size"] / 2 else None,
        )
        for label, shift in zip(present, points, strict=True)
    ]


def _tie(colour: str) -> dict[str, Any]:
    return {"arrowstyle": "-", "color": colour, "linewidth": 0.6, "shrinkA": 0, "shrinkB": 2}


def spread(wanted: np.ndarray, spacing: float, low: float, high: float) -> np.ndarray:
    """Move sorted positions as little as possible so that neighbours are ``spacing`` apart.

    The least-squares solution by pooling neighbours, then a shift into ``low`` to ``high``.

    Examples
    --------
    >>> spread(np.array([1.0, 1.0, 9.0]), 2.0, 0.0, 10.0)
    array([0., 2., 9.])
    """
    steps = np.arange(len(wanted)) * spacing
    pools: list[list[float]] = []
    for value in wanted - steps:
        pools.append([float(value), 1.0])
        while len(pools) > 1 and pools[-2][0] >= pools[-1][0]:
            later, earlier = pools.pop(), pools.pop()
            weight = later[1] + earlier[1]
            pools.append([(later[0] * later[1] + earlier[0] * earlier[1]) / weight, weight])
    level = np.repeat([pool[0] for pool in pools], [int(pool[1]) for pool in pools])
    room = max(low, high - steps[-1])
    return np.clip(level, low, room) + steps


@dataclass(frozen=True)
class Drawing:
    """A figure with its name, caption and alternative text.

    Parameters
    ----------
    name : str
        Short name, used for files.
    figure : matplotlib Figure
        The picture.
    caption : str
        Text that stands beneath it and can be read alone.
    alt : str
        What a person who cannot see the figure should be told: what it is, and its message.
    """

    name: str
    figure: Figure = field(repr=False)
    caption: str = field(default="", repr=False)
    alt: str = field(default="", repr=False)

    @property
    def axes(self) -> list[Axes]:
        """Axes of the figure in the order they were made."""
        return self.figure.axes

    def with_words(self, caption: str, alt: str) -> Self:
        """Give the same drawing with another caption and alternative text."""
        return replace(self, caption=caption, alt=alt)

    def png(self, dpi: int = 300) -> bytes:
        """Write the figure as PNG."""
        return self._bytes("png", dpi=dpi, metadata={"Software": None})

    def pdf(self) -> bytes:
        """Write the figure as PDF."""
        return self._bytes("pdf", metadata={"Title": self.name, "CreationDate": None})

    def svg(self) -> bytes:
        """Write the figure as SVG whose title and description a screen reader can find."""
        return described_svg(self._bytes("svg", metadata={"Date": None}), self.name, self.alt)

    def _bytes(self, form: str, **options: Any) -> bytes:
        buffer = io.BytesIO()
        with mpl.rc_context(_settings(SIZES["thesis"])):
            self.figure.savefig(buffer, format=form, **options)
            self.figure.set_layout_engine("none")  # laid out once; every format has the same places
        return buffer.getvalue()

    def _repr_html_(self) -> str:
        picture = base64.b64encode(self.png(dpi=110)).decode("ascii")
        alt = html.escape(self.alt, quote=True)
        caption = f"<figcaption>{html.escape(self.caption)}</figcaption>" if self.caption else ""
        return f'<figure><img alt="{alt}" src="data:image/png;base64,{picture}"/>{caption}</figure>'


def folded(text: str, width: float) -> str:
    """Fold a label into lines that fit into so many inches of a thesis figure.

    Examples
    --------
    >>> folded("self-controlled feedback", 1.0)
    'self-\\ncontrolled\\nfeedback'
    """
    return "\n".join(textwrap.wrap(text, max(6, int(width * 13))) or [text])


def described_svg(picture: bytes, name: str, alt: str) -> bytes:
    """Put title, description and label into an SVG, in place of earlier ones."""
    text = re.sub(r"<title>[^<]*</title><desc>[^<]*</desc>", "", picture.decode("utf-8"), count=1)
    text = re.sub(r' role="img" aria-label="[^"]*"', "", text, count=1)
    label = f' role="img" aria-label="{html.escape(alt, quote=True)}"'
    words = f"<title>{html.escape(name)}</title><desc>{html.escape(alt)}</desc>"
    text = re.sub(r"(<svg\b[^>]*)>", lambda m: m[1] + label + ">" + words, text, count=1)
    return text.encode("utf-8")
