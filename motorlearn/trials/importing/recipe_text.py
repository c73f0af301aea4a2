"""Write an import recipe into the text of a plan, leaving every other line as it is."""

import json
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from motorlearn.design import ImportRecipe, design_from_mapping
from motorlearn.exceptions import FileError
from motorlearn.files import write_text

_HEADER = re.compile(r"\s*\[\[?\s*(?P<name>[^\]]+?)\s*\]\]?\s*(#.*)?$")
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
    lines = ["[import]", *(f"{_key(name)} = {_value(entry)}" for name, entry in plain.items()), ""]
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
    text = plan.read_text(encoding="utf-8-sig")
    rest = without_section(text, "import").rstrip("\n")
    joined = f"{rest}\n\n{recipe_text(recipe)}"
    design_from_mapping(tomllib.loads(joined), place=plan.name)
    return write_text(plan, joined)


def without_section(text: str, section: str) -> str:
    """Take a section, with all its parts, out of the text of a plan."""
    kept, inside = [], False
    for line in text.splitlines():
        header = _HEADER.match(line)
        if header:
            name = header["name"].replace('"', "").split(".")[0].strip()
            inside = name == section
        if not inside:
            kept.append(line)
    return "\n".join(kept)


def _table(name: str, entries: Mapping[str, Any], *, array: bool = False) -> list[str]:
    flat = {key: value for key, value in entries.items() if value not in ("", None, {})}
    inner = {key: value for key, value in flat.items() if isinstance(value, Mapping)}
    simple = {key: value for key, value in flat.items() if key not in inner}
    lines = [f"[[{name}]]" if array else f"[{name}]"] if simple or array else []
    lines += [f"{_key(key)} = {_value(value)}" for key, value in simple.items()]
    lines += [""] if lines else []
    for key, value in inner.items():
        lines += _table(f"{name}.{_key(key)}", value)
    return lines


def _nested(value: Any) -> bool:
    return isinstance(value, Mapping | list | tuple)


def _key(name: str) -> str:
    return name if _BARE.fullmatch(name) else _value(name)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return str(value)
    return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007f")
