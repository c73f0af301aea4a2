"""One page on a study: what was planned, who is in it, every test, whether to believe it."""

import hashlib
import platform
from collections.abc import Sequence
from dataclasses import dataclass, field
from importlib.metadata import version

import numpy as np
import pandas as pd

import motorlearn
from motorlearn import digits
from motorlearn.audit.front import check_assumptions
from motorlearn.audit.sensitivity.table import sensitivity
from motorlearn.compare import PhaseComparison, compare_phases
from motorlearn.design import Outcome, stage_column, stages_of
from motorlearn.exceptions import InputError, RefusedError
from motorlearn.plan.deviations import analysis_label, compare_with_plan
from motorlearn.results import Recipe, Result
from motorlearn.tables import Column, Table
from motorlearn.trials import Study, study_sums

PACKAGES = ("numpy", "scipy", "pandas")

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
    flow : DataFrame
        ``group, allocated`` and one column per test: participants with a score.
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
            Table("flow", "Participants with a score", flow, self.flow),
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


def audit_study(study: Study, *, seed: int = 0) -> StudyAudit:
    """Put a study on one page: plan, flow, tests, deviations, assumptions, versions, hashes.

    Every outcome of the plan is compared between groups at every test, adjusted for the planned
    baseline. No power is computed from what was observed: it would only restate p.

    Parameters
    ----------
    study : Study
        A study that was read.
    seed : int
        Seed of remedies and variants that draw numbers.

    Raises
    ------
    InputError
        If no outcome of the plan can be compared.

    References
    ----------
    Hoenig, J. M. and Heisey, D. M. (2001). The American Statistician, 55, 19-24.
    doi:10.1198/000313001300339897, on power computed afterwards.
    """
    compared, refused = _comparisons(study)
    if not compared:
        raise InputError(
            "no outcome of the plan can be compared between phases",
            [*refused],
            "; ".join(refused.values()),
        )
    primary = study.design.primary
    name = (
        primary.outcome
        if primary is not None and primary.outcome in compared
        else next(iter(compared))
    )
    comparison = compared[name]
    phase = _primary_phase(study, comparison)
    checked = check_assumptions(comparison, study=study, phases=[phase], seed=seed)
    grouped = len(comparison.contrasts) > 0
    variants = sensitivity(comparison, study=study, phase=phase, seed=seed) if grouped else None
    tests = _tests(study, compared)
    verdicts = {"assumptions": checked.verdict}
    if variants is not None:
        verdicts["sensitivity"] = variants.verdict
    facts = {**_plan_facts(study), **verdicts, **_made_of(study, seed)}
    facts |= {f"not compared: {outcome}": reason for outcome, reason in refused.items()}
    open_rows = checked.table[checked.table["grade"] != "fine"]
    return StudyAudit(
        facts=pd.DataFrame({"topic": list(facts), "finding": list(facts.values())}),
        flow=_flow(study, comparison),
        tests=tests,
        deviations=compare_with_plan(study).table,
        assumptions=open_rows.reset_index(drop=True),
        numbers=_numbers(compared, checked.table),
        recipe=Recipe("audit_study", n=len(study.trials.table), seed=seed,
                      left_out=comparison.recipe.left_out),
    )  # fmt: skip


def _comparisons(study: Study) -> tuple[dict[str, PhaseComparison], dict[str, str]]:
    compared, refused = {}, {}
    table = study.trials.table
    table = table.assign(phase=stage_column(table, study.design))
    for outcome in study.design.outcomes:
        try:
            compared[outcome.name] = _compare(study, table, outcome)
        except (InputError, RefusedError) as problem:
            refused[outcome.name] = str(problem)
    return compared, refused


def _compare(study: Study, table: pd.DataFrame, outcome: Outcome) -> PhaseComparison:
    design, primary = study.design, study.design.primary
    present = set(table["phase"].dropna())
    tests = [stage.name for stage in stages_of(design) if stage.name in present]
    baseline = primary.baseline if primary is not None else "pretest"
    own = primary if primary is not None and primary.outcome == outcome.name else None
    groups = [name for name in design.group_names if name in set(table["group"].dropna())]
    named = primary.groups if primary is not None else ()
    column, attempts = outcome.name, None
    if column in ("hit", "hits", "hit_rate") and {"hits", "attempts"} <= set(table.columns):
        column, attempts = "hits", "attempts"
    return compare_phases(
        table,
        column,
        group="group" if len(groups) > 1 else None,
        phases=tests,
        baseline=baseline if baseline in tests else None,
        effect=own.effect if own is not None else "difference",
        variance=own.variance if own is not None else "equal",
        better=outcome.better,
        attempts=attempts,
        groups=groups if len(groups) > 1 else None,
        reference=named[1] if len(named) > 1 and named[1] in groups else None,
        pairs="reference" if named else "all",
    )


def _primary_phase(study: Study, comparison: PhaseComparison):
    phases = comparison.recipe.options["phases"]
    primary, of = study.design.primary, _phase_of(study)
    planned = [phase for phase in phases if primary is not None and of[phase] == primary.phase]
    return planned[-1] if planned else phases[-1]


def _phase_of(study: Study) -> dict[str, str]:
    """Phase of every test; a phase that is given twice has two tests."""
    return {stage.name: stage.phase for stage in stages_of(study.design)}


def _tests(study: Study, compared: dict[str, PhaseComparison]) -> pd.DataFrame:
    rows, of = [], _phase_of(study)
    for outcome, comparison in compared.items():
        for row in comparison.contrasts.itertuples():
            rows.append(_test_row(study, outcome, row, of[str(row.phase)]))
        for row in comparison.anova.itertuples():
            rows.append(
                (outcome, "all phases", row.term, "mixed analysis of variance", "exploratory",
                 "", np.nan, np.nan, np.nan, row.p_gg, np.nan)
            )  # fmt: skip
    return pd.DataFrame(rows, columns=list(TEST_COLUMNS))


def _test_row(study: Study, outcome: str, row, phase: str) -> tuple:
    method = "ancova" if row.adjusted else "welch"
    label = analysis_label(study.design, outcome, phase, method)
    planned = study.design.primary.groups if study.design.primary is not None else ()
    if label == "primary" and planned and {row.group, row.reference} != set(planned):
        label = "secondary"
    family = f"{outcome} at {row.phase}, {'adjusted' if row.adjusted else 'unadjusted'}"
    sign = "/" if row.effect == "ratio" else "−"
    return (
        outcome,
        str(row.phase),
        f"{row.group} {sign} {row.reference}",
        row.method,
        label,
        family,
        row.estimate,
        row.conf_low,
        row.conf_high,
        row.p,
        row.p_adjusted,
    )


def _plan_facts(study: Study) -> dict[str, str]:
    design = study.design
    primary = design.primary
    smallest = design.smallest_effect
    tests = [
        f"{test.phase}{f' after {_days(test.interval_days)}' if test.interval_days else ''}"
        for test in design.tests
    ]
    return {
        "study": design.study.title,
        "question": design.study.question or "not stated",
        "groups": ", ".join(f"{g.name} ({g.schedule})" for g in design.groups),
        "tests": ", ".join(tests),
        "unit allocated": f"{design.allocation.unit}, by {design.allocation.method}",
        "unit analysed": "participant: one score per person and test",
        "primary comparison": "none declared"
        if primary is None
        else f"{primary.outcome} at {primary.phase}, {primary.effect}, "
        f"{' against '.join(primary.groups) or 'all groups'}, baseline {primary.baseline}",
        "smallest effect of interest": "none declared"
        if smallest is None
        else f"{digits.significant(smallest.value)}: {smallest.reason or 'no reason given'}",
        "problems in the data": _problem_counts(study),
    }


def _days(days: float) -> str:
    return f"{days:g} {'day' if days == 1 else 'days'}"


def _problem_counts(study: Study) -> str:
    counts = study.problems["severity"].value_counts() if len(study.problems) else {}
    return ", ".join(f"{count} {name}" for name, count in counts.items()) or "none"


def _made_of(study: Study, seed: int) -> dict[str, str]:
    design = study.design
    made = {
        "seeds": f"study {design.study.seed}, allocation {design.allocation.seed}, audit {seed}",
        "motorlearn": motorlearn.__version__,
        "python": platform.python_version(),
        **{name: version(name) for name in PACKAGES},
    }
    return made | {f"{HASH}{name}": found for name, found in data_hashes(study).items()}


def data_hashes(study: Study) -> dict[str, str]:
    """SHA-256 of the files a study was read from, or of the trials where there are no files."""
    if study.folder is None:
        text = study.trials.table.to_csv(index=False)
        return {"trials in memory": hashlib.sha256(text.encode("utf-8")).hexdigest()}
    return study_sums(study)


def _flow(study: Study, comparison: PhaseComparison) -> pd.DataFrame:
    people = study.participants
    if people is None:
        people = comparison.scores.drop_duplicates("participant")
    allocated = people.drop_duplicates("participant")["group"].astype(str).value_counts()
    counts = pd.crosstab(comparison.scores["group"].astype(str), comparison.scores["phase"])
    flow = counts.reindex(columns=list(comparison.recipe.options["phases"]), fill_value=0)
    if "group" not in comparison.recipe.columns:
        allocated = pd.Series({flow.index[0]: int(allocated.sum())})
    flow.insert(0, "allocated", allocated.reindex(flow.index).fillna(0).astype(int))
    flow.columns.name = None
    return flow.rename_axis("group").reset_index()


def _numbers(compared: dict[str, PhaseComparison], assumptions: pd.DataFrame) -> pd.DataFrame:
    rows = []
    for outcome, comparison in compared.items():
        for row in comparison.contrasts.itertuples():
            key = f"{outcome}, {row.phase}, {row.group} against {row.reference}"
            key += ", adjusted" if row.adjusted else ""
            rows += [
                (f"{key}: {name}", float(getattr(row, name))) for name in ("estimate", "p", "g")
            ]
        for row in comparison.means.itertuples():
            rows.append((f"{outcome}, {row.phase}, {row.group}: mean", float(row.mean)))
    for row in assumptions.itertuples():
        rows.append((f"{row.analysis}, {row.assumption}: value", float(row.value)))
    return pd.DataFrame(rows, columns=["name", "value"])
