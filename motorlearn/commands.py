"""The command line: each command calls one function of the library and says what happened."""

import atexit
import gc
import io
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any

import typer

import motorlearn as ml
from motorlearn.command_parts import NUMBER, WHOLE, InOneSentence
from motorlearn.exceptions import InputError
from motorlearn.import_command import import_file
from motorlearn.teaching_commands import add_to

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    help="Plan, check, analyse and report a practice study of a motor skill.",
    pretty_exceptions_enable=False,
)


@app.callback()
def options(
    debug: Annotated[bool, typer.Option("--debug", help="Show where an error came from.")] = False,
) -> None:
    """Plan, check, analyse and report a practice study of a motor skill."""


StudyFolder = Annotated[Path, typer.Argument(help="Folder that holds study.toml and its files.")]


@app.command()
def new(
    folder: Annotated[Path, typer.Argument(help="Folder to make, or one without a plan.")],
    *,
    title: Annotated[str | None, typer.Option(help="Title of the study.")] = None,
    groups: Annotated[str | None, typer.Option(help="Groups, separated by commas.")] = None,
    size: Annotated[int | None, typer.Option("--n", help="People a group.", **WHOLE)] = None,
    tasks: Annotated[str | None, typer.Option(help="Tasks, separated by commas.")] = None,
    sessions: Annotated[int | None, typer.Option(help="Practice sessions.", **WHOLE)] = None,
    test_trials: Annotated[int | None, typer.Option(help="Trials in each test.", **WHOLE)] = None,
    retention_days: Annotated[
        float | None,
        typer.Option(help="Days from the last practice to the retention test.", **NUMBER),
    ] = None,
    outcome: Annotated[str | None, typer.Option(help="Primary outcome.")] = None,
    unit: Annotated[str | None, typer.Option(help="Unit of length.")] = None,
    seed: Annotated[int | None, typer.Option(help="Seed of the allocation.", **WHOLE)] = None,
    notebooks: Annotated[bool, typer.Option(help="Copy the notebooks beside the plan.")] = True,
    programme: Annotated[
        bool, typer.Option("--programme", help="A programme of drills for one group.")
    ] = False,
) -> None:
    """Write a commented study.toml to begin with; asks on a terminal what no option gives."""
    given = {
        "title": title,
        "groups": groups,
        "size": size,
        "tasks": tasks,
        "sessions": sessions,
        "test_trials": test_trials,
        "retention_days": retention_days,
        "outcome": outcome,
        "unit": unit,
        "seed": seed,
    }
    shipped = ml.trials.shipped_study().parents[1] / "notebooks"
    own, shown = shipped.glob("own/0[1-4]_*.ipynb"), shipped.glob("0[5-8]_*.ipynb")
    series = [*sorted(own), *sorted(shown)] if notebooks else []
    if programme:
        fixed = [n for n in ("groups", "tasks", "sessions", "outcome", "unit") if given.pop(n)]
        if fixed:
            raise InputError("a programme settles this in its plan", fixed, "change study.toml")
        answers = _answers(given, ml.plan.Answers(title="My programme", size=14, test_trials=20))
        text = ml.plan.programme_text(answers)
    else:
        answers, text = _answers(given), None
    plan = ml.plan.write_plan(folder, answers, notebooks=series, text=text)
    typer.echo(f"Plan written: {plan}")
    typer.echo(f"Next: read it, fill the gaps, and run  motorlearn audit {folder}")


def _answers(
    given: Mapping[str, object], start: "ml.plan.Answers | None" = None
) -> "ml.plan.Answers":
    """Fill what is open from the terminal, or from the defaults where there is none."""
    start = start or ml.plan.Answers()
    answers = {}
    for name, value in given.items():
        default = getattr(start, name)
        several = isinstance(default, tuple)
        if value is None and sys.stdin.isatty():
            shown = ",".join(default) if several else default
            value = typer.prompt(name.replace("_", " "), default=shown, type=type(shown))
        if value is not None and several:
            value = tuple(part.strip() for part in str(value).split(",") if part.strip())
        answers[name] = default if value is None else value
    return replace(start, **answers)


@app.command()
def audit(
    study: StudyFolder,
    store: Annotated[Path | None, typer.Option(help="File to keep the page's numbers in.")] = None,
    against: Annotated[
        Path | None, typer.Option(help="Page kept before; exits with 1 where numbers differ.")
    ] = None,
    page: Annotated[
        Path | None, typer.Option(help="Also write the page to sign, as .html or .pdf.")
    ] = None,
    long: Annotated[
        bool, typer.Option("--long", help="Every hole, test, number and checksum.")
    ] = False,
) -> None:
    """List the holes in a plan and its load; where there are data, put the study on one page.

    The page has the primary result, what stays open, who is missing and what was explored.
    """
    design = ml.read_design(study)
    for file in (store, page):
        if file is not None:
            ml.trials.refuse_inputs(file, study)
    recorded = _has_data(study, design)
    if long or not recorded:
        typer.echo(f"{ml.audit_design(design)}\n\n{ml.plan.throw_load(design)}\n")
    if store is None and against is None and page is None and not recorded:
        return
    data = ml.read_study(study)
    if against is not None:
        stored = ml.report.read_page(against)
        for name in ml.report.changed_files(data, stored):
            typer.echo(f"Changed since the page was kept: {name}")
        lines, agrees = ml.report.agreement(ml.report.recompute(data, stored))
        typer.echo("\n".join(lines))
        raise typer.Exit(0 if agrees else 1)
    if data.trials.table.empty:
        typer.echo("Nothing has been recorded yet: the study is put on a page once a test is in.")
        return
    analysis = ml.analysis.page_analysis(data, mixed=long or store is not None)
    whole = ml.report.audit_study(analysis)
    sheet = ml.report.supervisor_page(analysis, audit=whole)
    typer.echo(str(whole if long else sheet))
    if store is not None:
        typer.echo(f"Page kept: {_stored(store, whole)}")
    if page is not None:
        typer.echo(f"Page to sign: {sheet.write(page)}")


def _stored(place: Path, page: "ml.report.StudyAudit") -> Path:
    """Keep a page, over an earlier one or nothing."""
    kept: Path = ml.files.write_text(place, page.to_json(), only_over='"result": "StudyAudit"')
    return kept


def _has_data(study: Path, design: "ml.Design") -> bool:
    folder = study if study.is_dir() else study.parent
    found: bool = ml.trials.has_data(folder, design)
    return found


@app.command()
def power(
    study: StudyFolder,
    n: Annotated[str, typer.Option(help="People per group, separated by commas.")] = "12,18,24,36",
    trials: Annotated[str, typer.Option(help="Trials per test; as planned where empty.")] = "",
    simulations: Annotated[
        int, typer.Option(help="Simulated studies for each row.", **WHOLE)
    ] = 1000,
    seed: Annotated[int, typer.Option(help="Seed of the simulation.", **WHOLE)] = 1,
    workers: Annotated[int, typer.Option(help="Processes.", **WHOLE)] = 1,
) -> None:
    """Simulate and analyse the planned study many times: power, precision, false positives."""
    design = ml.read_design(study)
    if design.single_case is not None:
        asked = {"simulations": simulations, "seed": seed}
        typer.echo(str(ml.plan.single_case_power(design, **asked)))
        return
    found = ml.power(
        design,
        n=_numbers("n", n),
        trials=_numbers("trials", trials) or None,
        simulations=simulations,
        seed=seed,
        workers=workers,
    )
    typer.echo(str(found))


@app.command()
def sheets(
    study: StudyFolder,
    out: Annotated[Path, typer.Option(help="Folder for the sheets.")],
    seed: Annotated[
        int | None,
        typer.Option(help="Seed of allocation, orders and clips; else the plan's.", **WHOLE),
    ] = None,
    participants: Annotated[
        Path | None, typer.Option(help="List of participants with their strata.")
    ] = None,
    items: Annotated[str, typer.Option(help="Items of the technique checklist.")] = "",
    redraw: Annotated[
        bool, typer.Option("--redraw", help="Draw the groups anew; refused once sheets are filled.")
    ] = False,
) -> None:
    """Write blank data sheets, trial sheets to print, and the concealed allocation.

    What was filled in and the allocation that was drawn are kept.
    """
    people = None if participants is None else ml.read_trials(participants).table
    if people is None and not redraw:
        people = ml.plan.drawn_people(study, out)
        if people is not None:
            typer.echo("The allocation is kept as it was drawn, and its seed; --redraw draws anew.")
    listed = tuple(item.strip() for item in items.split(",") if item.strip())
    kept = ml.plan.earlier_sheets(out).touched
    design = ml.read_design(study)
    planned = design.study.seed if design.allocation.seed is None else design.allocation.seed
    seed = planned if seed is None else seed
    if seed is None:
        raise InputError("the plan has no seed", remedy="set allocation.seed, or give --seed")
    folder = ml.plan.write_sheets(
        design, out, seed=seed, participants=people, items=listed, redraw=redraw
    )
    typer.echo(f"Sheets written: {folder}")
    for name in kept:
        typer.echo(f"Kept as it was, because it was filled in or added: {name}")


def _numbers(what: str, text: str) -> list[int]:
    parts = [part.strip() for part in text.split(",") if part.strip()]
    if not all(part.isdigit() for part in parts):
        raise InputError(f"{what} is a list of whole numbers", [text], "for example 12,24")
    return [int(part) for part in parts]


@app.command()
def check(
    study: StudyFolder,
    page: Annotated[Path | None, typer.Option(help="Also write the list as an HTML page.")] = None,
) -> None:
    """Read a study and list every problem in its data; exits with 1 where there are errors."""
    problems = ml.read_study(study).problems
    if page is not None:
        ml.trials.refuse_inputs(page, study)
        text = ml.trials.problem_page(problems)
        ml.files.write_text(page, text, only_over=ml.trials.MADE_HERE)
    typer.echo(ml.trials.problem_list(problems))
    if (problems["severity"] == "error").any():
        raise typer.Exit(1)


app.command("import")(import_file)


@app.command()
def report(
    study: Annotated[
        list[Path], typer.Argument(help="Folder of the study; several for a forest of studies.")
    ],
    out: Annotated[Path, typer.Option(help="Folder for the report; made anew each time.")],
    short: Annotated[
        bool, typer.Option("--short", help="Only the first pages, without the appendix.")
    ] = False,
    outcome: Annotated[str | None, typer.Option(help="Report this outcome only.")] = None,
    decimal_comma: Annotated[
        bool, typer.Option("--decimal-comma", help="Write 0,5 instead of 0.5.")
    ] = False,
    final: Annotated[
        bool, typer.Option("--final", help="Leave out the remarks to the author.")
    ] = False,
    pdf: Annotated[bool, typer.Option("--pdf", help="Write every figure as PDF too.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Show no progress.")] = False,
) -> None:
    """Write the report of a whole study: pages, figures and tables."""
    decimal = "," if decimal_comma else "."
    how: dict[str, Any] = {"decimal": decimal, "draft": not final, "short": short, "pdf": pdf}
    how["quiet"] = quiet or None
    if len(study) == 1:
        read = ml.read_study(study[0], begun=False)
        page = ml.write_report(read, out, outcome=outcome, **how)
    else:
        named = {folder.resolve().name: ml.read_study(folder) for folder in study}
        if len(named) < len(study) or outcome:
            raise InputError(
                "several studies need folders of different names, and their primary outcomes",
                map(str, study),
                "rename a folder, or leave out --outcome",
            )
        page = ml.write_reports(named, out, **how)
    typer.echo(f"Report written: {page}")


@app.command()
def register(
    study: StudyFolder,
    out: Annotated[Path, typer.Option(help="Text to write, .docx or .md.")],
    simulations: Annotated[
        int, typer.Option(help="Simulated studies behind the sample size.", **WHOLE)
    ] = 1000,
    seed: Annotated[int, typer.Option(help="Seed of the simulation.", **WHOLE)] = 1,
) -> None:
    """Write the registration of a plan, and keep the plan to hold it against what was done."""
    text, version = ml.report.register_plan(study, out, simulations=simulations, seed=seed)
    typer.echo(f"Registration written: {text}")
    typer.echo(f"Plan of {version.date} kept, SHA-256 of study.toml {version.sha256}")


@app.command()
def learners(
    study: StudyFolder,
    out: Annotated[Path, typer.Option(help="Folder for the pages; made anew each time.")],
) -> None:
    """Write a page for each learner and an overview for the coach, at any time of the programme."""
    page = ml.write_learner_pages(ml.read_study(study, begun=False), out)
    typer.echo(f"Overview for the coach: {page}")
    typer.echo(f"Pages to hand out: {page.parent / 'learners'}")


@app.command()
def share(
    study: StudyFolder,
    out: Annotated[Path, typer.Option(help="Folder for the package; made anew each time.")],
    include: Annotated[list[str] | None, typer.Option(help="Column to pack all the same.")] = None,
    key: Annotated[
        Path | None, typer.Option(help="Draw new identifiers; write their key to this new file.")
    ] = None,
) -> None:
    """Pack a study to give away, without what identifies people, and say what was left out."""
    shared = ml.trials.share_study(study, out, include=include or (), key_file=key)
    typer.echo(f"Package written: {shared.folder}")
    for title, entries in (("Left out", shared.left_out), ("Please look", shared.warnings)):
        for entry in entries:
            typer.echo(f"{title}: {entry}.")


add_to(app)


def main() -> None:
    """Run the command line; whatever goes wrong becomes one sentence and exit code 2."""
    arguments = [part for part in sys.argv[1:] if part != "--debug"]
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    gc.set_threshold(100_000, 20, 50)  # a short run makes many objects and few rings of them
    atexit.register(gc.freeze)  # and need not look for rings among all modules when it ends
    with InOneSentence(debug=len(arguments) < len(sys.argv) - 1):
        app(arguments)


if __name__ == "__main__":
    main()
