"""A document without figures as Markdown that any form takes."""

from collections.abc import Mapping
from dataclasses import replace

from motorlearn.report.writers.contents import Document, Heading, Text
from motorlearn.tables import Table
from motorlearn.tables import to_markdown as table_to_markdown


def to_markdown(document: Document, made: Mapping[str, str]) -> str:
    """Write a document as Markdown; figures are named by their captions.

    Parameters
    ----------
    document : Document
        The contents.
    made : mapping of str to str
        How it was made, at the end.
    """
    parts = [f"# {document.title}", document.subtitle]
    for block in document.blocks:
        parts.append(_written(document, block))
    parts += ["## How this text was made", "\n".join(f"- {k}: {v}" for k, v in made.items())]
    text = "\n\n".join(parts).replace("\n\n- ", "\n- ")
    return text + "\n"


def _written(document: Document, block: object) -> str:
    match block:
        case Heading():
            return f"{'#' * (block.level + 1)} {block.text}"
        case Text():
            said = document.resolved(block.text, lambda kind, name, label: label)
            label = {"author": "**For the author to write.** ", "caution": "**Caution.** "}
            return f"- {said}" if block.kind == "item" else f"{label.get(block.kind, '')}{said}"
        case Table():
            number = document.numbers()["tab", block.name]
            return table_to_markdown(replace(block, title=f"Table {number}. {block.title}"))
    return str(getattr(block, "caption", ""))
