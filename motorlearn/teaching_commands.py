"""Commands for the lecture hall: pages that need no installation, and what a class handed in."""

from pathlib import Path
from typing import Annotated

import typer

import motorlearn as ml
from motorlearn.command_parts import NUMBER, WHOLE
from motorlearn.exceptions import InputError

ClassFolder = Annotated[Path, typer.Argument(help="Folder of the class.")]


def add_to(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.command()(classroom)
    app.command()(collect)
    app.command()(demonstrate)
    app.command()(site)


def classroom(
    folder: ClassFolder,
    *,
    seats: Annotated[int | None, typer.Option(help="Number of seats, to 200.", **WHOLE)] = None,
    seed: Annotated[int | None, typer.Option(help="Seed of the class.", **WHOLE)] = None,
    retention_days: Annotated[
        float | None,
        typer.Option(help="Days until the retention test; else a pause of minutes.", **NUMBER),
    ] = None,
    serve: Annotated[
        bool, typer.Option("--serve", help="Give the page to the network of this room.")
    ] = False,
    address: Annotated[
        str | None, typer.Option(help="Address to serve on; else that of the room's network.")
    ] = None,
    port: Annotated[int, typer.Option(help="Port to serve on.", **WHOLE)] = 8765,
    uploads: Annotated[
        bool, typer.Option("--uploads/--no-uploads", help="Take results while serving.")
    ] = True,
) -> None:
    """Write the class experiment as one HTML file that needs no network and no installation.

    A folder that was made before is taken as it is when no seats and no seed are given.
    """
    if seats is None and seed is None and retention_days is None:
        room = ml.teaching.read_classroom(folder)
        seats, seed, retention_days = room.seats, room.class_seed, room.retention_days
    if seats is None or seed is None:
        raise InputError("a class needs seats and a seed", remedy="give --seats 30 --seed 1")
    page = ml.teaching.write_classroom(
        folder, seats=seats, class_seed=seed, retention_days=retention_days
    )
    typer.echo(f"Page for every seat: {page}")
    typer.echo(f"Slips to draw from a bag: {folder / 'seats.html'}")
    typer.echo(f"Put what is handed in into {folder / 'results'}, then run")
    typer.echo(f"  motorlearn collect {folder}")
    if serve:
        _serve(folder, address, port, uploads)


def _serve(folder: Path, address: str | None, port: int, uploads: bool) -> None:
    with ml.teaching.ClassServer(folder, address=address, port=port, uploads=uploads) as server:
        alone = server.host.startswith("127.")
        whom = "this computer alone" if alone else "everybody in this network"
        typer.echo(f"Served to {whom}: {server.address}")
        typer.echo(f"To project, with a QR code: {server.address}screen")
        kept = f"kept in {folder / 'results'}, without names" if uploads else "not taken"
        typer.echo(f"Results that are sent are {kept}. Stop with Ctrl-C.")
        try:
            server.serve_forever()
        except KeyboardInterrupt:
            typer.echo("Stopped; nothing is served any more.")


def collect(
    folder: ClassFolder,
    files: Annotated[
        list[Path] | None,
        typer.Argument(help="Files of seats, lists of codes (.txt), folders; else results."),
    ] = None,
    *,
    code: Annotated[list[str] | None, typer.Option(help="A code that was read aloud.")] = None,
    out: Annotated[
        Path | None,
        typer.Option(help="Folder for the study; else 'study' in that folder."),
    ] = None,
    both: Annotated[
        bool, typer.Option("--both", help="Keep two people who sat on one seat, the second as -2.")
    ] = False,
) -> None:
    """Merge what a class handed in into a study folder; exits with 1 where something is set aside.

    The study goes through check and report as any other.
    """
    study = out or folder / "study"
    merged = ml.teaching.collect_class(folder, files or (), codes=code or (), out=study, both=both)
    people = merged.participants
    typer.echo(f"{len(people)} seats, {int(people['complete'].sum())} of them complete.")
    typer.echo(ml.trials.problem_list(merged.problems))
    typer.echo(f"Study written: {study}")
    typer.echo(f"Next:  motorlearn report {study} --out {folder / 'report'}")
    if not merged.left_out.empty:
        raise typer.Exit(1)


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


def site(
    folder: Annotated[Path, typer.Argument(help="Folder to write.")],
    *,
    seats: Annotated[int, typer.Option(help="Seats of the class experiment.", **WHOLE)] = 30,
    seed: Annotated[int, typer.Option(help="Seed of the class experiment.", **WHOLE)] = 1,
    app: Annotated[
        Path | None, typer.Option(help="Folder of built notebooks that run in the browser.")
    ] = None,
) -> None:
    """Write all pages for a lecture into one folder: experiment, demonstrations, notebooks."""
    first = ml.teaching.write_site(folder, seats=seats, class_seed=seed, app=app)
    typer.echo(f"Pages written; open: {first}")
