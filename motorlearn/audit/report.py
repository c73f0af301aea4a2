"""What an audit gives: one row per assumption, with its grade and the remedy run beside it."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from motorlearn import digits
from motorlearn.audit.guides import Guide
from motorlearn.exceptions import FitError
from motorlearn.results import Recipe, Result, register_record
from motorlearn.rows import Row, Schema
from motorlearn.tables import Column, Table
from motorlearn.vocabulary import GRADES, capitalised

AUDIT = Schema(
    (
        Column("analysis"),
        Column("assumption"),
        Column("diagnostic"),
        Column("value", kind="whole", decimals=3),
        Column("guide"),
        Column("source"),
        Column("grade"),
        Column("finding"),
        Column("remedy", "what to do"),
        Column("original", "as analysed"),
        Column("remedied", "with the remedy"),
        Column("conclusion_changes", "changes", "flag"),
    ),
    ("analysis", "assumption", "diagnostic", "value", "guide", "source", "grade", "remedy"),
)
REMEDIES = replace(
    AUDIT, shown=("analysis", "assumption", "original", "remedied", "conclusion_changes")
)
RESIDUALS = Schema(
    (
        Column("analysis"),
        Column("participant"),
        Column("group"),
        Column("phase"),
        Column("fitted", kind="number"),
        Column("residual", kind="number"),
    )
)


@dataclass(frozen=True)
class Conclusion:
    """One estimate as a reader takes it away: the effect, its interval and its p.

    ``null`` is the value that stands for no effect, 1 for a ratio.
    """

    label: str
    estimate: float
    conf_low: float
    conf_high: float
    p: float
    null: float = 0.0

    @property
    def text(self) -> str:
        """The conclusion in one line."""
        return _in_words(self)

    @property
    def direction(self) -> int:
        """1 or -1 where the interval or p excludes chance, 0 where it does not."""
        if not self.p < 0.05:
            return 0
        return 1 if self.estimate > self.null else -1


def no_conclusion(label: str, null: float = 0.0) -> Conclusion:
    """A conclusion that could not be computed."""
    nan = float("nan")
    return Conclusion(label, nan, nan, nan, nan, null=null)


@dataclass(frozen=True)
class Step:
    """One remedy as it was run; ``decides`` is False where it only shows a stress or a range."""

    name: str
    conclusions: tuple[Conclusion, ...]
    decides: bool = True


@dataclass(frozen=True)
class Remedy:
    """Remedies that were run beside the original analysis."""

    original: tuple[Conclusion, ...]
    steps: tuple[Step, ...]
    failed: str = ""

    @property
    def names(self) -> str:
        """What was run, in words."""
        return "; ".join(step.name for step in self.steps)

    @property
    def words(self) -> str:
        """What was run beside the original, or why nothing could be."""
        if self.failed:
            return f"The remedy could not be run: {self.failed}"
        return f"Run beside: {self.names}."

    @property
    def changes(self) -> bool:
        """Whether any conclusion differs: significance or direction."""
        return any(
            before.direction != after.direction
            for step in self.steps
            if step.decides
            for before, after in zip(self.original, step.conclusions, strict=True)
        )


@dataclass(frozen=True)
class Check:
    """One assumption that was checked."""

    assumption: str
    diagnostic: str
    value: float
    guide: Guide
    grade: str
    finding: str
    advice: str
    remedy: Remedy | None = None

    def row(self, analysis: str) -> Row:
        """Row of the audit table."""
        run = self.remedy or Remedy((), ())
        steps = (f"{step.name}: {_joined(step.conclusions)}" for step in run.steps)
        return AUDIT.row(
            analysis=analysis,
            assumption=self.assumption,
            diagnostic=self.diagnostic,
            value=float(self.value),
            guide=self.guide.text,
            source=self.guide.reference,
            grade=self.grade,
            finding=self.finding,
            remedy=f"{self.advice} {run.words}" if self.remedy else self.advice,
            original=_joined(run.original),
            remedied=" | ".join(steps),
            conclusion_changes=run.changes,
        )


def remedied(make: Callable[[], Remedy | None]) -> Remedy | None:
    """Run a remedy; one that cannot be fitted says why instead of ending the audit."""
    try:
        return make()
    except FitError as problem:
        return Remedy((), (), failed=str(problem))


def attempted(assumption: str, guide: Guide, make: Callable[[], Check]) -> Check:
    """Make a check; one that cannot be computed is a visible row that says why."""
    try:
        return make()
    except FitError as problem:
        return Check(assumption, "", float("nan"), guide, "look", f"Not computed: {problem}", "")


SELDOM, RARE = 0.05, 0.005
"""Chance below which a number beyond the guide needs a look, and below which it needs action."""


def judged(
    assumption: str,
    diagnostic: str,
    value: float,
    guide: Guide,
    finding: str,
    advice: str,
    *,
    chance: float | None = None,
    estimated: bool = False,
    remedy: Remedy | None = None,
) -> Check:
    """Grade a number by its guide; chance can lower the grade by one step, never raise it.

    Parameters
    ----------
    chance : float, optional
        How often data without the fault give a number as large. A number beyond ``act`` is only a
        ``look`` where chance gives it in more than one of two hundred studies (or cannot be told);
        a number beyond ``look`` is ``fine`` where chance gives it in one of twenty.
    estimated : bool
        Whether the number is a rate, a bias or a share of few events, estimated from few noisy
        scores: it is then ``fine`` wherever chance gives as much in one of twenty.
    """
    grade = guide.grade(value)
    lowered = grade
    if estimated and chance is not None and grade != "fine" and chance >= SELDOM:
        lowered = "fine"
    elif chance is not None and grade == "act" and not chance <= RARE:
        lowered = "look"
    elif chance is not None and grade == "look" and value == value and chance >= SELDOM:
        lowered = "fine"
    if not finding and lowered != "fine":
        finding = f"{capitalised(diagnostic)}: {digits.whole(value)}."
    if lowered != grade:
        finding = f"{finding} {_excuse(chance)}".strip()
    return Check(assumption, diagnostic, value, guide, lowered, finding, advice, remedy)


def _excuse(chance: float | None) -> str:
    if chance is None or chance != chance:
        return "Beyond the guide; how often chance gives as much could not be computed."
    return (
        "Beyond the guide, but chance alone gives as much in "
        f"{digits.percent(chance, 1)} of studies with so few data."
    )


def gravest(*checks: Check) -> Check:
    """The check with the gravest grade; the first of those that tie."""
    return max(checks, key=lambda check: GRADES.index(check.grade))


@register_record
@dataclass(frozen=True)
class Audit(Result):
    """Assumptions of a result, graded.

    Attributes
    ----------
    table : DataFrame
        ``analysis, assumption, diagnostic, value, guide, source, grade, finding, remedy, original,
        remedied, conclusion_changes``; one row per assumption and analysis.
    residuals : DataFrame
        What the diagnostic figure shows: ``analysis, participant, group, phase, fitted,
        residual``, residuals on the standard normal scale.
    verdict : str
        The whole in one sentence.
    recipe : Recipe
        What was audited, with options.
    """

    table: pd.DataFrame
    residuals: pd.DataFrame = field(repr=False)
    verdict: str
    recipe: Recipe

    def tables(self) -> Sequence[Table]:
        """The assumptions, then the remedies that were run."""
        first = AUDIT.table("assumptions", "Assumptions", self.table, (self.verdict, NOTE))
        run = self.table[self.table["original"] != ""]
        if run.empty:
            return (first,)
        return (first, REMEDIES.table("remedies", "Remedies run beside the original", run))

    @property
    def worst(self) -> str:
        """The gravest grade."""
        found = set(self.table["grade"])
        return next(grade for grade in reversed(GRADES) if grade in found or grade == "fine")


NOTE = (
    "Guides are customs, several of them arbitrary; a study may set its own under [[thresholds]]. "
    "No grade switches the model: a remedy stands beside the original. A conclusion changes where "
    "p crosses .05, uncorrected, or the direction turns."
)


def assemble(checks: Iterable[tuple[str, Check]], residuals: pd.DataFrame, recipe: Recipe) -> Audit:
    """Put checks together as an audit, analyses in the order given."""
    table = AUDIT.frame([check.row(analysis) for analysis, check in checks])
    return Audit(table, residuals, _verdict(table), recipe)


def _verdict(table: pd.DataFrame) -> str:
    counts = {grade: int((table["grade"] == grade).sum()) for grade in GRADES}
    parts = ", ".join(f"{count} {grade}" for grade, count in counts.items())
    text = f"{len(table)} checks: {parts}."
    flagged = table[table["grade"] != "fine"]
    changed = flagged[flagged["conclusion_changes"].astype(bool)]
    names = [f"{row.assumption} ({row.analysis})" for row in changed.itertuples()]
    if names:
        return f"{text} The conclusion changes with the remedy for: {'; '.join(names)}."
    if (flagged["original"] != "").any():
        return f"{text} No remedy of a flagged row changes a conclusion."
    return text


def _joined(conclusions: Sequence[Conclusion]) -> str:
    return "; ".join(conclusion.text for conclusion in conclusions)


def _in_words(conclusion: Conclusion) -> str:
    reach = digits.interval(conclusion.conf_low, conclusion.conf_high)
    interval = f" ({reach})" if np.isfinite(conclusion.conf_low) else ""
    p = f", {digits.p_clause(conclusion.p)}" if np.isfinite(conclusion.p) else ""
    return f"{conclusion.label} {digits.number(conclusion.estimate)}{interval}{p}"
