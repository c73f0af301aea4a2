"""The command line: each command calls one function of the library and says what happened."""

from pathlib import Path
from typing import Annotated

import typer

import motorlearn as ml
from motorlearn.exceptions import MotorlearnError

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    help="Plan, check, analyse and report a practice study of a motor skill.",
    pretty_exceptions_enable=False,
)

StudyFolder = Annotated[Path, typer.Argument(help="Folder that holds study.toml and its files.")]


@app.command()
def check(study: StudyFolder) -> None:
    """Read a study and list every problem in its data; exits with 1 where there are errors."""
    problems = ml.read_study(study).problems
    typer.echo(ml.trials.problem_list(problems))
    if (problems["severity"] == "error").any():
        raise typer.Exit(1)


@app.command("import")
def import_file(
    file: Annotated[Path, typer.Argument(help="Spreadsheet or text file with the data.")],
    study: Annotated[Path, typer.Option(help="Folder that holds study.toml.")],
    sheet: Annotated[str | None, typer.Option(help="Sheet of a workbook.")] = None,
    mode: Annotated[
        str, typer.Option(help="report, strict (stop at errors) or lenient (set rows aside).")
    ] = "report",
) -> None:
    """Propose how to read a foreign file, show it, write it into study.toml and read the study."""
    intake = ml.trials.take_in(file, study, sheet=sheet, mode=mode)
    if intake.proposal is not None:
        typer.echo(ml.tables.to_text(intake.proposal.table()))
        typer.echo("Written to study.toml, section [import]; correct it there and run this again.")
    typer.echo(ml.trials.problem_list(intake.study.problems))
    if (intake.study.problems["severity"] == "error").any():
        raise typer.Exit(1)


@app.command()
def report(
    study: StudyFolder,
    out: Annotated[Path, typer.Option(help="Folder for the report; made anew each time.")],
) -> None:
    """Write the report of a whole study: pages, figures and tables."""
    page = ml.write_report(ml.read_study(study), out)
    typer.echo(f"Report written: {page}")


def main() -> None:
    """Run the command line; an error of ours becomes one line and exit code 2."""
    try:
        app()
    except MotorlearnError as problem:
        typer.secho(f"motorlearn: {problem}", err=True)
        raise SystemExit(2) from None


if __name__ == "__main__":
    main()
