"""One page on a study: what was planned, who is in it, every test, whether to believe it."""

import hashlib
import platform
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from motorlearn import digits
from motorlearn.analysis import OutcomeAnalysis, StudyAnalysis, page_analysis
from motorlearn.compare import PhaseComparison, pair_in_words
from motorlearn.design import (
    Design,
    hits_declared_of,
    own_name_of_test,
    primary_words,
    smallest_effect_of,
)
from motorlearn.digits import count
from motorlearn.plan.deviations import analysis_label
from motorlearn.report.case_rows import case_fact, flow_of_cases, rows_of_case
from motorlearn.report.tests_run import effect_row, joint_rows, spread_rows, term_of, test_row
from motorlearn.results import Recipe, Refused, Result, software_versions
from motorlearn.tables import Column, Table
from motorlearn.trials import Study, study_sums
from motorlearn.wording.units import units_of

TEST_COLUMNS = (
    "outcome",
    "phase",
    "contrast",
    "method",
    "label",
    "family",
    "estimate",
    "conf_low",
    "conf_high",
    "p",
    "p_adjusted",
)


@dataclass(frozen=True)
class StudyAudit(Result):
    """A study on one page.

    Attributes
    ----------
    facts : DataFrame
        ``topic, finding``: plan, units, primary comparison, seeds, versions, hashes, verdicts.
    primary : DataFrame
        The primary row as :func:`motorlearn.analyse_study` gives it.
    flow : DataFrame
        ``group, allocated`` and one column per part of the study: participants with a trial.
    tests : DataFrame
        Every test that was run, with its label (primary, secondary, sensitivity, exploratory) and
        the family its p was corrected in.
    deviations : DataFrame
        ``topic, where, planned, actual, people, participants``.
    assumptions : DataFrame
        Assumptions of the primary comparison that are not fine.
    numbers : DataFrame
        ``name, value``: what a later run of the same folder has to give again.
    recipe : Recipe
        Options and seed.
    """

    facts: pd.DataFrame
    primary: pd.DataFrame
    flow: pd.DataFrame
    tests: pd.DataFrame = field(repr=False)
    deviations: pd.DataFrame
    assumptions: pd.DataFrame = field(repr=False)
    numbers: pd.DataFrame = field(repr=False)
    recipe: Recipe

    def tables(self) -> Sequence[Table]:
        """Facts, flow, tests, deviations and open assumptions."""
        flow = tuple(
            Column(name, kind="text" if name == "group" else "count") for name in self.flow
        )
        facts = (Column("topic"), Column("finding"))
        return (
            Table("facts", "The study on one page", facts, self.facts),
            Table("primary", "Primary comparison", _PRIMARY, self.primary),
            Table("flow", "Participants with a trial", flow, self.flow),
            Table("tests", "Every test that was run", _TESTS, self.tests),
            Table(
                "deviations",
                "Plan and conduct",
                (Column("topic"), Column("where"), Column("planned"), Column("actual"),
                 Column("people", kind="count")),
                self.deviations,
            ),
            Table(
                "open_assumptions",
                "Assumptions of the primary comparison that need a look or action",
                (Column("assumption"), Column("value", kind="whole", decimals=3), Column("grade"),
                 Column("finding"), Column("remedied", "with the remedy")),
                self.assumptions,
            ),
        )  # fmt: skip


_PRIMARY = (
    Column("outcome"),
    Column("test"),
    Column("group"),
    Column("reference"),
    Column("effect"),
    Column("estimate", kind="significant", decimals=3),
    Column("conf_low", "lower", "significant", decimals=3),
    Column("conf_high", "upper", "significant", decimals=3),
    Column("p", "p", "p"),
    Column("n_group", "n", "count"),
    Column("n_reference", "n reference", "count"),
)
_TESTS = (
    Column("outcome"),
    Column("phase"),
    Column("contrast"),
    Column("method"),
    Column("label"),
    Column("family"),
    Column("estimate", kind="significant", decimals=3),
    Column("conf_low", "lower", "significant", decimals=3),
    Column("conf_high", "upper", "significant", decimals=3),
    Column("p", "p", "p"),
    Column("p_adjusted", "p (Holm)", "p"),
)


HASH = "SHA-256 of "


def audit_study(study: Study | StudyAnalysis, *, seed: int = 0) -> StudyAudit:
    """Put a study on one page: plan, flow, tests, deviations, assumptions, versions, hashes.

    The page shows what :func:`motorlearn.analyse_study` answers and computes nothing of its own.
    Where the primary comparison cannot be computed it says why. No power is computed from what was
    observed: it would only restate p.

    Parameters
    ----------
    study : Study or StudyAnalysis
        A study that was read, or its analysis.
    seed : int
        Seed of remedies and variants that draw numbers, where a study is given.

    Raises
    ------
    InputError
        If the plan does not fit the data, as :func:`motorlearn.analyse_study` says.

    References
    ----------
    Hoenig, J. M. and Heisey, D. M. (2001). The American Statistician, 55, 19-24.
    doi:10.1198/000313001300339897, on power computed afterwards.
    """
    analysis = study if isinstance(study, StudyAnalysis) else page_analysis(study, seed=seed)
    audit = analysis.audit
    checked = None if isinstance(audit, Refused) else audit.table
    facts = {**_plan_facts(analysis.study), **_verdicts(analysis), **_made_of(analysis)}
    return StudyAudit(
        facts=pd.DataFrame({"topic": list(facts), "finding": list(facts.values())}),
        primary=analysis.primary,
        flow=_flow(analysis),
        tests=pd.DataFrame(list(_tests(analysis)), columns=list(TEST_COLUMNS)),
        deviations=analysis.departures,
        assumptions=_open(checked),
        numbers=pd.DataFrame(list(_numbers(analysis, checked)), columns=["name", "value"]),
        recipe=Recipe(
            "audit_study",
            n=len(analysis.table),
            seed=analysis.recipe.seed,
            left_out=analysis.recipe.left_out,
        ),
    )


def _open(checked: pd.DataFrame | None) -> pd.DataFrame:
    """Assumptions that are not fine."""
    if checked is None:
        names = ("assumption", "value", "grade", "finding", "remedied")
        return pd.DataFrame(columns=list(names))
    return checked[checked["grade"] != "fine"].reset_index(drop=True)


def _verdicts(analysis: StudyAnalysis) -> dict[str, str]:
    """What was judged, and what could not be computed."""
    found = {}
    if analysis.refused:
        found["primary comparison not computed"] = analysis.refused
    for topic, result in (
        ("assumptions", analysis.audit),
        ("sensitivity", analysis.sensitivity),
        ("assumptions of the mixed model", analysis.mixed_audit),
    ):
        if result is not None and not isinstance(result, Refused):
            found[topic] = result.verdict
    for name, comparison in analysis.comparisons.items():
        if isinstance(comparison, Refused) and not analysis.single_cases:
            found[f"not compared: {name}"] = comparison.reason
    return found


def _flow(analysis: StudyAnalysis) -> pd.DataFrame:
    """People of each group at each part of the study: ``group`` and a column for every part."""
    if analysis.single_cases:
        return flow_of_cases(analysis)
    flow = analysis.people.flow
    wide = flow.pivot_table(index="group", columns="stage", values="n", sort=False, aggfunc="first")
    wide = wide.reindex(columns=list(dict.fromkeys(flow["stage"]))).astype(int)
    wide.columns.name = None
    return wide.rename(columns={"Allocated": "allocated"}).reset_index()


def _tests(analysis: StudyAnalysis) -> Iterator[dict[str, Any]]:
    """Every test that was run, by name of its column."""
    for name, case in analysis.single_cases.items():
        for row in rows_of_case(case):
            entry = analysis.details[name]
            label = entry.role if row.pop("first") else "exploratory"
            yield test_row(
                entry, "all sessions", row.pop("contrast"), row.pop("method"), label, **row
            )
    for entry in analysis.details.values():
        comparison = entry.comparison
        if isinstance(comparison, Refused):
            continue
        for row in comparison.contrasts.itertuples():
            yield _contrast(analysis, entry, row)
        for row in comparison.effects.to_dict("records"):
            yield effect_row(analysis, entry, row)
        yield from joint_rows(analysis, entry)
        for row in comparison.paired.itertuples():
            yield _change(analysis, entry, row)
        for row in comparison.equivalence.itertuples():
            yield _bounded(analysis, entry, row)
        for row in comparison.anova.itertuples():
            over = "all phases" if analysis.design.anova.parts != "tests" else "all tests"
            yield test_row(entry, over, term_of(analysis, row.term),
                       "mixed analysis of variance", "exploratory", p=row.p_gg)  # fmt: skip
    yield from spread_rows(analysis)


def _numbers_of(row: Any) -> dict[str, float]:
    return {name: getattr(row, name) for name in ("estimate", "conf_low", "conf_high", "p")}


def _pair(row: Any) -> str:
    return pair_in_words(row.group, row.reference, row.effect)


def _contrast(analysis: StudyAnalysis, entry: OutcomeAnalysis, row: Any) -> dict[str, Any]:
    method = "ancova" if row.adjusted else "welch"
    label = _label(analysis, entry, row, method)
    at = own_name_of_test(analysis.design, str(row.phase))
    family = f"{entry.name} at {at}, {'adjusted' if row.adjusted else 'unadjusted'}"
    return test_row(
        entry,
        at,
        _pair(row),
        row.method,
        label,
        family="the primary test alone" if label == "primary" else family,
        p_adjusted=row.p_adjusted,
        **_numbers_of(row),
    )


def _label(analysis: StudyAnalysis, entry: OutcomeAnalysis, row: Any, method: str) -> str:
    """Role of a contrast: primary for the one row of the primary answer, else as planned."""
    main = analysis.primary.iloc[0]
    stage = analysis.question.primary_stage
    mine = stage is not None and row.phase == stage.name and entry.name == main["outcome"]
    mine = mine and (row.group, row.reference) == (main["group"], main["reference"])
    if analysis.design.primary is not None and mine and bool(row.adjusted) == analysis.adjusted:
        return "primary"
    phase = {stage.name: stage.phase for stage in analysis.stages}[str(row.phase)]
    planned = analysis_label(analysis.design, entry.name, phase, method)
    return "secondary" if planned == "primary" else planned


def _change(analysis: StudyAnalysis, entry: OutcomeAnalysis, row: Any) -> dict[str, Any]:
    """Change within one group; the primary answer of a study of one group is one of these."""
    main = analysis.question.primary_stage
    alone = len(analysis.question.groups) < 2 and entry.role == "primary"
    asked = alone and main is not None and (row.from_phase, row.to_phase) == entry.change_stages
    label = "primary" if asked and analysis.design.primary is not None else "exploratory"
    first, later = (own_name_of_test(analysis.design, n) for n in (row.from_phase, row.to_phase))
    contrast = f"{row.group}: {later} against {first}"
    return test_row(entry, later, contrast, row.method, label, **_numbers_of(row))


def _bounded(analysis: StudyAnalysis, entry: OutcomeAnalysis, row: Any) -> dict[str, Any]:
    """Two one-sided tests against the smallest effect of interest."""
    bounds = f"{digits.significant(row.bound_low)} to {digits.significant(row.bound_high)}"
    role = "secondary" if entry.role == "primary" else "exploratory"
    at = own_name_of_test(analysis.design, str(row.phase))
    contrast = f"{_pair(row)} within {bounds}"
    return test_row(entry, at, contrast, row.method, role, **_numbers_of(row))


def _plan_facts(study: Study) -> dict[str, str]:
    design = study.design
    primary = design.primary
    smallest = design.smallest_effect
    tests = [
        f"{test.phase} {test.name}".strip()
        + f"{f' after {digits.lapse(test.interval_days)}' if test.interval_days else ''}"
        for test in design.tests
    ]
    return {
        "study": design.study.title,
        "question": design.study.question or "not stated",
        "groups": ", ".join(f"{g.name} ({g.schedule})" for g in design.groups),
        "tests": ", ".join(tests),
        **units_of(design),
        "primary comparison": case_fact(design)
        if primary is None
        else f"{primary.outcome} at {primary.test or primary.phase}, {primary.effect}, "
        f"{primary_words(design) or 'all groups'}, baseline {primary.baseline}"
        + (f", covariates {', '.join(primary.covariates)}" if primary.covariates else ""),
        "smallest effect of interest": "none declared"
        if smallest is None
        else f"{_smallest(design)}: {smallest.reason or 'no reason given'}",
        "problems in the data": _problem_counts(study),
    }


def _smallest(design: Design) -> str:
    trials, smallest = hits_declared_of(design), smallest_effect_of(design)
    if trials and smallest:
        said = digits.significant(smallest * trials)
        return f"{said} hits of {trials} (a rate of {digits.significant(smallest)})"
    declared = design.smallest_effect

    if declared is not None and declared.in_sd:
        return declared.told
    return digits.significant(smallest)


def _problem_counts(study: Study) -> str:
    counts = study.problems["severity"].value_counts() if len(study.problems) else {}
    return ", ".join(count(n, str(name)) for name, n in counts.items()) or "none"


def _made_of(analysis: StudyAnalysis) -> dict[str, str]:
    design, seed = analysis.design, analysis.recipe.seed
    seeds = {"study": design.study.seed, "allocation": design.allocation.seed, "audit": seed}
    made = {
        "seeds": ", ".join(f"{of} {value}" for of, value in seeds.items() if value is not None),
        "python": platform.python_version(),
        **software_versions(),
    }
    return made | {f"{HASH}{name}": found for name, found in data_hashes(analysis.study).items()}


def data_hashes(study: Study) -> dict[str, str]:
    """SHA-256 of the files a study was read from, or of the trials where there are no files."""
    if study.folder is None:
        text = study.trials.table.to_csv(index=False)
        return {"trials in memory": hashlib.sha256(text.encode("utf-8")).hexdigest()}
    return study_sums(study)


def _numbers(
    analysis: StudyAnalysis, assumptions: pd.DataFrame | None
) -> Iterator[tuple[str, float]]:
    """Numbers that a later run of the same folder has to give again, by name."""
    for outcome, comparison in analysis.comparisons.items():
        if isinstance(comparison, PhaseComparison):
            yield from _of_comparison(outcome, comparison)
    main = analysis.primary.iloc[0]
    for name in ("estimate", "conf_low", "conf_high", "p", "g"):
        yield f"primary: {name}", float(main[name])
    if assumptions is not None:
        for row in assumptions.itertuples():
            yield f"{row.analysis}, {row.assumption}: value", float(row.value)


def _of_comparison(outcome: str, comparison: PhaseComparison) -> Iterator[tuple[str, float]]:
    for row in comparison.contrasts.itertuples():
        key = f"{outcome}, {row.phase}, {row.group} against {row.reference}"
        key += ", adjusted" if row.adjusted else ""
        for name in ("estimate", "p", "g"):
            yield f"{key}: {name}", float(getattr(row, name))
    for row in comparison.paired.itertuples():
        key = f"{outcome}, {row.group}, {row.from_phase} to {row.to_phase}"
        for name in ("estimate", "p"):
            yield f"{key}: {name}", float(getattr(row, name))
    for row in comparison.means.itertuples():
        yield f"{outcome}, {row.phase}, {row.group}: mean", float(row.mean)
