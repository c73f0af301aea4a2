"""The primary comparison in sentences, or the closest thing that the design allows."""

import math
from collections.abc import Mapping
from typing import Any

from motorlearn import digits
from motorlearn.analysis import equivalence_rows, reasons_of
from motorlearn.compare import PhaseComparison
from motorlearn.report.sections import declared, factors
from motorlearn.report.sections.single_case import is_single_case, single_case_sentences
from motorlearn.report.view import OutcomeView, StudyView, primary_contrast
from motorlearn.results import Refused
from motorlearn.wording import sentences, summary
from motorlearn.wording.voice import Voice, listed


def primary_sentences(found: StudyView, entry: OutcomeView) -> list[str]:
    """The primary comparison, or the closest thing the design allows."""
    if is_single_case(found):
        return single_case_sentences(found, entry)
    if isinstance(entry.comparison, Refused):
        return [f"The comparison was not computed: {entry.comparison.told}"]
    row = primary_contrast(found, entry)
    if row is None and found.analysis.refused and entry is found.outcomes[0]:
        return [f"The primary comparison was not computed: {found.analysis.refused.rstrip('.')}."]
    if row is None:
        return change_sentences(found, entry)
    tests = equivalence_rows(entry.comparison, row)
    plain = entry is not found.outcomes[0] or declared.concluded(found)
    test = tests.iloc[0] if len(tests) else None
    if row.get("kind", ""):
        said = factors.primary_effect(entry, row, test, baseline_name(entry.comparison))
    else:
        said = [
            sentences.contrast_sentence(
                row, entry.voice, found.analysis.allocated, baseline=baseline_name(entry.comparison)
            ),
            sentences.reading(row, entry.voice, test) if plain else "",
        ]
    if entry is found.outcomes[0]:
        said.insert(1, factors.aim_of_plan(found, entry, row, tests))
        said += declared.look_sentences(found)
    return [sentence for sentence in said if sentence]


def baseline_name(comparison: PhaseComparison) -> str:
    """What scores are adjusted for: the test, and covariates beside it."""
    asked = comparison.recipe.options
    test = [str(asked["baseline"])] if asked["baseline"] else []
    return listed([*test, *map(str, asked.get("covariates") or ())]) or "baseline"


def change_sentences(found: StudyView, entry: OutcomeView) -> list[str]:
    """Change of every group between the two tests whose change is told."""
    assert isinstance(entry.comparison, PhaseComparison)
    paired = entry.comparison.paired
    if entry.analysis.change_stages is None or paired.empty:
        return ["There is one test only, so no change from test to test can be told."]
    first, second = entry.analysis.change_stages
    rows = paired[(paired["from_phase"] == first) & (paired["to_phase"] == second)]
    rows = rows if len(rows) else paired
    said = [sentences.paired_sentence(row, entry.voice) for row in rows.to_dict("records")]
    bound = entry.comparison.recipe.options["equivalence"]
    if bound is not None and len(found.groups) == 1:
        bound = _bound_of_change(entry.comparison, bound, str(rows.iloc[0]["to_phase"]))
        said.append(sentences.change_reading(rows.iloc[0], bound, entry.voice))
    return [sentence for sentence in said if sentence]


def _bound_of_change(comparison: PhaseComparison, bound: float, test: str) -> float:
    """The declared bound as a difference or a ratio; an SD is that of the scores it counts."""
    asked, scores = comparison.recipe.options, comparison.scores
    ratio = asked["effect"] == "ratio"
    if asked["equivalence_unit"] == "score":
        return max(bound, 1 / bound) if ratio else bound
    phase = asked["baseline"] if asked["equivalence_unit"] == "baseline sd" else test
    own = scores.loc[scores["phase"].astype("str") == str(phase), "score"]
    if ratio:
        return math.exp(bound * float(own.map(math.log).std()))
    return bound * float(own.std())


def estimate_in_words(row: Mapping[str, Any], voice: Voice) -> str:
    """An estimate with its interval, ``0.92 (95 % CI 0.84 to 1.01)``, a difference with a unit."""
    return estimate_and_reach(row, voice, "95 % CI ")


def estimate_and_reach(row: Mapping[str, Any], voice: Voice, name: str = "") -> str:
    """An estimate with its interval, ``0.92 (0.84 to 1.01)``, where a heading says of how much."""
    ratio = row["effect"] == "ratio"
    places = 2 if ratio else voice.decimals
    estimate = voice.number(row["estimate"], places) if ratio else voice.measured(row["estimate"])
    limits = (row["conf_low"], row["conf_high"])
    fine = digits.decimals_apart(*limits, 1.0 if ratio else 0.0, places)
    reach = digits.interval(*limits, fine, decimal=voice.decimal)
    return f"{estimate} ({name}{reach})" if math.isfinite(row["conf_low"]) else estimate


def shown_stage(found: StudyView) -> str:
    """Test whose means are told: the primary one, else the last that has trials."""
    stage = found.analysis.question.primary_stage
    tests = found.analysis.question.tests
    return stage.name if stage is not None else (tests[-1] if tests else found.stages[-1]).name


def missing_sentence(found: StudyView) -> str:
    """Who of those allocated is missing at the test whose scores are told, and why."""
    people, stage = found.analysis.people, shown_stage(found)
    entry = found.outcomes[0]
    at = entry.voice.stage(stage).spoken
    there = people.presence[people.presence["stage"] == entry.voice.short(stage)]
    present = there[there["trials"] > 0]
    away = people.roster[~people.roster["participant"].isin(present["participant"])]
    away = away[away["group"].astype("str").isin(found.groups)]
    if found.design.within is not None:
        gone = {str(k): int(n) for k, n in away["group"].astype("str").value_counts().items()}
        missed = away["person"].nunique()
        return summary.missing_conditions(people.count, missed, gone, at)
    counts = {str(k): int(n) for k, n in present["group"].astype("str").value_counts().items()}
    return summary.missing_people(found.analysis.allocated, counts, at, reasons_of(away))
