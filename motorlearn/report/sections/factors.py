"""What a report says of two factors, and of the claim that the plan aimed at."""

import math

import pandas as pd

from motorlearn.analysis import claimed
from motorlearn.compare import PhaseComparison
from motorlearn.compare.crossing import JOINT
from motorlearn.report.view import OutcomeView, StudyView
from motorlearn.wording import factors, sentences
from motorlearn.wording.equivalence import aim_sentence, judge
from motorlearn.wording.voice import Voice


def primary_effect(
    entry: OutcomeView, row: pd.Series, test: pd.Series | None, baseline: str
) -> list[str]:
    """The planned main effect or interaction, how far it may be read, and its bound."""
    said = [factors.effect_sentence(row, entry.voice, baseline=baseline)]
    if row["effect"] == JOINT and math.isfinite(row["p"]):
        return [*said, factors.effect_reading(row, entry.voice)]
    if math.isfinite(row["estimate"]):
        said.append(factors.effect_reading(row, entry.voice))
        if test is not None and math.isfinite(test["p"]):
            said.append(sentences.verdict_sentence(judge(row, test), row, entry.voice))
    return said


def aim_of_plan(found: StudyView, entry: OutcomeView, row: pd.Series, tests: pd.DataFrame) -> str:
    """The verdict that the plan aimed at; empty where it aimed at a difference or equivalence."""
    verdict = claimed(row, tests, found.analysis.question)
    if verdict is None or verdict["aim"] == "equivalence" or not math.isfinite(row["estimate"]):
        return ""
    pair = str(row["group"]), str(row["reference"])
    return aim_sentence(verdict, entry.voice, ratio=row["effect"] == "ratio", pair=pair)


def parts_of(comparison: PhaseComparison) -> str:
    """What the analysis of variance goes over."""
    options = comparison.recipe.options
    whole = options.get("anova_phases", options["phases"]) == options["phases"]
    return "all parts of the study" if whole else "the tests"


def changes_by_factor(comparison: PhaseComparison, voice: Voice, table: str) -> list[str]:
    """Whether the change over the tests differs with a factor, or with both."""
    said, both = [], list(comparison.recipe.options["factors"])
    of_term = {":".join([*parts, "phase"]): parts for parts in ([both[0]], [both[1]], both)}
    for row in comparison.anova.to_dict("records"):
        names = [factors.words_of(voice, name) for name in of_term.get(row["term"], ())]
        if not names or not math.isfinite(row["p"]):
            continue
        clause = sentences.f_clause(row, voice, sentences.p_to_read(row))
        said.append(
            f"Change over {parts_of(comparison)} by {' and '.join(names)}: {clause}, generalised "
            f"η² {voice.share_clause(row['generalised_eta2'])}."
        )
    if said:
        corrected = comparison.anova["epsilon_gg"].notna().any()
        how = "Greenhouse-Geisser corrected p, type III" if corrected else "Type III"
        said[-1] += f" {how}, complete cases only ({table})."
    return said
