"""HTML of outputs, with tables and pictures inside the page and nothing that runs or loads."""

import html
from html.parser import HTMLParser
from typing import Final

_TEXT: Final = ("a", "b", "br", "code", "em", "i", "small", "span", "strong", "sub", "sup", "u")
_PARTS: Final = ("blockquote", "details", "div", "h1", "h2", "h3", "h4", "hr", "p", "pre")
_LISTS: Final = (
    "dd",
    "dl",
    "dt",
    "figcaption",
    "figure",
    "img",
    "li",
    "ol",
    "section",
    "summary",
    "ul",
)
_TABLES: Final = ("caption", "table", "tbody", "td", "tfoot", "th", "thead", "tr", "img")
_KEPT: Final = frozenset((*_TEXT, *_PARTS, *_LISTS, *_TABLES))
_DROPPED: Final = frozenset(("script", "style", "iframe", "object", "svg", "button", "template"))
_ATTRIBUTES: Final = frozenset(("alt", "colspan", "href", "rowspan", "scope", "src", "title"))
_ALONE: Final = frozenset(("br", "hr", "img"))


def harmless(markup: str) -> str:
    """Give markup with its tables, texts and pictures, without scripts, styles and addresses.

    Examples
    --------
    >>> harmless('<p style="color:red">5 <script>go()</script><b onclick="go()">cm</b></p>')
    '<p>5 <b>cm</b></p>'
    """
    reader = _Reader()
    reader.feed(markup)
    reader.close()
    return "".join(reader.written)


class _Reader(HTMLParser):
    """Writes again what may stay; what lies in an element that is dropped goes with it."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.written: list[str] = []
        self._within: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in _DROPPED:
            self._within.append(tag)
        elif not self._within and tag in _KEPT:
            kept = "".join(
                f' {name}="{html.escape(value)}"'
                for name, value in attrs
                if value is not None and name in _ATTRIBUTES and _stays_here(name, value)
            )
            self.written.append(f"<{tag}{kept}>")

    def handle_endtag(self, tag: str) -> None:
        if self._within:
            if tag == self._within[-1]:
                self._within.pop()
        elif tag in _KEPT and tag not in _ALONE:
            self.written.append(f"</{tag}>")

    def handle_data(self, data: str) -> None:
        if not self._within:
            self.written.append(html.escape(data, quote=False))


def _stays_here(name: str, value: str) -> bool:
    """Whether an address is a picture inside the page, a place in it, or a page beside it."""
    if name == "src":
        return value.startswith("data:image/")
    return name != "href" or not any(sign in value for sign in (":", "//"))
