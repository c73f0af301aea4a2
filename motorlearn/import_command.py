"""The command that takes foreign files in, and starts a plan from them where there is none."""

import sys
from pathlib import Path
from typing import Annotated, Any

import typer

import motorlearn as ml
from motorlearn.command_parts import NUMBER, WHOLE, ask_person, codes_of


def import_file(
    file: Annotated[
        list[Path], typer.Argument(help="File, several files, a folder, or a pattern in quotes.")
    ],
    *,
    study: Annotated[Path, typer.Option(help="Folder of the study; made where there is none.")],
    sheet: Annotated[str | None, typer.Option(help="Sheet of a workbook.")] = None,
    mode: Annotated[
        str, typer.Option(help="report, strict (stop at errors) or lenient (set rows aside).")
    ] = "report",
    name_parts: Annotated[
        str, typer.Option(help="What names of files hold: s{participant}session{session}data.")
    ] = "",
    title: Annotated[str, typer.Option(help="Title of a new study.")] = "",
    outcome: Annotated[
        str, typer.Option(help="Outcome of a new study; several: angle=xi_deg,timing=xi_ms.")
    ] = "",
    better: Annotated[str, typer.Option(help="Whether lower or higher is better.")] = "",
    unit: Annotated[str, typer.Option(help="Unit of the outcome; several: deg,ms.")] = "",
    target: Annotated[
        str, typer.Option(help="Target of an outcome: angle=40,angle@transfer=60.")
    ] = "",
    measure: Annotated[str, typer.Option(help="Score of errors from a target: total_error.")] = "",
    groups: Annotated[
        str,
        typer.Option(help="Names of codes: 1=blocked,2=random; levels: 1=order:blocked+aid:on."),
    ] = "",
    phases: Annotated[str, typer.Option(help="Names of codes: 1=pretest,2=acquisition.")] = "",
    retention_days: Annotated[
        float | None,
        typer.Option(help="Days from the last practice to the delayed tests.", **NUMBER),
    ] = None,
    primary: Annotated[
        str, typer.Option(help="Test that was declared as primary; retention:random+blocked.")
    ] = "",
    smallest_effect: Annotated[
        str,
        typer.Option(
            help="Smallest effect of interest and why: '2.5: why', '0.5 sd', '0.5 average sd'."
        ),
    ] = "",
    leave_out: Annotated[
        list[str] | None,
        typer.Option(
            help="What does not count: 'P07 at tests: why', 'block > 5: why'. Repeatable."
        ),
    ] = None,
    replace: Annotated[
        list[str] | None,
        typer.Option(help="What stands for something else: 'y = 90 by 132: why'. Repeatable."),
    ] = None,
    anova: Annotated[
        str, typer.Option(help="Parts of the analysis of variance: tests, or 'tests and practice'.")
    ] = "",
    curve: Annotated[
        str, typer.Option(help="Curve of practice: together, asymptote+gain (what varies), power.")
    ] = "",
    questionnaire: Annotated[
        list[Path] | None, typer.Option(help="File of a questionnaire's answers. Repeatable.")
    ] = None,
    scales: Annotated[
        str, typer.Option(help="Items of scales, reversed ones behind a minus: joy=fun+again-dull.")
    ] = "",
    answers: Annotated[str, typer.Option(help="Lowest and highest answer: 1-7.")] = "",
    scale_score: Annotated[
        str, typer.Option(help="mean or sum of the answers of a scale.")
    ] = "mean",
    minimum_answered: Annotated[
        int | None, typer.Option(help="Answers a scale needs; by default all.", **WHOLE)
    ] = None,
    headings: Annotated[
        str,
        typer.Option(help="How a questionnaire's headings hold item and time: {item}_{time}."),
    ] = "",
) -> None:
    """Propose how to read foreign files, show it, write it into study.toml and read the study.

    Without a plan one is started from what the files show. Rules, the smallest effect of interest
    and questionnaires can be added to a plan that is there.
    """
    new = not (study / "study.toml").is_file()
    title = study.resolve().name if new and not title else title
    codes = (codes_of("groups", groups), codes_of("phases", phases), codes_of("target", target))
    told = ml.trials.AskedQuestionnaires(
        questionnaire or (), scales, answers, scale_score, minimum_answered, headings
    )
    more = (
        measure,
        retention_days,
        primary,
        smallest_effect,
        leave_out or (),
        replace or (),
        anova,
        curve,
        told,
    )
    asked = ml.trials.Asked(title, outcome, better, unit, *codes, *more)
    ask = ask_person if new and sys.stdin.isatty() else None
    intake = ml.trials.take_in(
        file, study, sheet=sheet, mode=mode, name_parts=name_parts, asked=asked, ask=ask
    )
    _taken(intake, "a new study.toml" if new else "study.toml, section [import]")


def _taken(intake: Any, where: str) -> None:
    """Say what an import proposed and found."""
    if intake.proposal is not None:
        typer.echo(ml.tables.to_text(intake.proposal.table()))
        typer.echo(f"Written to {where}; correct it there and run this again.")
    typer.echo(ml.trials.problem_list(intake.study.problems))
    if (intake.study.problems["severity"] == "error").any():
        raise typer.Exit(1)
