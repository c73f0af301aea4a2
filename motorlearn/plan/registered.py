"""Versions of a plan that were registered, and what became of them: change by change, dated."""

import datetime
import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

from motorlearn.design import Design
from motorlearn.exceptions import FileError, InputError
from motorlearn.files import parsed_json, write_text

KEPT = "registered.json"
"""File beside ``study.toml`` that holds every registered version of the plan."""
_MARK = '"registered": "motorlearn"'
UNREGISTERED = ""
"""Date of a change that was made since the last registration."""


@dataclass(frozen=True)
class Version:
    """A plan as it was registered.

    Parameters
    ----------
    date : str
        Day, as ``2026-11-26``.
    sha256 : str
        Checksum of ``study.toml`` on that day.
    recorded : int
        Trials that the folder already held on that day.
    plan : mapping
        Contents of the plan, without what stands as default.
    """

    date: str
    sha256: str
    recorded: int
    plan: Mapping[str, Any]


@dataclass(frozen=True)
class PlanChange:
    """One entry of a plan that differs from an earlier version.

    Parameters
    ----------
    date : str
        Day on which the new version was registered; empty where it was not.
    entry : str
        Place in the plan, as ``tests.retention.trials``.
    before, after : str
        Value in the earlier and in the later version; empty where there is none.
    """

    date: str
    entry: str
    before: str
    after: str


def registered_versions(folder: str | Path | None) -> tuple[Version, ...]:
    """Versions of a plan that were registered, in order; none where none was.

    Raises
    ------
    FileError
        If the file that holds them is damaged.
    """
    file = None if folder is None else Path(folder) / KEPT
    if file is None or not file.is_file():
        return ()
    remedy = "put the file back as 'motorlearn register' wrote it, or register the plan again"
    try:
        held = parsed_json(file.read_text("utf-8"), "the registered plan")
        return tuple(
            Version(str(v["date"]), str(v["sha256"]), int(v["recorded"]), dict(v["plan"]))
            for v in held["versions"]
        )
    except (InputError, KeyError, TypeError, ValueError, UnicodeDecodeError) as problem:
        raise FileError("the registered plan cannot be read", [str(file)], remedy) from problem


def register_version(
    folder: str | Path, design: Design, *, recorded: int, today: datetime.date
) -> tuple[Version, bool]:
    """Keep a plan as registered; a version that is registered already is not kept twice.

    Parameters
    ----------
    folder : path-like
        Folder that holds ``study.toml``.
    design : Design
        The plan that was read from it.
    recorded : int
        Trials that have been recorded already.
    today : date
        Day of the registration.

    Returns
    -------
    tuple of Version and bool
        The version, and whether it is new.

    Raises
    ------
    FileError
        If there is no plan in the folder, or the versions cannot be read or written.
    """
    place = Path(folder) / "study.toml"
    if not place.is_file():
        raise FileError("there is no plan to register", [str(place)], "name the folder of a study")
    sha256 = hashlib.sha256(place.read_bytes()).hexdigest()
    earlier = registered_versions(folder)
    for version in earlier:
        if version.sha256 == sha256:
            return version, False
    version = Version(today.isoformat(), sha256, recorded, plan_content(design))
    held = {"registered": "motorlearn", "versions": [vars(v) for v in (*earlier, version)]}
    text = json.dumps(held, ensure_ascii=False, indent=1)
    write_text(Path(folder) / KEPT, text, only_over=_MARK)
    return version, True


def plan_content(design: Design) -> dict[str, Any]:
    """The plan as plain values, without what stands as default and without how files are read."""
    content: dict[str, Any] = design.model_dump(mode="json", exclude_defaults=True, by_alias=True)
    return {name: value for name, value in content.items() if name not in ("files", "import")}


def plan_changes(versions: tuple[Version, ...], design: Design) -> list[PlanChange]:
    """What was changed from version to version, and since the last one.

    Examples
    --------
    >>> from motorlearn.design import design_from_mapping
    >>> plan = {"study": {"title": "Ring push"}, "groups": [{"name": "all", "size": 12}],
    ...         "tests": [{"phase": "pretest", "trials": 20}],
    ...         "outcomes": [{"name": "hits", "better": "higher"}]}
    >>> first = Version("2026-01-05", "", 0, plan_content(design_from_mapping(plan)))
    >>> later = {**plan, "groups": [{"name": "all", "size": 14}]}
    >>> plan_changes((first,), design_from_mapping(later))
    [PlanChange(date='', entry='groups.all.size', before='12', after='14')]
    """
    if not versions:
        return []
    states = [(v.date, v.plan) for v in versions] + [(UNREGISTERED, plan_content(design))]
    return [
        change
        for (_, before), (date, after) in pairwise(states)
        for change in _differences(dict(_flat(before)), dict(_flat(after)), date)
    ]


def _differences(
    before: Mapping[str, str], after: Mapping[str, str], date: str
) -> Iterator[PlanChange]:
    for entry in dict.fromkeys([*before, *after]):
        if before.get(entry) != after.get(entry):
            yield PlanChange(date, entry, before.get(entry, ""), after.get(entry, ""))


def _flat(content: Any, place: str = "") -> Iterator[tuple[str, str]]:
    """Every value of a plan with its place; entries of a list go by their name or phase."""
    if isinstance(content, Mapping):
        for name, value in content.items():
            yield from _flat(value, f"{place}.{name}" if place else str(name))
    elif isinstance(content, list) and any(isinstance(item, Mapping) for item in content):
        names = [_name(item, i) for i, item in enumerate(content, 1)]
        for i, (name, item) in enumerate(zip(names, content, strict=True), 1):
            own = name if names.count(name) == 1 else f"{name} {i}"
            yield from _flat(item, f"{place}.{own}")
    else:
        yield place, json.dumps(content, ensure_ascii=False).strip('"')


def _name(item: Any, place: int) -> str:
    if not isinstance(item, Mapping):
        return str(place)
    for key in ("name", "phase", "session", "rule", "outcome"):
        if item.get(key) not in (None, ""):
            return str(item[key])
    return str(place)
