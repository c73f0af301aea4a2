"""One page on a study as PDF of one sheet of A4."""

import io
from collections.abc import Sequence
from typing import Any

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.lines import Line2D

from motorlearn.exceptions import InputError
from motorlearn.report.writers.sheet import MADE_HERE, SIGN, Entries, Pairs

_PAGE = (8.27, 11.69)
_LEFT, _TOP, _RIGHT = 50.0, 800.0, 545.0
_AT = 140.0
_SIGN_AT = 92.0


def to_sheet_pdf(title: str, headline: str, entries: Entries, made: Pairs) -> bytes:
    """The page as PDF of one sheet of A4; letters become smaller until everything fits.

    Raises
    ------
    InputError
        If the texts do not fit on a page even in the smallest letters.
    """
    for points in (9.5, 9.0, 8.5, 8.0, 7.5, 7.0, 6.5, 6.0):
        figure = Figure(figsize=_PAGE)
        sheet = _Sheet(figure, points)
        sheet.fill(title, headline, entries, made)
        if sheet.at > _SIGN_AT + 12:
            buffer = io.BytesIO()
            about: Any = {"Title": title, "Subject": MADE_HERE, "CreationDate": None}
            figure.savefig(buffer, format="pdf", metadata=about)
            return buffer.getvalue()
    raise InputError("the texts do not fit on one page", [title], "shorten title and question")


class _Sheet:
    """Writes lines from the top of a page; ``at`` is where the next one stands, in points."""

    def __init__(self, figure: Figure, points: float) -> None:
        self.figure, self.points, self.at = figure, points, _TOP
        self.measure: Any = FigureCanvasAgg(figure).get_renderer()  # type: ignore[no-untyped-call]

    def fill(self, title: str, headline: str, entries: Entries, made: Pairs) -> None:
        self.lines([MADE_HERE], _LEFT, self.points, colour="#595959")
        self.lines([title], _LEFT, self.points + 5, weight="bold")
        self.at -= 4
        self.lines([headline], _LEFT, self.points + 3, weight="bold")
        self.at -= 4
        for topic, told in entries:
            self.entry(topic, told)
        self.at -= 3
        for name, value in made:
            self.lines([f"{name}: {value}"], _LEFT, self.points - 2.5, colour="#595959")
        self.sign()

    def entry(self, topic: str, told: Sequence[str]) -> None:
        start = self.at
        self.lines([topic], _LEFT, self.points, weight="bold", right=_AT - 6)
        low, self.at = self.at, start
        self.lines(told, _AT, self.points)
        self.at = min(low, self.at) - 4

    def lines(
        self, texts: Sequence[str], left: float, size: float, *,
        weight: str = "normal", colour: str = "#222222", right: float = _RIGHT,
    ) -> None:  # fmt: skip
        font = FontProperties(family="DejaVu Sans", size=size, weight=weight)
        for text in texts:
            for line in self.wrapped(text, font, right - left):
                self.at -= size * 1.3
                self.put(line, left, self.at, font, colour)

    def put(self, text: str, left: float, at: float, font: FontProperties, colour: str) -> None:
        self.figure.text(
            left / 72 / _PAGE[0], at / 72 / _PAGE[1], text, fontproperties=font, color=colour,
            parse_math=False,
        )  # fmt: skip

    def wrapped(self, text: str, font: FontProperties, width: float) -> list[str]:
        """Break a text at blanks so that each line is at most ``width`` points wide."""
        lines, line = [], ""
        for word in text.split():
            longer = f"{line} {word}".strip()
            if line and self.wide(longer, font) > width:
                lines.append(line)
                longer = word
            line = longer
        return [*lines, line]

    def wide(self, text: str, font: FontProperties) -> float:
        width, _, _ = self.measure.get_text_width_height_descent(text, font, ismath=False)
        return float(width) * 72 / self.figure.dpi

    def sign(self) -> None:
        font = FontProperties(family="DejaVu Sans", size=8)
        for place, name in enumerate(SIGN):
            left = _LEFT + (place % 3) * 172 if place < 3 else _LEFT
            at = _SIGN_AT if place < 3 else _SIGN_AT - 36
            self.put(f"{name}:", left, at, font, "#222222")
            end = left + 158 if place < 3 else _RIGHT
            from_left = left + 12 + 5 * len(name)
            self.figure.add_artist(_rule(from_left, end, at - 2))


def _rule(left: float, right: float, at: float) -> Line2D:
    return Line2D(
        [left / 72 / _PAGE[0], right / 72 / _PAGE[0]], [at / 72 / _PAGE[1]] * 2,
        color="#222222", linewidth=0.6,
    )  # fmt: skip
