"""Parts of the command line: numbers and codes in options, questions, and how it ends."""

import contextlib
import traceback
from typing import Any

import typer

from motorlearn.exceptions import InputError, MotorlearnError


def _whole(text: str) -> int:
    """Read an option that is a whole number."""
    try:
        return int(text)
    except ValueError:
        raise typer.BadParameter(f"must be a whole number ({text!r})") from None


def _number(text: str) -> float:
    """Read an option that is a number."""
    try:
        return float(text)
    except ValueError:
        raise typer.BadParameter(f"must be a number ({text!r})") from None


WHOLE: dict[str, Any] = {"parser": _whole, "metavar": "<int>"}
NUMBER: dict[str, Any] = {"parser": _number, "metavar": "<float>"}


def ask_person(question: str, expected: str) -> str:
    """Ask on the terminal, with the answer to expect."""
    answer: str = typer.prompt(question, default=expected)
    return answer.strip()


def codes_of(what: str, text: str) -> dict[str, str] | None:
    """Read ``1=pretest,2=acquisition``."""
    pairs = [part.partition("=") for part in text.split(",") if part.strip()]
    if any(not code.strip() or not sign or not name.strip() for code, sign, name in pairs):
        raise InputError(f"{what} are codes with their names", [text], "for example 1=pretest")
    return {code.strip(): name.strip() for code, _, name in pairs} or None


class InOneSentence(contextlib.AbstractContextManager[None]):
    """Ends with one sentence and exit code 2 whatever went wrong; the traceback on demand only."""

    def __init__(self, *, debug: bool) -> None:
        self.debug = debug

    def __exit__(self, kind: object, problem: object, trace: object) -> None:
        if not isinstance(problem, Exception):
            return
        if self.debug:
            traceback.print_exception(problem)
        typer.secho(f"motorlearn: {_sentence(problem)}", err=True)
        raise SystemExit(2) from None


def _sentence(problem: Exception) -> str:
    match problem:
        case MotorlearnError():
            return str(problem)
        case MemoryError():
            return "there is not enough memory for this; close other programs, or take fewer data."
        case OSError():
            place = f" ({problem.filename!r})" if problem.filename else ""
            return f"the system refused{place}: {problem.strerror or problem}."
    kind = type(problem).__name__
    said = InputError(
        f"this is a fault of motorlearn and not of yours: {kind}: {problem}",
        remedy="nothing was written; please report it with what --debug shows",
    )
    return str(said)
