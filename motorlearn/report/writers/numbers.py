"""Every number of a report with its recipe, as JSON that reads back into results."""

import json
from collections.abc import Mapping
from typing import Any

import pandas as pd

from motorlearn.report.view import StudyView
from motorlearn.report.writers.contents import Document, Text
from motorlearn.results import Refused, Result, encode


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
    return json.dumps(content, ensure_ascii=False, indent=1, allow_nan=False)


def _stored(result: Result | Refused) -> Any:
    return (
        {"refused": result.reason} if isinstance(result, Refused) else json.loads(result.to_json())
    )
