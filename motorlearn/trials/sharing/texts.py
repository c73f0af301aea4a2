"""The texts of a package to give away: README, licence, citation."""

import json
from collections.abc import Mapping, Sequence

import pandas as pd

from motorlearn.design import Design
from motorlearn.trials.sharing.behaviour_standard import DESCRIPTION, place_of
from motorlearn.vocabulary import STANDING_CAUTION


def readme_text(
    design: Design,
    frames: Mapping[str, pd.DataFrame],
    left_out: Sequence[str],
    warnings: Sequence[str],
) -> str:
    """Say what is in the package, what is not, and what to look at."""
    tables = [f"- `{place_of(name)}`: {len(frame)} rows" for name, frame in frames.items()]
    lines = [
        f"# {design.study.title}",
        "",
        *([design.study.question, ""] if design.study.question else []),
        "## What is here",
        "",
        *tables,
        "- `study.toml`: the plan (design, groups, practice, tests, outcomes)",
        "- `datapackage.json`: the tables described by the Data Package standard",
        f"- `{DESCRIPTION}`: the dataset described for search engines, by the rules of Psych-DS",
        "- `codebook.csv`: every column with its meaning, unit and levels",
        "- `environment.txt`: software that wrote the package",
        "- `SHA256SUMS`: sums of the files; check with `sha256sum -c SHA256SUMS`",
        "",
        "Tables are CSV (RFC 4180) in UTF-8 with a decimal point; an empty cell is missing.",
        "",
        "## What was left out",
        "",
        *([f"- {entry}" for entry in left_out] or ["- nothing"]),
        "",
        "## What was said about privacy when the package was made",
        "",
        *([f"- {entry}" for entry in warnings] or ["- nothing"]),
        "",
        STANDING_CAUTION,
    ]
    return "\n".join(lines) + "\n"


def licence_text(design: Design) -> str:
    """Name the licence of the data, or say that there is none."""
    licence = design.study.data_licence
    if not licence:
        return "No licence was named. Ask the authors before you use these data.\n"
    return (
        f"SPDX-License-Identifier: {licence}\n\nThe data in this package are licensed as "
        f"{licence}; its text is at https://spdx.org/licenses/{licence}.html\n"
    )


def citation_text(design: Design) -> str:
    """Write a citation file (CFF 1.2.0); the authors fill in their names."""
    lines = [
        "cff-version: 1.2.0",
        'message: "If you use these data, please cite them as below."',
        "type: dataset",
        f"title: {json.dumps(design.study.title, ensure_ascii=False)}",
        "authors:",
        '  - name: "The authors of the study"',
    ]
    if design.study.data_licence:
        lines.append(f"license: {design.study.data_licence}")
    return "\n".join(lines) + "\n"
