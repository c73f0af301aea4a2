"""One page on a study as HTML and for the console; each keeps to its size."""

import textwrap
from collections.abc import Sequence
from importlib.resources import files

import jinja2

Entries = Sequence[tuple[str, Sequence[str]]]
Pairs = Sequence[tuple[str, str]]

MADE_HERE = "Page for the supervisor"
TITLE = "The study on one page"
SIGN = ("name", "date", "signature", "conditions")
WIDTH, LINES = 100, 40
"""Columns and lines of the console."""
_TOPIC = 18
_SHORT_SUM = 16


def to_sheet_text(title: str, headline: str, entries: Entries, made: Pairs) -> str:
    """The page for a console: at most 40 lines of at most 100 characters.

    Where the sentences need more, the longest entries are cut, and say so.
    """
    head = [TITLE, "-" * WIDTH, *_rows("study", [title], 2), *_rows("estimate", [headline], 2)]
    foot = [*_sums(made), "-" * WIDTH]
    room = LINES - len(head) - len(foot)
    most = 9
    body = _body(entries, most)
    while len(body) > room and most > 1:
        most -= 1
        body = _body(entries, most)
    return "\n".join([*head, *body[:room], *foot])


def _body(entries: Entries, most: int) -> list[str]:
    return [line for topic, told in entries for line in _rows(topic, told, most)]


def _rows(topic: str, told: Sequence[str], most: int) -> list[str]:
    lines = [line for text in told for line in textwrap.wrap(text, WIDTH - _TOPIC) or [""]]
    if len(lines) > most:
        lines = lines[:most]
        lines[-1] = f"{lines[-1][: WIDTH - _TOPIC - 22].rstrip()} … (more with --long)"
    names = textwrap.wrap(topic, _TOPIC - 2) + [""] * len(lines)
    return [f"{name:<{_TOPIC}}{line}".rstrip() for name, line in zip(names, lines, strict=False)]


def _sums(made: Pairs) -> list[str]:
    """Checksums by their first characters, software in one line."""
    sums = [f"{name} {value[:_SHORT_SUM]}…" for name, value in made if len(value) == 64]
    plain = [f"{name} {value}" for name, value in made if len(value) != 64]
    wrapped = textwrap.wrap("; ".join([*plain, *sums]), WIDTH - _TOPIC)[:6]
    return [f"{'made from' if i == 0 else '':<{_TOPIC}}{line}" for i, line in enumerate(wrapped)]


def to_sheet_html(title: str, headline: str, entries: Entries, made: Pairs) -> str:
    """The page as HTML; its letters are chosen so small that it prints on one sheet of A4."""
    source = files("motorlearn.report").joinpath("templates/sheet.html.j2").read_text("utf-8")
    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined)
    return environment.from_string(source).render(
        title=title, headline=headline, entries=entries, made=made, name=MADE_HERE, sign=SIGN,
        points=_points(title, entries, made),
    )  # fmt: skip


def _points(title: str, entries: Entries, made: Pairs) -> float:
    """Size of letters at which all lines fit: fewer letters to a line where they are larger."""
    points = 10.0
    while points > 6.0 and _height(title, entries, made, points) > _ROOM:
        points -= 0.25
    return points


_ROOM = 700.0
"""Height in points that text may fill: A4 without margins and without the place to sign."""


def _height(title: str, entries: Entries, made: Pairs, points: float) -> float:
    letters = int(800 / points)
    lines = 3 * len(textwrap.wrap(title, letters // 2)) + 3
    for topic, told in entries:
        rows = sum(len(textwrap.wrap(text, letters)) for text in told)
        lines += max(rows, len(textwrap.wrap(topic, 16)))
    return lines * points * 1.36 + 5 * len(entries) + len(made) * points * 1.0
