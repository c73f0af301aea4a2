"""A figure with its words, which is known without what draws it."""

import base64
import html
import re
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Self

from motorlearn.figures import drawing

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


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
    given : Axes, optional
        Axes of the caller that it was drawn into; without them the figure is its own.
    """

    name: str
    figure: "Figure" = field(repr=False)
    caption: str = field(default="", repr=False)
    alt: str = field(default="", repr=False)
    given: "Axes | None" = field(default=None, repr=False, kw_only=True)

    @property
    def axes(self) -> list["Axes"]:
        """Axes that were drawn into, in the order they were made."""
        return self.figure.axes if self.given is None else [self.given]

    def with_words(self, caption: str, alt: str) -> Self:
        """Give the same drawing with another caption and alternative text."""
        return replace(self, caption=caption, alt=alt)

    def png(self, dpi: int = 300) -> bytes:
        """Write the figure as PNG."""
        return self._bytes("png", dpi=dpi)

    def pdf(self) -> bytes:
        """Write the figure as PDF."""
        return self._bytes("pdf")

    def svg(self) -> bytes:
        """Write the figure as SVG whose title and description a screen reader can find."""
        return described_svg(self._bytes("svg"), self.name, self.alt)

    def _bytes(self, form: str, *, dpi: int = 300) -> bytes:
        own = self.given is None
        return drawing.written(self.figure, form, name=self.name, dpi=dpi, own=own)

    def _repr_html_(self) -> str:
        picture = base64.b64encode(self.png(dpi=110)).decode("ascii")
        alt = html.escape(self.alt, quote=True)
        caption = f"<figcaption>{html.escape(self.caption)}</figcaption>" if self.caption else ""
        return f'<figure><img alt="{alt}" src="data:image/png;base64,{picture}"/>{caption}</figure>'


def described_svg(picture: bytes, name: str, alt: str) -> bytes:
    """Put title, description and label into an SVG, in place of earlier ones."""
    text = re.sub(r"<title>[^<]*</title><desc>[^<]*</desc>", "", picture.decode("utf-8"), count=1)
    text = re.sub(r' role="img" aria-label="[^"]*"', "", text, count=1)
    label = f' role="img" aria-label="{html.escape(alt, quote=True)}"'
    words = f"<title>{html.escape(name)}</title><desc>{html.escape(alt)}</desc>"
    text = re.sub(r"(<svg\b[^>]*)>", lambda m: m[1] + label + ">" + words, text, count=1)
    return text.encode("utf-8")
