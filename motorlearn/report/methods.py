"""Which methods a report rests on, told from its results."""

from collections.abc import Iterator

from motorlearn.compare import PhaseComparison
from motorlearn.mixed import MixedFit
from motorlearn.report.sections.exhibits import shown_contrasts
from motorlearn.report.view import OutcomeView, StudyView
from motorlearn.results import Refused

_DEGREES = {"satterthwaite": {"Satterthwaite"}, "kenward-roger": {"Kenward-Roger"}}


def methods_used(found: StudyView) -> set[str]:
    """Names of methods, as :data:`motorlearn.wording.references.SOURCES` has them."""
    used = {name for entry in found.outcomes for name in _of_outcome(entry)}
    if {"x", "y"} <= set(found.table) and found.table[["x", "y"]].notna().any().all():
        used.add("landing points")
    beside = {"agreement", "curves", "population curve", "mixed model"}
    beside |= {"multiverse", "interim look"}
    results = {k: v for k, v in found.analysis.beside.items() if not isinstance(v, Refused)}
    used |= beside & set(results)
    if found.design.single_case is not None:
        used.add("single case")
    mixed = results.get("mixed model")
    if isinstance(mixed, MixedFit):
        used |= _DEGREES.get(mixed.inference.method, set())
    return used


def _of_outcome(entry: OutcomeView) -> Iterator[str]:
    comparison, practice = entry.comparison, entry.practice
    tables = [c.anova for c in (comparison, practice) if not isinstance(c, Refused)]
    if any(table["statistic"].notna().any() for table in tables):
        yield "analysis of variance"
    if not isinstance(comparison, PhaseComparison):
        return
    if comparison.paired["g"].notna().any():
        yield "g"
    shown = shown_contrasts(entry)
    if shown is not None and shown["p"].notna().any():
        yield from ("Holm", "g", "adjusted contrast" if shown["adjusted"].any() else "Welch")
    if comparison.equivalence["p"].notna().any():
        yield "equivalence"
