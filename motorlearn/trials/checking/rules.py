"""Rules that any table of trials must keep, whatever the plan says."""

from collections.abc import Callable
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.trials.checking.problems import gather
from motorlearn.trials.checking.restarts import begins_anew, numbering_begins_anew
from motorlearn.trials.checking.signs import labels_too_long, labels_with_unseen_signs
from motorlearn.trials.counted import counted_rows
from motorlearn.trials.reading.identifiers import near_duplicates
from motorlearn.trials.reading.sheet import Sheet, cell_codes, codes, first_lines
from motorlearn.vocabulary import COLUMNS, PHASES, TEST_PHASES

OUTCOMES: Final = ("hit", "hits", "error", "x", "y", "radial_error", "time", "speed", "score")
"""Standard columns that hold a result of a trial."""

DUPLICATE: Final = "duplicate trial"
_PLACE_COLUMNS: Final = ("participant", "phase", "test", "session", "block", "trial")
_RATING_COLUMNS: Final = ("task", "clip", "position", "occasion", "rater", "item")


def check_rules(
    sheet: Sheet,
    *,
    feedback_allowed: tuple[str, ...] = (),
    phases: tuple[str, ...] = (),
    by_plan: tuple[str, ...] = (),
) -> pd.DataFrame:
    """Check a sheet against every rule that needs no plan; all problems together.

    Parameters
    ----------
    sheet : Sheet
        What was read.
    feedback_allowed : tuple of str
        Tests that are given with feedback.
    phases : tuple of str
        Phases of the plan, where there is one: it speaks about phases then.
    by_plan : tuple of str
        Reasons in ``void`` that exclusions of the plan wrote; their rows may have outcomes.
    """
    found = [rule(sheet) for rule in _RULES]
    found.append(void_trials(sheet, by_plan))
    found.append(feedback_in_tests(sheet, feedback_allowed))
    if not phases:
        found.append(unknown_phases(sheet))
    return gather(found)


def missing_identifiers(sheet: Sheet) -> pd.DataFrame:
    """Find rows that belong to nobody."""
    lines = np.flatnonzero(sheet.table["participant"].isna())
    return sheet.problems(
        "no participant",
        lines,
        column="participant",
        values="",
        severity="error",
        advice=f"fill in whose {_what(sheet)} this is; the row is kept and counts for nobody",
    )


def _what(sheet: Sheet) -> str:
    """What a row of a sheet holds."""
    return "rating" if sheet.has("rater") else "trial"


def impossible_values(sheet: Sheet) -> pd.DataFrame:
    """Find numbers outside the limits of their column, and counts that are not whole."""
    found = []
    for name, meaning in COLUMNS.items():
        if meaning.lower is None or not sheet.has(name):
            continue
        values = sheet.table[name].to_numpy(dtype=float)
        wrong = values < meaning.lower
        if meaning.upper is not None:
            wrong |= values > meaning.upper
        if meaning.kind in ("count", "flag"):
            wrong |= np.isfinite(values) & (values != np.floor(values))
        found.append(
            sheet.problems(
                "impossible value",
                np.flatnonzero(wrong),
                column=name,
                severity="error",
                advice=f"{meaning.meaning}: {_limits(name)}; nothing was altered",
            )
        )
    return gather(found)


def hits_above_attempts(sheet: Sheet) -> pd.DataFrame:
    """Find more hits than attempts, and hits without a number of attempts."""
    if not sheet.has("hits"):
        return gather([])
    if not sheet.has("attempts"):
        return sheet.problem(
            "hits without attempts",
            severity="doubt",
            column="hits",
            advice="add a column 'attempts' with the number of attempts of each row",
        )
    hits = sheet.table["hits"].to_numpy(dtype=float)
    attempts = sheet.table["attempts"].to_numpy(dtype=float)
    above = np.flatnonzero(hits > attempts)
    alone = np.flatnonzero(np.isfinite(hits) & np.isnan(attempts))
    return gather(
        [
            sheet.problems(
                "hits above attempts",
                above,
                column="hits",
                values=[f"{hits[line]:g} of {attempts[line]:g}" for line in above],
                severity="error",
                advice="check hits and attempts on the original sheet",
            ),
            sheet.problems(
                "hits without attempts",
                alone,
                column="hits",
                severity="error",
                advice="fill in how many attempts these hits were out of",
            ),
        ]
    )


def groups_constant(sheet: Sheet) -> pd.DataFrame:
    """Find participants that appear in more than one group, on the first row of each group."""
    if not sheet.has("group"):
        return gather([])
    table = sheet.table
    people, groups = codes(table["participant"]), codes(table["group"])
    pairs = np.where((people >= 0) & (groups >= 0), cell_codes(table, ["participant", "group"]), -1)
    lines = first_lines(pairs)
    counts = np.bincount(people[lines], minlength=1)
    wrong = np.sort(lines[counts[people[lines]] > 1])
    names = table["participant"].to_numpy()[wrong]
    labels = table["group"].to_numpy()[wrong]
    return sheet.problems(
        "participant in two groups",
        wrong,
        column="group",
        values=[f"{name} in {label}" for name, label in zip(names, labels, strict=True)],
        severity="error",
        advice="find out which group the person was allocated to, or whether two people share "
        "an identifier",
    )


def duplicate_trials(sheet: Sheet) -> pd.DataFrame:
    """Find trials or ratings that are there twice; every row after the first is reported."""
    names = trial_key(sheet.table)
    if "participant" not in names or len(names) < 2:
        return gather([])
    cells = cell_codes(sheet.table, names)
    known = sheet.table["participant"].notna().to_numpy()
    again = np.flatnonzero(pd.Series(cells).duplicated().to_numpy() & known)
    if not len(again):
        return gather([])
    if begins_anew(sheet.table, again):
        return numbering_begins_anew(sheet, again)
    first = first_lines(cells)[cells[again]]
    whole = cell_codes(sheet.table, list(sheet.table.columns))
    same = whole[again] == whole[first]
    differ = "values differ, which is right?"
    if 2 * len(again) >= len(sheet.table) and not same.any():
        differ = "values differ; rows of several raters belong in ratings.csv"
    ends = np.where(same, "pasted twice?", differ)
    rows = pd.Series(sheet.rows[first]).astype("str")
    advice = "the same as row " + rows + ": " + pd.Series(ends, dtype="str")
    place, *inner = (sheet.table[name].iloc[again].astype("str").fillna("–") for name in names)
    numbered = "score" if sheet.has("rater") else "trial"
    return sheet.problems(
        f"duplicate {_what(sheet)}",
        again,
        column=numbered if sheet.has(numbered) else "participant",
        values=place.str.cat(inner, sep=", "),
        severity="error",
        advice=advice,
    )


def trial_key(table: pd.DataFrame) -> list[str]:
    """Columns that together name one trial (or one set of attempts) of this table.

    The task belongs to the key where trials carry no number, or are numbered within tasks.
    """
    names = [name for name in _PLACE_COLUMNS if name in table.columns]
    if "rater" in table.columns:
        return names + [name for name in _RATING_COLUMNS if name in table.columns]
    further = ["task"] if "task" in table.columns else []
    if "trial" not in names:
        return names + further
    if "task" in further and _numbered_within_tasks(table, names):
        return [*names, "task"]
    return names


def unknown_phases(sheet: Sheet) -> pd.DataFrame:
    """Find phases that are no standard ones, once each."""
    if not sheet.has("phase"):
        return gather([])
    return unknown_labels(
        sheet,
        "phase",
        PHASES,
        rule="unknown phase",
        severity="doubt",
        advice="standard phases are " + ", ".join(PHASES) + "; map codes with levels",
    )


def unknown_labels(
    sheet: Sheet, column: str, known: tuple[str, ...], *, rule: str, severity: str, advice: str
) -> pd.DataFrame:
    """Find labels that are not among the known ones, each on its first row with its count."""
    numbers, labels = pd.factorize(sheet.table[column])
    strange = [place for place, label in enumerate(labels) if label not in known]
    if not strange:
        return gather([])
    lines = first_lines(numbers)[strange]
    counts = np.bincount(numbers[numbers >= 0], minlength=len(labels))[strange]
    return sheet.problems(
        rule,
        lines,
        column=column,
        severity=severity,
        advice=[f"{advice} (rows: {count})" for count in counts],
    )


def feedback_in_tests(sheet: Sheet, allowed: tuple[str, ...] = ()) -> pd.DataFrame:
    """Find trials of a test that are marked with augmented feedback."""
    if not sheet.has("feedback", "phase"):
        return gather([])
    tests = [phase for phase in TEST_PHASES if phase not in allowed]
    given = sheet.table["feedback"].to_numpy(dtype=float) == 1
    lines = np.flatnonzero(given & sheet.table["phase"].isin(tests).to_numpy())
    return sheet.problems(
        "feedback in a test",
        lines,
        column="feedback",
        values=list(sheet.table["phase"].to_numpy()[lines]),
        severity="error",
        advice="a test of learning is given without feedback; check the record, or say in the "
        "plan that this test had feedback",
    )


def radial_errors_agree(sheet: Sheet) -> pd.DataFrame:
    """Find radial errors that are not the distance of the landing point from the centre."""
    if not sheet.has("x", "y", "radial_error"):
        return gather([])
    x, y, given = (sheet.table[name].to_numpy(dtype=float) for name in ("x", "y", "radial_error"))
    distance = np.hypot(x, y)
    step = 10.0 ** -min(_decimals(x), _decimals(y), _decimals(given))
    lines = np.flatnonzero(np.abs(distance - given) > 1.5 * step + 1e-9 * distance)
    return sheet.problems(
        "radial error contradicts landing point",
        lines,
        column="radial_error",
        values=[f"{given[line]:g} instead of {distance[line]:.4g}" for line in lines],
        severity="error",
        advice="check x, y and the radial error, and their units",
    )


def void_trials(sheet: Sheet, by_plan: tuple[str, ...] = ()) -> pd.DataFrame:
    """Find void trials that nevertheless have an outcome."""
    if not sheet.has("void"):
        return gather([])
    names = [name for name in OUTCOMES if sheet.has(name)]
    void = ~counted_rows(sheet.table) & ~sheet.table["void"].isin(by_plan).to_numpy()
    filled = sheet.table[names].notna().any(axis=1).to_numpy() if names else np.zeros_like(void)
    return sheet.problems(
        f"void {_what(sheet)} with an outcome",
        np.flatnonzero(void & filled),
        column="void",
        severity="doubt",
        advice="empty the outcome, or the reason, so that one of them speaks",
    )


def constant_outcomes(sheet: Sheet) -> pd.DataFrame:
    """Find outcomes that never vary, in the whole file."""
    found = []
    for name in OUTCOMES:
        if not sheet.has(name) or len(sheet.table) < 2:
            continue
        values = sheet.table[name].dropna()
        if len(values) > 1 and values.nunique() == 1:
            found.append(
                sheet.problem(
                    "outcome never varies",
                    severity="doubt",
                    column=name,
                    value=values.iloc[0],
                    advice="nothing can be compared on it; check that the column was filled in",
                )
            )
        elif len(values) == 0:
            found.append(
                sheet.problem(
                    "outcome is empty",
                    severity="doubt",
                    column=name,
                    advice="no row has a value here",
                )
            )
    return gather(found)


def _limits(name: str) -> str:
    meaning = COLUMNS[name]
    if meaning.kind == "flag":
        return "must be 0 or 1"
    whole = "a whole number, " if meaning.kind == "count" else ""
    if meaning.upper is not None:
        return f"must be {whole}between {meaning.lower:g} and {meaning.upper:g}"
    return f"must be {whole}at least {meaning.lower:g}"


def _decimals(values: np.ndarray) -> int:
    sample = values[np.isfinite(values)][:2000]
    for places in range(7):
        if np.allclose(sample, np.round(sample, places), rtol=0, atol=1e-9):
            return places
    return 7


def _numbered_within_tasks(table: pd.DataFrame, names: list[str]) -> bool:
    repeated = pd.Series(cell_codes(table, names)).duplicated().mean()
    if repeated < 0.3:
        return False
    within = pd.Series(cell_codes(table, [*names, "task"])).duplicated().mean()
    return bool(within < 0.5 * repeated)


def near_duplicate_identifiers(sheet: Sheet) -> pd.DataFrame:
    """Find identifiers that may be the same person written differently."""
    numbers, labels = pd.factorize(sheet.table["participant"])
    pairs = near_duplicates([str(label) for label in labels])
    lines = first_lines(numbers)
    return sheet.problems(
        "near-duplicate identifiers",
        lines[[place for place, _ in pairs]].astype(int) if pairs else np.empty(0, dtype=int),
        column="participant",
        severity="doubt",
        advice=[
            f"resembles {', '.join(repr(str(labels[other])) for other in others)}: one person or "
            "two? Nothing was merged"
            for _, others in pairs
        ],
    )


def identifiers_like_missing(sheet: Sheet) -> pd.DataFrame:
    """Find identifiers that other programs would read as a missing value."""
    numbers, labels = pd.factorize(sheet.table["participant"])
    words = {"na", "nan", "n/a", "null", "none", "-", ".", "true", "false", "inf"}
    strange = [place for place, label in enumerate(labels) if str(label).lower() in words]
    return sheet.problems(
        "identifier like a missing value",
        first_lines(numbers)[strange].astype(int),
        column="participant",
        severity="doubt",
        advice="kept as an identifier; other programs may drop this person, so choose another",
    )


_RULES: Final[tuple[Callable[[Sheet], pd.DataFrame], ...]] = (
    missing_identifiers,
    impossible_values,
    hits_above_attempts,
    groups_constant,
    duplicate_trials,
    radial_errors_agree,
    constant_outcomes,
    near_duplicate_identifiers,
    identifiers_like_missing,
    labels_with_unseen_signs,
    labels_too_long,
)
