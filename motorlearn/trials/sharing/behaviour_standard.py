"""The package as Psych-DS wants behavioural data: where tables lie, what describes them.

Tables lie below ``data/`` under names of key-value pairs that end in ``_data.csv``; the file
``dataset_description.json`` names every column in the vocabulary of schema.org (Psych-DS, rules and
conventions, psychds-docs.readthedocs.io).
"""

from collections.abc import Mapping
from typing import Any, Final

DESCRIPTION: Final = "dataset_description.json"
VERSION: Final = "Psych-DS 0.4.0"


def place_of(table: str) -> str:
    """Where a table lies in the package.

    Examples
    --------
    >>> place_of("trials")
    'data/description-trials_data.csv'
    """
    return f"data/description-{table}_data.csv"


def dataset_description(package: Mapping[str, Any]) -> dict[str, Any]:
    """Describe a dataset in the vocabulary of schema.org from the descriptor of a Data Package."""
    head = {
        "@context": "https://schema.org",
        "@type": "Dataset",
        "name": package["title"],
        "description": package.get("description") or package["title"],
        "schemaVersion": VERSION,
    }
    licences = [entry.get("path", entry["name"]) for entry in package.get("licenses", [])]
    head |= {"license": licences[0]} if licences else {}
    columns: dict[str, dict[str, Any]] = {}
    for resource in package["resources"]:
        for field in resource["schema"]["fields"]:
            columns.setdefault(field["name"], _variable(field))
    return head | {"variableMeasured": list(columns.values())}


def _variable(field: Mapping[str, Any]) -> dict[str, Any]:
    limits = field.get("constraints", {})
    told = {
        "@type": "PropertyValue",
        "name": field["name"],
        "description": field.get("description", ""),
        "unitText": field.get("unit", ""),
        "minValue": limits.get("minimum"),
        "maxValue": limits.get("maximum"),
    }
    return {key: value for key, value in told.items() if value not in ("", None)}
