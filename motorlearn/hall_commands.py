"""Commands for the lecture hall: pages that need no installation."""

from pathlib import Path
from typing import Annotated

import typer

import motorlearn as ml
from motorlearn.exceptions import InputError


def demonstrate(
    name: Annotated[str, typer.Argument(help="Demonstration, as --list names it.")] = "",
    *,
    out: Annotated[Path | None, typer.Option(help="Page to write, .html.")] = None,
    listed: Annotated[bool, typer.Option("--list", help="Name the demonstrations.")] = False,
) -> None:
    """Write a demonstration as one HTML file: vote, answer, controls and picture, offline."""
    if listed:
        typer.echo(ml.teaching.demonstration_list())
        return
    if not name:
        raise InputError("a demonstration is asked for by its name", None, "see --list")
    ml.teaching.find_lesson(name)
    if out is None:
        raise InputError("the page needs a file", [name], "add  --out FILE.html")
    typer.echo(f"Demonstration written: {ml.write_demonstration(name, out)}")
