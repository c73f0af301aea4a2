"""Drawings of a report whose files are written already, or are being written elsewhere."""

from collections.abc import Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, cast

from motorlearn.figures import drawing as house
from motorlearn.figures.drawing.drawn import Drawing

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from motorlearn.figures.drawing.printing import Pictures, Press

DPI = 300


@dataclass(frozen=True)
class Print(Drawing):
    """A drawing that knows what it was made from and may come with its files already written.

    Parameters
    ----------
    made_from : str
        Fingerprint of what it shows.
    words : tuple of str
        Caption and alternative text that the figure's own function gave.
    files : mapping of str to bytes
        Files of an earlier report by format; empty where the figure was drawn just now.
    elsewhere : Future, optional
        Its files by format, where another process draws it; nothing where that failed.
    """

    made_from: str = ""
    words: tuple[str, str] = ("", "")
    files: Mapping[str, bytes] = field(default_factory=dict, repr=False)
    elsewhere: "Future[Pictures | None] | None" = field(default=None, repr=False)

    def _bytes(self, form: str, *, dpi: int = DPI) -> bytes:
        if self.files:
            return self.files[form]
        found = self.elsewhere.result() if self.elsewhere is not None and dpi == DPI else None
        return found[form] if found else super()._bytes(form, dpi=dpi)


def taken_over(
    name: str, words: tuple[str, str], made_from: str, files: Mapping[str, bytes]
) -> Print:
    """A drawing whose files an earlier report holds; it has no figure, and what draws stays away.

    Examples
    --------
    >>> words = ("Hits by block.", "A rising curve.")
    >>> kept = taken_over("practice", words, "1f3c", {"svg": b"<svg/>"})
    >>> kept.name, kept.caption, sorted(kept.files)
    ('practice', 'Hits by block.', ['svg'])
    """
    return Print(name, cast("Figure", None), *words, made_from, words, files)


def drawn_anew(
    drawing: Drawing,
    made_from: str,
    ending: str,
    *,
    press: "Press | None" = None,
    forms: Sequence[str] = (),
) -> Print:
    """A drawing made just now, whose files (``forms``) the processes of a press may write.

    ``ending`` is put behind its name where there are several of a kind.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> drawing = Drawing("practice", Figure(), "Hits by block.", "A rising curve.")
    >>> made = drawn_anew(drawing, "1f3c", "random")
    >>> made.name, made.made_from, made.words
    ('practice-random', '1f3c', ('Hits by block.', 'A rising curve.'))
    """
    name = f"{drawing.name}-{ending}" if ending else drawing.name
    words = (drawing.caption, drawing.alt)
    sent = None if press is None else _sent(name, drawing.figure, press, forms)
    return Print(name, drawing.figure, *words, made_from, words, elsewhere=sent)


def _sent(
    name: str, figure: "Figure", press: "Press", forms: Sequence[str]
) -> "Future[Pictures | None] | None":
    options = house.print_options(name, dpi=DPI)
    with house.printing_style():
        return press.take(figure, {form: options[form] for form in forms})
