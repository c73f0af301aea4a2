"""The report as one HTML page that opens without a network."""

import base64
import html
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from importlib.resources import files
from itertools import groupby, pairwise

import jinja2
from jinja2.filters import do_mark_safe

import motorlearn
from motorlearn.figures.drawing.drawn import Drawing
from motorlearn.report.writers.contents import LIMITS_TOLD, Document, Heading, Text, unbroken
from motorlearn.tables import Column, Table

SHORT = 28
"""Texts up to this length stay on one line of a table."""
FEW = 24
"""Tables of so many rows are not cut by the end of a printed page."""


@dataclass
class _Section:
    text: str
    anchor: str
    aside: bool = False
    inner: list[Heading] = field(default_factory=list)


def to_page(document: Document, pictures: Mapping[str, bytes], made: Mapping[str, str]) -> str:
    """Write a document as a self-contained page.

    Parameters
    ----------
    document : Document
        The contents.
    pictures : mapping of str to bytes
        PNG of each figure by name.
    made : mapping of str to str
        How the report was made, shown at the foot.
    """
    source = files("motorlearn.report").joinpath("templates/page.html.j2").read_text("utf-8")
    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined)
    outline = _outline(document.headings)
    first = document.blocks[: document.appendix]
    return environment.from_string(source).render(
        document=document,
        outline=[section for section in outline if not section.aside],
        limits_told=unbroken(LIMITS_TOLD),
        appendix=[section for section in outline if section.aside],
        blocks=[do_mark_safe(part) for part in _blocks(document, first, pictures)],
        aside=[do_mark_safe(part) for part in _aside(document, pictures)],
        made=made,
        version=motorlearn.__version__,
    )


def _outline(headings: list[Heading]) -> list[_Section]:
    sections: list[_Section] = []
    for heading in headings:
        if heading.level == 1 or not sections:
            sections.append(_Section(heading.text, heading.anchor, heading.aside))
        else:
            sections[-1].inner.append(heading)
    return sections


Block = Heading | Text | Drawing | Table


def _aside(document: Document, pictures: Mapping[str, bytes]) -> list[str]:
    """Sections of the appendix, each folded behind its heading."""
    sections: list[list[Block]] = []
    for block in document.blocks[document.appendix :]:
        if isinstance(block, Heading) and block.level == 1:
            sections.append([])
        sections[-1].append(block)
    return [
        f"<details><summary>{_block(document, head, pictures)}</summary>"
        f"{''.join(_blocks(document, rest, pictures))}</details>"
        for head, *rest in sections
    ]


def _blocks(
    document: Document, blocks: Sequence[Block], pictures: Mapping[str, bytes]
) -> list[str]:
    parts = []
    leads = {id(a) for a, b in pairwise(blocks) if isinstance(b, Drawing | Table)}
    runs = groupby(blocks, key=lambda block: isinstance(block, Text) and block.kind == "item")
    for is_list, run in runs:
        written = [_block(document, block, pictures, leads=id(block) in leads) for block in run]
        parts += [f"<ul>{''.join(written)}</ul>"] if is_list else written
    return parts


def _block(
    document: Document, block: Block, pictures: Mapping[str, bytes], *, leads: bool = False
) -> str:
    match block:
        case Heading():
            tag = f"h{block.level + 1}"
            return f'<{tag} id="{block.anchor}">{html.escape(block.text)}</{tag}>'
        case Text():
            return _text(document, block, leads)
        case Drawing():
            return _figure(document, block, pictures[block.name])
        case Table():
            return _table(document, block)
    raise TypeError(type(block).__name__)


def _linked(document: Document, text: str) -> str:
    return document.resolved(
        html.escape(unbroken(text)),
        lambda kind, name, label: f'<a href="#{kind}-{name}">{label}</a>',
    )


def _text(document: Document, block: Text, leads: bool) -> str:
    text = _linked(document, block.text)
    match block.kind:
        case "item":
            return f"<li>{text}</li>"
        case "caution":
            return f'<p class="caution"><span class="label">Caution.</span> {text}</p>'
        case "author":
            return (
                f'<p class="author"><span class="label">For the author to write.</span> {text}</p>'
            )
    return f'<p class="before">{text}</p>' if leads else f"<p>{text}</p>"


def _figure(document: Document, drawing: Drawing, picture: bytes) -> str:
    number = document.numbers()["fig", drawing.name]
    data = base64.b64encode(picture).decode("ascii")
    return (
        f'<figure id="fig-{drawing.name}"><img alt="{html.escape(drawing.alt, quote=True)}" '
        f'src="data:image/png;base64,{data}">'
        f'<figcaption><span class="label">Figure {number}.</span> '
        f"{_linked(document, drawing.caption)}</figcaption></figure>"
    )


def _kind(column: Column, place: int, lines: list[list[str]]) -> str:
    """Class of a column: numbers flush right; short texts are not broken."""
    if column.is_numeric:
        return ' class="n"'
    return ' class="s"' if all(len(line[place]) <= SHORT for line in lines) else ""


def _table(document: Document, table: Table) -> str:
    number = document.numbers()["tab", table.name]
    lines = table.cells(document.decimal)
    kinds = [_kind(column, i, lines) for i, column in enumerate(table.columns)]
    head = "".join(
        f'<th scope="col"{kind}>{html.escape(text)}</th>'
        for text, kind in zip(table.headings, kinds, strict=True)
    )
    body = "".join(
        "<tr>"
        + "".join(f"<td{kind}>{html.escape(c)}</td>" for c, kind in zip(line, kinds, strict=True))
        + "</tr>"
        for line in lines
    )
    notes = "".join(f"<p>{_linked(document, note)}</p>" for note in table.notes)
    foot = f'<tfoot><tr><td colspan="{len(kinds)}">{notes}</td></tr></tfoot>' if notes else ""
    short = ' class="short"' if len(lines) <= FEW else ""
    return (
        f'<div class="wide"><table id="tab-{table.name}"{short}><caption><span class="label">Table '
        f"{number}.</span> {html.escape(table.title)}</caption><thead><tr>{head}</tr></thead>"
        f"<tbody>{body}</tbody>{foot}</table></div>"
    )
