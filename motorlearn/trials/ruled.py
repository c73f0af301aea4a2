"""Exclusions and replacements that a plan declares, applied to the rows and accounted for.

Nothing is taken out of the table: an excluded row has the reason in ``void``, a replaced cell is
logged with what stood there, and :func:`as_recorded` puts it back.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.design import Condition, Design, Exclusion, Replacement, stage_column, stages_of
from motorlearn.exceptions import ColumnError
from motorlearn.trials.checking.problems import gather, problem_frame
from motorlearn.trials.counted import VOID, counted_rows
from motorlearn.trials.reading.standard import Standard
from motorlearn.trials.study import (
    EXCLUDED_COLUMNS,
    REPLACED_COLUMNS,
    Study,
    nothing_excluded,
    nothing_replaced,
)
from motorlearn.vocabulary import CHANGE_COLUMNS, TEST_PHASES

REPLACED = "replaced as the plan says"
"""Rule of a change that a replacement of the plan made."""

_PLACES = ("session", "block", "trial")


@dataclass(frozen=True)
class Ruled:
    """Trials after the rules of the plan.

    Parameters
    ----------
    standard : Standard
        The rows, with the log of changes.
    problems : DataFrame
        One entry for each rule: what it touched, or that it touches nothing.
    excluded, replaced : DataFrame
        As in :class:`motorlearn.trials.Trials`.
    beyond : ndarray of bool
        Rows that a rule about session, block or trial leaves out: they are no planned trials.
    """

    standard: Standard
    problems: pd.DataFrame
    excluded: pd.DataFrame
    replaced: pd.DataFrame
    beyond: NDArray[np.bool_]

    @property
    def reasons(self) -> tuple[str, ...]:
        """Reasons that the plan wrote into ``void``."""
        return tuple(self.excluded["reason"])


def apply_rules(standard: Standard, design: Design) -> Ruled:
    """Apply exclusions, then replacements, in the order of the plan.

    Raises
    ------
    ColumnError
        If a rule names a column that the trials do not have.
    """
    beyond = np.zeros(len(standard.sheet.table), dtype=bool)
    rules = [rule for rule in design.exclusions if rule.is_applied]
    if not (rules or design.replacements) or standard.sheet.table.empty:
        return Ruled(standard, gather([]), nothing_excluded(), nothing_replaced(), beyond)
    _columns_are_there(standard, design)
    table = standard.sheet.table.copy()
    stage = _stages(table, design)
    problems, excluded = [], []
    fits = {rule.rule: _fits(rule, rule.column, table, stage, design) for rule in rules}
    for rule in rules:
        rows = fits[rule.rule]
        _void(table, rows, rule.reason)
        if rule.column in _PLACES:
            beyond |= rows
        excluded.append(_excluded(rule, table, rows))
        problems.append(_said(rule, table, rows, standard))
    replaced = []
    for entry in design.replacements:
        done, left = _replace(entry, table, stage, design)
        replaced.append(done)
        problems.append(_told(entry, done, left, standard))
    logged = pd.concat([nothing_replaced(), *replaced], ignore_index=True)
    _distances(table, logged)
    sheet = replace(standard.sheet, table=table)
    changes = pd.concat([standard.changes, _changes(standard, logged)], ignore_index=True)
    changed = replace(standard, sheet=sheet, changes=changes)
    frame = pd.DataFrame(excluded, columns=list(EXCLUDED_COLUMNS))
    return Ruled(changed, gather(problems), frame, logged, beyond)


def as_recorded(study: Study, rule: str | None = None) -> Study:
    """The study with every replaced value as it was recorded; exclusions stay.

    Parameters
    ----------
    study : Study
        A study that was read.
    rule : str, optional
        Put back what this rule replaced only, as ``study.trials.replaced`` calls it.

    Returns
    -------
    Study
        The same study where nothing was replaced.

    Examples
    --------
    >>> import motorlearn as ml
    >>> study = ml.read_study(ml.trials.shipped_study())
    >>> as_recorded(study) is study
    True
    """
    log = study.trials.replaced
    log = log[log["line"].isin(study.trials.table.index) & (rule is None or log["rule"] == rule)]
    if log.empty:
        return study
    table = study.trials.table.copy()
    for column, part in log.groupby("column", sort=False):
        first = part.drop_duplicates("line")
        table.loc[first["line"].to_numpy(), column] = first["before"].astype("float").to_numpy()
    _distances(table, log)
    kept = study.trials.replaced.drop(index=log.index).reset_index(drop=True)
    trials = replace(study.trials, table=table, replaced=kept)
    return replace(study, trials=trials)


def planned_rows(study: Study) -> pd.DataFrame:
    """Trials without those that an exclusion by session, block or trial leaves out.

    They are what people did beyond the plan, such as optional free practice.

    Examples
    --------
    >>> import motorlearn as ml
    >>> study = ml.read_study(ml.trials.shipped_study())
    >>> len(planned_rows(study)) == len(study.trials.table)
    True
    """
    table = study.trials.table
    rules = [rule for rule in study.design.exclusions if rule.column in _PLACES]
    if not rules or VOID not in table:
        return table
    return table[~table[VOID].isin([rule.reason for rule in rules])]


def rows_of_rule(
    rule: Condition, column: str, table: pd.DataFrame, design: Design
) -> NDArray[np.bool_]:
    """Trials that a rule means, whether they count or not."""
    return _fits(rule, column, table, _stages(table, design), design)


def declared_values(design: Design) -> dict[str, frozenset[float]]:
    """Sizes of values that rules of the plan speak of, by column: nobody asks about them again."""
    found: dict[str, set[float]] = {}
    rules: tuple[Exclusion | Replacement, ...] = (*design.exclusions, *design.replacements)
    for rule in rules:
        numbers = {rule.equals, rule.value if isinstance(rule, Replacement) else None}
        known = {abs(number) for number in numbers if number is not None}
        found.setdefault(rule.column, set()).update(known)
    return {name: frozenset(values) for name, values in found.items()}


def _columns_are_there(standard: Standard, design: Design) -> None:
    needed = [rule.column for rule in design.exclusions if rule.column]
    needed += [rule.column for rule in design.replacements]
    absent = [name for name in dict.fromkeys(needed) if not standard.sheet.has(name)]
    if absent:
        raise ColumnError(
            "an exclusion or replacement of the plan names a column the trials do not have",
            absent,
            f"they have {', '.join(map(str, standard.sheet.table.columns))}",
        )


def _stages(table: pd.DataFrame, design: Design) -> pd.Series:
    """Part of the study of each row, by the name of its test where it has one."""
    if "phase" not in table:
        return pd.Series("", index=table.index, dtype="str")
    own = {s.name: s.test.name for s in stages_of(design) if s.test is not None and s.test.name}
    stage = stage_column(table, design)
    return stage.replace(own) if own else stage


def _fits(
    rule: Condition, column: str, table: pd.DataFrame, stage: pd.Series, design: Design
) -> NDArray[np.bool_]:
    """Rows that a rule means."""
    rows = np.ones(len(table), dtype=bool)
    if rule.phases:
        phase = table.get("phase", stage).astype("str")
        named = set(rule.phases)
        if "tests" in named:
            named |= set(TEST_PHASES)
        rows &= (phase.isin(named) | stage.isin(named)).to_numpy()
    if rule.participants:
        rows &= table["participant"].astype("str").isin(rule.participants).to_numpy()
    if rule.looks_at_cells:
        rows &= _cells(rule, table[column])
    return rows


def _cells(rule: Condition, cells: pd.Series) -> NDArray[np.bool_]:
    numbers = pd.to_numeric(cells, errors="coerce").to_numpy(dtype=float)
    fits = np.zeros(len(cells), dtype=bool)
    if rule.missing:
        fits |= cells.isna().to_numpy() | (cells.astype("str").str.strip() == "").to_numpy()
    if rule.equals is not None:
        fits |= numbers == rule.equals
    if rule.above is not None:
        fits |= numbers > rule.above
    if rule.below is not None:
        fits |= numbers < rule.below
    return fits


def _void(table: pd.DataFrame, rows: NDArray[np.bool_], reason: str) -> None:
    """Write the reason where a row counts still."""
    fresh = rows & counted_rows(table)
    if VOID not in table:
        table[VOID] = pd.Series(pd.NA, index=table.index, dtype="str")
    table[VOID] = table[VOID].astype("str").mask(pd.Series(fresh, index=table.index), reason)


def _excluded(
    rule: Exclusion, table: pd.DataFrame, rows: NDArray[np.bool_]
) -> tuple[str, str, str, int, int]:
    where = ", ".join(rule.phases) or "everywhere"
    people = table.loc[rows, "participant"].nunique()
    return rule.rule, rule.reason, where, int(people), int(rows.sum())


def _said(
    rule: Exclusion, table: pd.DataFrame, rows: NDArray[np.bool_], standard: Standard
) -> pd.DataFrame:
    known = set(table["participant"].dropna().astype("str"))
    nobody = [name for name in rule.participants if name not in known]
    found = []
    if nobody:
        found.append(
            problem_frame(
                "exclusion names nobody",
                severity="error",
                file=standard.sheet.file,
                value=f"{rule.rule}: {', '.join(nobody)}",
                advice="no trial belongs to this participant; correct exclusions.participants in "
                "study.toml",
            )
        )
    elif not rows.any():
        found.append(_nothing("exclusion touches nothing", rule.rule, standard))
    if rows.any():
        people = table.loc[rows, "participant"].nunique()
        where = f" ({', '.join(rule.phases)})" if rule.phases else ""
        found.append(
            problem_frame(
                "excluded as the plan says",
                severity="note",
                file=standard.sheet.file,
                value=f"{_count(rows.sum(), 'row')} of {_count(people, 'participant')}: "
                f"{rule.rule}{where}",
                advice="in the table, with the reason in void; not scored",
            )
        )
    return gather(found)


def _replace(
    rule: Replacement, table: pd.DataFrame, stage: pd.Series, design: Design
) -> tuple[pd.DataFrame, int]:
    """Put values in place; gives the log, and how many cells stay for want of a value."""
    rows = _fits(rule, rule.column, table, stage, design) & counted_rows(table)
    cells = table[rule.column].astype("float")
    own = cells.where(counted_rows(table) & ~rows).groupby([table["participant"], stage])
    if rule.take is None:
        wanted = pd.Series(float(rule.value or 0.0), index=table.index)
        if rule.sign:
            wanted = wanted.abs() * np.sign(own.transform("mean"))
    else:
        wanted = own.transform(_statistic(rule, design))
    known = rows & wanted.notna().to_numpy()
    before = cells[known]
    table[rule.column] = cells.mask(pd.Series(known, index=table.index), wanted)
    log = pd.DataFrame(
        {
            "line": table.index[known],
            "participant": table.loc[known, "participant"].to_numpy(),
            "phase": stage[known].to_numpy(),
            "column": rule.column,
            "before": before.to_numpy(),
            "after": wanted[known].to_numpy(),
            "rule": rule.told,
            "reason": rule.reason,
        },
        columns=list(REPLACED_COLUMNS),
    )
    return log, int((rows & ~known).sum())


def _statistic(rule: Replacement, design: Design) -> str:
    if rule.take == "worst":
        outcome = design.outcome(rule.column)
        return "max" if outcome is not None and outcome.better == "lower" else "min"
    return {"largest": "max", "smallest": "min", "mean": "mean"}[str(rule.take)]


def _told(rule: Replacement, done: pd.DataFrame, left: int, standard: Standard) -> pd.DataFrame:
    found = []
    if done.empty and not left:
        found.append(_nothing("replacement touches nothing", rule.told, standard))
    if len(done):
        people = _count(done["participant"].nunique(), "participant")
        found.append(
            problem_frame(
                REPLACED,
                severity="note",
                file=standard.sheet.file,
                column=standard.sheet.column(rule.column),
                value=f"{_count(len(done), 'cell')} of {people}: {rule.told}",
                advice="each is in the list of changes; the sensitivity table has the answer "
                "without it",
            )
        )
    if left:
        found.append(
            problem_frame(
                "nothing to replace by",
                severity="doubt",
                file=standard.sheet.file,
                column=standard.sheet.column(rule.column),
                value=f"{_count(left, 'cell')}: {rule.told}",
                advice="the person has no value at that test to take; the cells stay as they are",
            )
        )
    return gather(found)


def _nothing(rule: str, name: str, standard: Standard) -> pd.DataFrame:
    return problem_frame(
        rule,
        severity="doubt",
        file=standard.sheet.file,
        value=name,
        advice="no row fits it; look at its phases, column and condition in study.toml",
    )


def _distances(table: pd.DataFrame, log: pd.DataFrame) -> None:
    """Radial errors follow a landing point that was replaced, where both stand in the table."""
    moved = log.loc[log["column"].isin(["x", "y"]), "line"].unique()
    if len(moved) and {"x", "y", "radial_error"} <= set(table):
        table.loc[moved, "radial_error"] = np.hypot(table.loc[moved, "x"], table.loc[moved, "y"])


def _changes(standard: Standard, log: pd.DataFrame) -> pd.DataFrame:
    """The log as changes of cells of the file."""
    sheet = standard.sheet
    places = sheet.table.index.get_indexer(log["line"].to_numpy()) if len(log) else []
    frame = pd.DataFrame(
        {
            "file": sheet.file,
            "sheet": sheet.sheet if isinstance(sheet.sheet, str) else sheet.sheet[places],
            "row": pd.array(sheet.rows[places], dtype="Int64") if len(log) else [],
            "column": [sheet.column(name) for name in log["column"]],
            "before": [_shown(value) for value in log["before"]],
            "after": [_shown(value) for value in log["after"]],
            "rule": [f"{REPLACED}: {reason}" for reason in log["reason"]],
        },
        columns=list(CHANGE_COLUMNS),
    )
    return frame.astype({"row": "Int64"})


def _shown(value: float) -> str:
    return "" if pd.isna(value) else f"{value:g}"


def _count(number: int, one: str) -> str:
    return f"{number} {one if number == 1 else one + 's'}"
