"""From a table to the arrays of a population: what is used, what is left out, what is refused."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from motorlearn.curves.forms import Form
from motorlearn.curves.options import check_column, check_labels, check_table
from motorlearn.curves.population.layout import Layout
from motorlearn.curves.population.learners import Learners
from motorlearn.curves.single.rows import as_numbers, check_hits, check_size, hit_or_miss
from motorlearn.exceptions import InputError
from motorlearn.trials.counted import set_aside_void

ROWS = {"asymptote": 0, "gain": 1, "start": 1, "amount": 1, "rate": 2, "log_rate": 2}


def vary_rows(vary: Sequence[str]) -> tuple[int, ...]:
    """Places of the parameters that vary between learners."""
    names = (vary,) if isinstance(vary, str) else vary
    if not isinstance(names, list | tuple | set | frozenset):
        raise InputError("vary must name parameters", [vary], "as ('asymptote', 'rate')")
    unknown = [name for name in names if not isinstance(name, str) or name not in ROWS]
    if unknown:
        raise InputError(
            "there is no such parameter to vary",
            unknown,
            "choose among asymptote, gain or start, rate",
        )
    rows = tuple(sorted({ROWS[name] for name in names}))
    if not rows:
        raise InputError(
            "at least one parameter must vary between learners",
            remedy="use fit_curve for a curve without variation",
        )
    return rows


SHORT = {
    "outcome": "y",
    "practice": "n",
    "participant": "who",
    "group": "group",
    "attempts": "trials",
    "session": "session",
}
"""Short name of each kind of column."""


def usable_table(table: Any, columns: dict[str, str]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Usable rows under short names, and what was left out; ``columns`` names them by kind."""
    wanted = {SHORT[kind]: name for kind, name in columns.items()}
    outcome, participant = columns["outcome"], columns["participant"]
    group = columns.get("group")
    _check_columns(table, wanted)
    labels = ("who", "group", "session")
    check_labels(table, [wanted[short] for short in labels if short in wanted])
    table = table.set_axis(np.arange(1, len(table) + 1))
    table, void = set_aside_void(table, participant=participant, group=group)
    rows = table.index
    frame = pd.DataFrame({short: table[name].to_numpy() for short, name in wanted.items()})
    if group and isinstance(table[group].dtype, pd.CategoricalDtype):
        frame["group"] = table[group].array
    for short in ("y", "n", "trials"):
        if short in frame:
            what, hits = f"column {wanted[short]!r}", short == "y"
            frame[short] = as_numbers(frame[short], what, hits=hits, rows=rows)
    _check_values(frame, wanted, rows)
    if "group" not in frame:
        frame["group"] = ""
    _refuse_two_groups(frame)
    frame, left_out = _with_outcome(frame, void)
    if not len(frame):
        raise InputError(f"column {outcome!r} has no values")
    _refuse_no_curve(frame, columns)
    if "trials" not in frame and hit_or_miss(frame["y"].to_numpy()):
        frame["trials"] = 1.0
    if "trials" in frame:
        check_hits(frame["y"].to_numpy(), frame["trials"].to_numpy())
    else:
        _refuse_copies(frame)
    return frame, left_out


def _with_outcome(frame: pd.DataFrame, void: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Rows that have an outcome, and what was left out."""
    missing = frame["y"].isna().to_numpy()
    if not missing.any():
        return frame, void
    gone = frame[missing].groupby(["who", "group"], sort=False, observed=True).size()
    left_out = gone.rename("rows").reset_index().rename(columns={"who": "participant"})
    left_out.insert(2, "reason", "missing outcome")
    left_out = pd.concat([void, left_out], ignore_index=True) if len(void) else left_out
    return frame[~missing].reset_index(drop=True), left_out


def _refuse_no_curve(frame: pd.DataFrame, columns: dict[str, str]) -> None:
    """Refuse scores or practice counts that are all the same."""
    if "trials" not in frame and frame["y"].nunique() == 1:
        raise InputError(
            f"every score in column {columns['outcome']!r} is the same, so there is no curve",
            [frame["y"].iloc[0]],
            "report the score: there is no change",
        )
    if frame["n"].nunique() == 1:
        raise InputError(
            f"column {columns['practice']!r} is the same everywhere, so there is no curve",
            [frame["n"].iloc[0]],
            "give the number of each trial or block",
        )


def _check_columns(table: Any, wanted: dict[str, str]) -> None:
    if not isinstance(table, pd.DataFrame):
        raise InputError("the table must be a DataFrame", [type(table).__name__])
    words = {"y": "the outcome", "n": "practice", "who": "participant", "trials": "attempts"}
    words |= {"group": "group", "session": "session"}
    for short, name in wanted.items():
        check_column(name, words.get(short, short))
    check_table(table, list(wanted.values()), "the curve needs")


def _check_values(frame: pd.DataFrame, wanted: dict[str, str], rows: pd.Index) -> None:
    if not len(frame):
        raise InputError("the table has no rows that count: every one is void")
    outcome, practice = wanted["y"], wanted["n"]
    unknown = rows[~np.isfinite(frame["n"].to_numpy())]
    if unknown.size:
        raise InputError(f"column {practice!r} is missing or infinite in rows", unknown)
    infinite = rows[np.isinf(frame["y"].to_numpy())]
    if infinite.size:
        raise InputError(
            f"column {outcome!r} is infinite in rows", infinite, "mark missing outcomes as empty"
        )
    check_size(frame["y"].to_numpy(), f"column {outcome!r}: numbers")
    check_size(frame["n"].to_numpy(), f"column {practice!r}: numbers")


def _refuse_copies(frame: pd.DataFrame) -> None:
    """Refuse scores that stand twice by mistake; several trials of a block pass."""
    same = frame.groupby(["who", "n"], sort=False)["y"].transform("size")
    named = ["who", "n", "y"]
    copies = frame.groupby(named, sort=False)["y"].transform("size")
    lonely = (same == 1).mean() > 0.5
    wrong = frame[copies > 1] if lonely else frame[(copies % 2 == 0).all() & (copies > 1)]
    if len(wrong):
        said = [f"{row.who} at {row.n:g}" for row in wrong.drop_duplicates(named).itertuples()]
        raise InputError("rows stand more than once", said, "remove the copies")


def _refuse_two_groups(frame: pd.DataFrame) -> None:
    who, names = pd.factorize(frame["who"])
    group = pd.factorize(frame["group"])[0]
    pairs = np.unique(who * (group.max() + 1) + group) // (group.max() + 1)
    several = np.unique(pairs[1:][pairs[1:] == pairs[:-1]])
    if several.size:
        raise InputError("participants belong to more than one group", list(names[several]))


def learner_arrays(
    frame: pd.DataFrame, form: Form, first: float, start: bool
) -> tuple[Learners, pd.DataFrame, tuple[str, ...], np.ndarray | None]:
    """Padded arrays, one learner a row: learners as they appear, groups by category or sorted.

    The last are codes of sessions, where the table names them.
    """
    code, who = pd.factorize(frame["who"])
    groups = _levels(frame["group"])
    order = np.argsort(code, kind="stable")
    begins = np.r_[0, np.cumsum(np.bincount(code))]
    place = np.empty(len(code), int)
    place[order] = np.arange(len(code)) - begins[code[order]]
    shape = (len(who), int(place.max()) + 1)

    def padded(values: np.ndarray, fill: float = 0.0) -> np.ndarray:
        array = np.full(shape, fill)
        array[code, place] = values
        return array

    n = padded(frame["n"].to_numpy(), np.nan)
    n = np.where(np.isnan(n), n[:, :1], n)
    lookup = {name: k for k, name in enumerate(groups)}
    own = np.array([lookup[name] for name in frame["group"].to_numpy()[order[begins[:-1]]]])
    trials = padded(frame["trials"].to_numpy()) if "trials" in frame else None
    used = padded(np.ones(len(frame)))
    data = Learners(form, n, padded(frame["y"].to_numpy()), used, own, first, start, trials)
    names = pd.DataFrame({"participant": who, "group": [str(groups[k]) for k in own]})
    session = None
    if "session" in frame:
        session = padded(pd.factorize(frame["session"])[0].astype(float), -1.0).astype(int)
    return data, names, tuple(str(name) for name in groups), session


def _levels(groups: pd.Series) -> list[Any]:
    if isinstance(groups.dtype, pd.CategoricalDtype):
        present = set(groups.unique())
        return [level for level in groups.cat.categories if level in present]
    return sorted(set(groups.tolist()), key=lambda level: (isinstance(level, str), level))


def refuse_too_few(data: Learners, layout: Layout, groups: Sequence[str]) -> None:
    """Refuse groups of one learner, and more variation than any learner has rows for."""
    members = np.bincount(data.group, minlength=layout.groups)
    short = [groups[k] or "all" for k in np.flatnonzero(members < 2).tolist()]
    if short:
        raise InputError("a population curve needs at least two learners in each group", short)
    if data.rows.max() <= len(layout.vary):
        raise InputError(
            "no learner has more rows than parameters that vary between learners",
            [int(data.rows.max())],
            "let fewer parameters vary",
        )
    first = data.y[:, :1]
    if data.trials is None and np.all((data.y == first) | (data.used == 0)):
        raise InputError(
            "every learner's scores are all the same, so that nobody changes with practice and "
            "there is no spread within a learner to judge by",
            np.unique(first)[:3].tolist(),
            "report the level of each learner",
        )
