"""What the package imports is what pyproject.toml asks for, and nothing else is installed."""

import ast
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

from packaging.requirements import Requirement

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
OPTIONAL = {"distributed", "mistune", "pyreadstat", "segno"}


def names(requirements: list[str]) -> set[str]:
    return {Requirement(entry).name.lower() for entry in requirements}


def imported() -> set[str]:
    """Distributions behind the top names that the package imports."""
    tops: set[str] = set()
    for path in (ROOT / "motorlearn").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            match node:
                case ast.Import():
                    tops |= {alias.name.split(".")[0] for alias in node.names}
                case ast.ImportFrom(module=str(module)):
                    tops.add(module.split(".")[0])
    homes = packages_distributions()
    foreign = tops - set(sys.stdlib_module_names) - {"motorlearn"}
    return {homes[top][0].lower() for top in foreign}


def test_every_import_is_a_dependency():
    asked = names(PROJECT["dependencies"])
    assert imported() - OPTIONAL - asked == set()


def test_every_dependency_is_imported():
    """Nothing is installed that the package does not import itself."""
    assert names(PROJECT["dependencies"]) - imported() == set()


def test_optional_imports_stand_in_an_extra():
    extras = {entry for extra in PROJECT["optional-dependencies"].values() for entry in extra}
    assert names(sorted(extras)) >= OPTIONAL


def test_every_floor_stands_in_the_lowest_constraints_as_it_is():
    lowest = {}
    for line in (ROOT / ".ci" / "constraints-lowest.txt").read_text("utf-8").splitlines():
        if "==" in line:
            name, _, version = line.partition("==")
            lowest[name.lower()] = version
    asked = [*PROJECT["dependencies"]]
    for extra in PROJECT["optional-dependencies"].values():
        asked += extra
    wrong = []
    for entry in map(Requirement, asked):
        floor = next((part.version for part in entry.specifier if part.operator == ">="), None)
        stated = lowest.get(entry.name.lower())
        if floor and (stated is None or not stated.startswith(floor)):
            wrong.append((entry.name, floor, stated))
    assert wrong == []
