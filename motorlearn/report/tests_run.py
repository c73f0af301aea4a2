"""Rows of the table of all tests that were run, by name of its columns."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from motorlearn.analysis import OutcomeAnalysis, StudyAnalysis
from motorlearn.compare import pair_in_words
from motorlearn.compare.crossing import JOINT, SIMPLE, labels_of
from motorlearn.design import own_name_of_test
from motorlearn.results import Refused
from motorlearn.vocabulary import CROSSED


def test_row(
    entry: OutcomeAnalysis, phase: str, contrast: str, method: str, label: str, **numbers: Any
) -> dict[str, Any]:
    """One test by name of its columns; numbers that are not given are missing."""
    empty = dict.fromkeys(("estimate", "conf_low", "conf_high", "p", "p_adjusted"), np.nan)
    named = {"outcome": entry.name, "phase": phase, "contrast": contrast, "method": method}
    return named | {"label": label, "family": ""} | empty | numbers


def term_of(analysis: StudyAnalysis, term: str) -> str:
    """A term of an analysis of variance with its factors as a reader calls them."""
    named = {factor.name: factor.words for factor in analysis.design.factors}
    return CROSSED.join(named.get(part, part) for part in term.split(":"))


def effect_row(
    analysis: StudyAnalysis, entry: OutcomeAnalysis, row: dict[Any, Any]
) -> dict[str, Any]:
    """A main effect, interaction or simple effect, told the way round that was planned."""
    group, reference = labels_of(row)
    main, stage = analysis.primary.iloc[0], analysis.question.primary_stage
    numbers = {name: row[name] for name in ("estimate", "conf_low", "conf_high", "p")}
    primary = analysis.design.primary
    mine = primary is not None and bool(primary.factors) and row["kind"] != SIMPLE
    mine = mine and stage is not None and row["phase"] == stage.name
    mine = mine and entry.name == main["outcome"] and row["adjusted"] == analysis.adjusted
    if mine and {group, reference} == {main["group"], main["reference"]}:
        group, reference = main["group"], main["reference"]
        numbers = {name: main[name] for name in numbers}
    else:
        mine = False
    return test_row(
        entry,
        own_name_of_test(analysis.design, str(row["phase"])),
        f"{row['kind']}: {pair_in_words(group, reference, row['effect'])}",
        row["method"],
        "primary" if mine else "secondary" if entry.role == "primary" else "exploratory",
        family="the primary test alone"
        if mine
        else f"{row['kind']} of {term_of(analysis, row['term'])}",
        p_adjusted=row["p"] if mine else row["p_adjusted"],
        **numbers,
    )


def joint_rows(analysis: StudyAnalysis, entry: OutcomeAnalysis) -> Iterator[dict[str, Any]]:
    """The primary test where it is one of several contrasts together; else nothing."""
    main = analysis.primary.iloc[0]
    stage = analysis.question.primary_stage
    if main["effect"] != JOINT or stage is None or entry.name != main["outcome"]:
        return
    yield test_row(
        entry,
        own_name_of_test(analysis.design, stage.name),
        f"{JOINT}: {main['group']}",
        analysis.method,
        "primary",
        family="the primary test alone",
        p=main["p"],
        p_adjusted=main["p"],
    )


def spread_rows(analysis: StudyAnalysis) -> Iterator[dict[str, Any]]:
    """Tests of the models of spread beside outcomes that are a variable error."""
    for name, found in analysis.spreads.items():
        if isinstance(found, Refused):
            continue
        for row in found.ratios.to_dict("records"):
            numbers = {k: row[k] for k in ("estimate", "conf_low", "conf_high", "p", "p_adjusted")}
            yield test_row(
                analysis.details[name],
                own_name_of_test(analysis.design, str(row["test"])),
                f"spread, {row['kind']}: {row['group']} by {row['reference']}",
                "model of level and spread",
                "exploratory",
                family=f"spread, {row['kind']}",
                **numbers,
            )
