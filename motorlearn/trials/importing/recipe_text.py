"""Write an import recipe into the text of a plan, leaving every other line as it is."""

import json
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Table

from motorlearn.design import ImportRecipe, design_from_mapping
from motorlearn.exceptions import FileError
from motorlearn.files import write_text

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def recipe_text(recipe: ImportRecipe) -> str:
    """Write a recipe as the ``[import]`` section of a plan; reading it back gives the same recipe.

    Examples
    --------
    >>> print(recipe_text(ImportRecipe(file="week.csv", columns={"ID": "participant"})))
    [import]
    file = "week.csv"
    mode = "report"
    <BLANKLINE>
    [import.columns]
    ID = "participant"
    <BLANKLINE>
    """
    content = recipe.model_dump(exclude_defaults=True) | {"mode": recipe.mode}
    order = [name for name in type(recipe).model_fields if name in content]
    plain = {name: content[name] for name in order if not _nested(content[name])}
    lines = [
        "[import]",
        *(f"{toml_key(name)} = {toml_value(entry)}" for name, entry in plain.items()),
        "",
    ]
    for name in order:
        if name in plain:
            continue
        entry = content[name]
        if isinstance(entry, Mapping):
            lines += _table(f"import.{name}", entry)
        else:
            for item in entry:
                lines += _table(f"import.{name}", item, array=True)
    return "\n".join(lines)


def write_recipe(plan: Path, recipe: ImportRecipe) -> Path:
    """Put a recipe into a plan in place of an earlier one; the plan is checked before writing.

    Raises
    ------
    FileError
        If there is no plan.
    DesignError
        If the plan with the recipe would contradict itself.
    """
    if not plan.is_file():
        raise FileError(
            "there is no study plan to write the recipe into",
            [str(plan)],
            "make one with 'motorlearn new FOLDER'",
        )
    text = plan_text_of(plan)
    wanted = tomllib.loads(text) | tomllib.loads(recipe_text(recipe))
    design_from_mapping(wanted, place=plan.name)
    for way in (_mended, _replaced):
        joined = way(text, recipe)
        if joined and _says(joined, wanted):
            return write_text(plan, joined)
    raise FileError(
        "the recipe cannot be put into the plan without touching the rest",
        [str(plan)],
        "take its [import] section out by hand, and import again",
    )


def plan_text_of(plan: Path) -> str:
    """The text of a plan, which must be TOML.

    Raises
    ------
    FileError
        If it cannot be read, or is no TOML.
    """
    try:
        text = plan.read_text(encoding="utf-8-sig")
        tomllib.loads(text)
    except (OSError, ValueError, RecursionError) as problem:
        raise FileError("the plan cannot be read", [str(plan)], "mend it first") from problem
    return text


def without_section(text: str, section: str) -> str:
    """Take a section, with all its parts, out of the text of a plan; the rest stays as typed.

    Examples
    --------
    >>> without_section('a = 1  # one\\n[b]\\nc = 2\\n', "b")
    'a = 1  # one\\n'
    """
    plan = tomlkit.parse(text)
    while section in plan:
        plan.remove(section)
    return tomlkit.dumps(plan)


def _mended(text: str, recipe: ImportRecipe) -> str:
    """Change in the section that is there what is said otherwise; its comments stay."""
    try:
        plan, new = tomlkit.parse(text), tomlkit.parse(recipe_text(recipe))
        section, wanted = plan.get("import"), new["import"]
        if not isinstance(section, Table) or not isinstance(wanted, Table):
            return ""
        for name in [name for name in section if name not in wanted]:
            del section[name]
        for name, value in wanted.items():
            if name not in section or section[name].unwrap() != value.unwrap():
                section[name] = value
        return tomlkit.dumps(plan)
    except (TOMLKitError, ValueError, LookupError, AttributeError, TypeError):
        return ""


def _replaced(text: str, recipe: ImportRecipe) -> str:
    """Take the section out and put the new one at the end."""
    try:
        rest = without_section(text, "import").rstrip()
    except (TOMLKitError, ValueError, LookupError, AttributeError, TypeError, RecursionError):
        return ""
    return f"{rest}\n\n{recipe_text(recipe)}"


def _says(text: str, wanted: Mapping[str, Any]) -> bool:
    """Whether a text reads as what is wanted, in every section."""
    try:
        return tomllib.loads(text) == wanted
    except (ValueError, RecursionError):
        return False


def _table(name: str, entries: Mapping[str, Any], *, array: bool = False) -> list[str]:
    empty: tuple[Any, ...] = (None, {}) if name.startswith("import.levels.") else ("", None, {})
    flat = {key: value for key, value in entries.items() if value not in empty}
    inner = {key: value for key, value in flat.items() if isinstance(value, Mapping)}
    simple = {key: value for key, value in flat.items() if key not in inner}
    lines = [f"[[{name}]]" if array else f"[{name}]"] if simple or array else []
    lines += [f"{toml_key(key)} = {toml_value(value)}" for key, value in simple.items()]
    lines += [""] if lines else []
    for key, value in inner.items():
        lines += _table(f"{name}.{toml_key(key)}", value)
    return lines


def _nested(value: Any) -> bool:
    if isinstance(value, list | tuple):
        return any(isinstance(entry, Mapping) for entry in value)
    return isinstance(value, Mapping)


def toml_key(name: str) -> str:
    return name if _BARE.fullmatch(name) else toml_value(name)


def toml_value(value: Any) -> str:
    """Write a value as TOML.

    Examples
    --------
    >>> toml_value("ring push"), toml_value(2), toml_value(("a", "b"))
    ('"ring push"', '2', '["a", "b"]')
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return str(value)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml_value(entry) for entry in value) + "]"
    return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007f")
