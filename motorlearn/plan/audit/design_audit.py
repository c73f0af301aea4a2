"""The audit of a plan: each hole with reason, consequence and fix."""

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from motorlearn.design import Design
from motorlearn.plan.arguments import a_plan
from motorlearn.plan.audit import (
    finds,
    holes_of_comparison,
    holes_of_conditions,
    holes_of_conduct,
    holes_of_groups,
    holes_of_tests,
    holes_of_timing,
)
from motorlearn.plan.audit.hole import Hole
from motorlearn.plan.audit.holes_of_single_cases import of_single_case
from motorlearn.plan.power.prior_effects import age_notes, orders_compared
from motorlearn.results import Recipe, Result
from motorlearn.tables import Column, Table

RULES = (
    *holes_of_tests.RULES,
    *holes_of_timing.RULES,
    *holes_of_comparison.RULES,
    *holes_of_groups.RULES,
    *holes_of_conditions.RULES,
    *finds.RULES,
    *holes_of_conduct.RULES,
)
_COLUMNS = ["topic", "grade", "where", "reason", "consequence", "fix", "source"]


@dataclass(frozen=True)
class DesignAudit(Result):
    """What a plan cannot show, and how to mend it.

    Parameters
    ----------
    table : DataFrame
        ``topic, grade, where, reason, consequence, fix, source``; the grave ones (``act``) first.
    finds : DataFrame
        One row, what the plan can find from its own numbers: ``outcome, phase, n, smallest_effect,
        power, detectable, unit, reliability, reliability_baseline, correlation``; empty where
        sizes, assumptions or the comparison are missing.
    statements : tuple of str
        Sentences on what the study as planned can find and cannot show.
    recipe : Recipe
        How the audit was made; ``n`` is the number of rules that were asked.
    """

    table: pd.DataFrame
    finds: pd.DataFrame
    statements: tuple[str, ...]
    recipe: Recipe

    def tables(self) -> Sequence[Table]:
        """The holes of the plan."""
        columns = tuple(Column(name) for name in _COLUMNS)
        title = f"Holes in the plan: {len(self.table)} ({self.recipe.n} rules were asked)"
        holes = Table("design_audit", title, columns, self.table, self.statements)
        if self.finds.empty:
            return (holes,)
        shown = (
            Column("outcome"),
            Column("phase"),
            Column("n", "people"),
            Column("smallest_effect", "smallest effect", "significant"),
            Column("power", kind="number"),
            Column("detectable", "found with 80 %", "significant"),
            Column("unit"),
            Column("reliability", kind="number"),
            Column("reliability_baseline", "at baseline", "number"),
            Column("correlation", "of the two tests", "number"),
        )
        return (holes, Table("finds", "What this plan can find", shown, self.finds))

    def __str__(self) -> str:
        lines = [self.tables()[0].title, ""]
        for hole in self.table.itertuples():
            lines += [
                f"[{hole.grade}] {hole.topic} ({hole.where})",
                f"    reason       {hole.reason}",
                f"    consequence  {hole.consequence}",
                f"    fix          {hole.fix}",
                f"    source       {hole.source}",
                "",
            ]
        return "\n".join([*lines, *self.statements])


def audit_design(design: Design) -> DesignAudit:
    """List every hole in a plan, with reason, consequence and fix.

    Parameters
    ----------
    design : Design
        The plan.

    Returns
    -------
    DesignAudit
        ``act`` marks holes because of which the question cannot be answered as planned, ``look``
        those that make the answer poorer.

    Examples
    --------
    >>> from motorlearn.design import design_from_mapping
    >>> plan = design_from_mapping({
    ...     "study": {"title": "Ring push"},
    ...     "groups": [{"name": "programme"}],
    ...     "practice": [{"session": 1, "day": 0, "trials_per_block": 60}],
    ...     "tests": [{"phase": "posttest", "trials": 20, "interval_days": 0}],
    ...     "outcomes": [{"name": "hits", "better": "higher"}],
    ... })
    >>> audit = audit_design(plan)
    >>> audit.table.loc[audit.table["grade"] == "act", "topic"].tolist()[:3]
    ['no pretest', 'no delayed test', 'one group']
    """
    design = a_plan(design)
    holes = of_single_case(design, [hole for rule in RULES for hole in rule(design)])
    ranked = sorted(holes, key=lambda hole: hole.grade != "act")
    table = pd.DataFrame([vars(hole) for hole in ranked], columns=_COLUMNS).astype("str")
    found = finds.finds(design)
    return DesignAudit(
        table=table,
        finds=pd.DataFrame([] if found is None else [vars(found)], columns=finds.COLUMNS),
        statements=(*_own_statements(design, found), *_statements(holes)),
        recipe=Recipe("audit_design", n=len(RULES)),
    )


def _own_statements(design: Design, found: finds.Finds | None) -> list[str]:
    said = "" if found is None else finds.sentence(found)
    primary = design.primary
    of_age: tuple[str, ...] = ()
    if primary is not None and len(orders_compared(design)) > 1:
        of_age = age_notes(primary.phase, design.sample)
    said_of = (said, holes_of_groups.statement(design), holes_of_timing.next_allocation(design))
    return [text for text in (*said_of, *of_age) if text]


def _statements(holes: list[Hole]) -> tuple[str, ...]:
    """Say in sentences what the study cannot show."""
    topics = {hole.topic for hole in holes}
    said = {
        "no pretest": "Without a pretest this study cannot show how much anybody learned.",
        "one group": (
            "With one group this study cannot show that the programme, and not repeated testing, "
            "maturation or regression to the mean, made the change."
        ),
        "progress tests": (
            "Tests inside the programme are progress tests: they cannot show learning."
        ),
        "no delayed test": "Without a delayed test this study can show performance only.",
        "speed not recorded": (
            "Without speed this study cannot tell better accuracy from slower trials."
        ),
        "hits only": "Counts of hits from one short test cannot show that one person changed.",
        "no random allocation": (
            "Without random allocation a difference between groups cannot be put down to practice."
        ),
    }
    return tuple(sentence for topic, sentence in said.items() if topic in topics)
