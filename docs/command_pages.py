"""The help of every command, as the program prints it."""

from pathlib import Path

from typer.testing import CliRunner

from motorlearn.commands import app


def write(page: Path) -> None:
    """Write one section for each command."""
    run = CliRunner(env={"TERM": "dumb", "COLUMNS": "96", "NO_COLOR": "1"})
    parts = []
    for command in app.registered_commands:
        name = command.name or command.callback.__name__.replace("_", "-")
        shown = run.invoke(app, [name, "--help"], prog_name="motorlearn")
        if shown.exit_code:
            raise RuntimeError(f"motorlearn {name} --help failed: {shown.output}")
        lines = "\n".join(line.rstrip() for line in shown.output.strip().splitlines())
        parts.append(f"## motorlearn {name}\n\n```text\n{lines}\n```")
    page.write_text("\n\n".join(parts) + "\n", encoding="utf-8")
