"""Every number of a report with its recipe, as JSON that reads back into results."""

import json
from collections.abc import Mapping
from typing import Any

import pandas as pd

from motorlearn.report.view import StudyView
from motorlearn.report.writers.contents import Document, Text
from motorlearn.results import Refused, Result, encode

LEVELS = 4
"""Levels of the JSON text on lines of their own: as deep as the columns of a table."""


def to_results(found: StudyView, document: Document, made: Mapping[str, str]) -> str:
    """Write results, tables and sentences as one JSON text.

    ``analysis`` holds the primary row and the outcomes; ``results`` each result as
    :meth:`motorlearn.results.Result.to_json` writes it, recipe included; ``tables`` the raw values
    behind each table; ``sentences`` the running text.
    """
    results: dict[str, Any] = {}
    for entry in found.outcomes:
        for kind, result in (("comparison", entry.comparison), ("practice", entry.practice)):
            results[f"{entry.outcome.name}: {kind}"] = _stored(result)
    for name, result in found.analysis.beside.items():
        results[name] = _stored(result)
    analysis = {
        "primary": encode(found.analysis.primary),
        "refused": found.analysis.refused,
        "method": found.analysis.method,
        "outcomes": encode(found.analysis.outcomes),
    }
    return _written(document, made, analysis, results)


def to_no_results(document: Document, made: Mapping[str, str], reason: str) -> str:
    """Write the tables and sentences of a document without results, and why there are none."""
    none = encode(pd.DataFrame())
    analysis = {"primary": none, "refused": reason, "method": "", "outcomes": none}
    return _written(document, made, analysis, {})


def _written(
    document: Document, made: Mapping[str, str], analysis: Mapping[str, Any], results: Any
) -> str:
    content = {
        "title": document.title,
        "made": dict(made),
        "analysis": analysis,
        "results": results,
        "tables": {table.name: encode(table.rows) for table in document.tables},
        "sentences": [
            document.resolved(block.text, lambda kind, name, label: label)
            for block in document.blocks
            if isinstance(block, Text) and block.kind != "author"
        ],
    }
    return _lines(content, LEVELS)


def _lines(value: Any, levels: int, margin: str = "\n") -> str:
    """JSON whose outer levels stand on lines of their own; what is deeper stands on one line."""
    if levels == 0 or not value or not isinstance(value, dict | list):
        return json.dumps(value, ensure_ascii=False, allow_nan=False)
    inside = f"{margin} "
    if isinstance(value, list):
        return (
            f"[{inside}{f',{inside}'.join(_lines(v, levels - 1, inside) for v in value)}{margin}]"
        )
    parts = (
        f"{json.dumps(k, ensure_ascii=False)}: {_lines(v, levels - 1, inside)}"
        for k, v in value.items()
    )
    return f"{{{inside}{f',{inside}'.join(parts)}{margin}}}"


def _stored(result: Result | Refused) -> Any:
    return {"refused": result.reason} if isinstance(result, Refused) else result.stored()
