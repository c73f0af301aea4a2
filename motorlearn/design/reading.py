"""From ``study.toml`` to a checked plan; every mistake is named together with its place."""

import difflib
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from motorlearn.design.contradictions import contradictions
from motorlearn.design.schema import Design
from motorlearn.design.size import refuse_absurd, refuse_vast
from motorlearn.exceptions import DesignError, FileError
from motorlearn.files import real_place

MOST_BYTES: Final = 1 << 20
"""Largest size of a plan (1 MiB)."""
_MOST_EXPLAINED: Final = 20


def read_design(path: str | Path) -> Design:
    """Read a study plan from a TOML file or from the ``study.toml`` of a folder.

    Raises
    ------
    FileError
        If there is no such file or it is not TOML.
    DesignError
        If the plan contradicts itself; all mistakes are named, unknown keys with the nearest
        known one.
    """
    file = Path(path)
    real_place(file)
    if file.is_dir():
        file = file / "study.toml"
    if not file.is_file():
        raise FileError(
            "there is no study plan",
            [str(file)],
            "name a folder that holds study.toml, or make one with 'motorlearn new FOLDER'",
        )
    return design_from_mapping(_content(file), place=file.name)


def _content(file: Path) -> dict[str, Any]:
    try:
        if file.stat().st_size > MOST_BYTES:
            raise FileError(
                f"the study plan is larger than {MOST_BYTES >> 20} MiB",
                [str(file)],
                "keep data in tables of their own",
            )
        text = file.read_text(encoding="utf-8-sig")
        return tomllib.loads(text)
    except FileError:
        raise
    except UnicodeDecodeError as problem:
        raise FileError(
            "the study plan is not UTF-8 text", [str(file)], "save it as UTF-8"
        ) from problem
    except OSError as problem:
        raise FileError(
            f"the study plan cannot be read ({problem.strerror})",
            [str(file)],
            "check its permissions",
        ) from problem
    except (ValueError, RecursionError) as problem:  # also numbers and nesting beyond all measure
        for heading in _headings_twice(text):
            raise FileError(
                f"the heading {heading} stands twice in the study plan",
                [str(file)],
                "put the keys of both under the first one and take the second away",
            ) from problem
        raise FileError(
            f"the study plan is not valid TOML: {problem}",
            [str(file)],
            "mend the line it names, or begin anew with 'motorlearn new FOLDER'",
        ) from problem


def _headings_twice(text: str) -> list[str]:
    """Headings that stand twice: what was added at the end belongs under the first one."""
    lines = [line.split("#")[0].strip() for line in text.splitlines()]
    named = [line for line in lines if line[:1] == "[" and line[1:-1].isidentifier()]
    return sorted({line for line in named if line[-1] == "]" and named.count(line) > 1})


def design_from_mapping(content: Mapping[str, Any], *, place: str = "design") -> Design:
    """Check a plan given as nested dictionaries and lists.

    Raises
    ------
    DesignError
        If the plan contradicts itself or holds an unknown key.
    """
    refuse_absurd(content, place)
    try:
        design = Design.model_validate(content)
    except ValidationError as problem:
        found = problem.errors(include_url=False)
        further_in = {entry["loc"][:end] for entry in found for end in range(len(entry["loc"]))}
        own = [entry for entry in found if entry["loc"] not in further_in]
        lines = [_explain(entry) for entry in own[:_MOST_EXPLAINED]]
        more = len(own) - len(lines)
        lines += [f"and {more} more mistakes"] if more else []
        raise DesignError(f"{place}: " + "; ".join(lines)) from problem
    refuse_vast(design, place)
    disagreeing = contradictions(design)
    if disagreeing:
        raise DesignError(f"{place}: " + "; ".join(disagreeing))
    return design


def _explain(problem: Mapping[str, Any]) -> str:
    known = problem["type"] != "extra_forbidden"
    where = _path(_keys(problem["loc"]) if known else problem["loc"])
    if problem["type"] == "extra_forbidden":
        near = difflib.get_close_matches(
            str(problem["loc"][-1]), _known_keys(problem["loc"][:-1]), n=1, cutoff=0.5
        )
        hint = f", did you mean {near[0]!r}?" if near else ""
        return f"unknown key {where!r}{hint}"
    if problem["type"] == "missing":
        return f"{where!r} is missing"
    given = problem.get("input")
    shown = f" (given: {given!r})" if isinstance(given, str | int | float | bool) else ""
    return f"{where or 'plan'}: {_in_words(problem)}{shown}"


def _path(place: Iterable[str | int]) -> str:
    """A place in the plan as its writer counts: ``tests (entry 1).day``."""
    parts = (f" (entry {part + 1})" if isinstance(part, int) else f".{part}" for part in place)
    return "".join(parts).lstrip(".")


def _keys(place: tuple[str | int, ...]) -> list[str | int]:
    """The keys of a place, without the names of the kinds of value a key may hold."""
    known = set(_every_key(Design))
    return [part for part in place if isinstance(part, int) or part in known or part == place[0]]


def _every_key(model: type[BaseModel]) -> Iterator[str]:
    for name, field in _fields(model).items():
        yield name
        inner = _section_of(field.annotation)
        if inner is not None:
            yield from _every_key(inner)


def _in_words(problem: Mapping[str, Any]) -> str:
    """Put what the library found into words of a plan."""
    limits = problem.get("ctx", {})
    kind = problem["type"]
    if kind in _WORDS:
        return _WORDS[kind].format(**{"expected": "", **limits})
    for words, kinds in _KINDS.items():
        if kind.startswith(kinds):
            return words
    message: str = problem["msg"]
    return message.removeprefix("Value error, ")


_WORDS: Final = {
    "greater_than": "must be above {gt:g}",
    "greater_than_equal": "must be {ge:g} or more",
    "less_than": "must be below {lt:g}",
    "less_than_equal": "must be {le:g} or less",
    "literal_error": "must be one of {expected}",
    "string_too_short": "must not be empty",
    "string_too_long": "must have {max_length} characters at most",
    "too_short": "must not hold fewer entries than {min_length}",
    "int_from_float": "must be a whole number",
    "finite_number": "must be a finite number",
    "model_type": "must be a section with keys of its own",
}
_KINDS: Final = {
    "must be a whole number": ("int_",),
    "must be a number": ("float_",),
    "must be text in quotation marks": ("string_type",),
    "must be true or false": ("bool_",),
    "must be a list in brackets": ("tuple_type", "list_type"),
    "must be a section with keys of its own": ("dict_type", "model_attributes_type"),
}


def _known_keys(path: tuple[str | int, ...]) -> list[str]:
    model: type[BaseModel] = Design
    for part in path:
        field = _fields(model).get(str(part))
        inner = _section_of(field.annotation) if field is not None else None
        if inner is not None:
            model = inner
        elif not isinstance(part, int):
            return []
    return list(_fields(model))


def _fields(model: type[BaseModel]) -> dict[str, FieldInfo]:
    return {field.alias or name: field for name, field in model.model_fields.items()}


def _section_of(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    inner = (_section_of(part) for part in getattr(annotation, "__args__", ()))
    return next((found for found in inner if found is not None), None)
