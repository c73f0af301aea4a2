"""Rules that hold between the trials, the participants and the ratings of a study."""

import numpy as np
import pandas as pd

from motorlearn.design import Design
from motorlearn.trials.checking.problems import gather, problem_frame
from motorlearn.trials.checking.rules import unknown_labels
from motorlearn.trials.counted import counted_rows, void_reasons
from motorlearn.trials.reading.identifiers import plain_identifier
from motorlearn.trials.reading.sheet import Sheet, codes, first_lines


def check_people(people: Sheet, design: Design) -> pd.DataFrame:
    """Check the file of participants by itself and against the plan."""
    found = [_listed_once(people)]
    if people.has("group") and design.within is None:
        found.append(
            unknown_labels(
                people,
                "group",
                design.group_names,
                rule="group not in the plan",
                severity="error",
                advice=f"the plan has {', '.join(design.group_names)}",
            )
        )
    if len(people.table) == 1:
        found.append(
            problem_frame(
                "only one participant",
                severity="error",
                file=people.file,
                value=people.table["participant"].iloc[0],
                advice="a single person can be described, not compared",
            )
        )
    return gather(found)


def check_same_people(
    trials: Sheet, people: Sheet, *, source: str = "", within: bool = False
) -> pd.DataFrame:
    """Check that trials (or ratings) belong to listed participants, in their group."""
    listed = set(people.table["participant"].dropna())
    plain: dict[str, list[str]] = {}
    for name in listed:
        plain.setdefault(plain_identifier(name), []).append(name)
    numbers, labels = pd.factorize(trials.table["participant"])
    strange = [place for place, label in enumerate(labels) if label not in listed]
    advice = [_who(str(labels[place]), plain) for place in strange]
    found = [
        trials.problems(
            "participant not in the list",
            first_lines(numbers)[strange].astype(int),
            column="participant",
            severity="error",
            advice=advice,
        )
    ]
    if source != "ratings":
        found.append(_without_trials(trials, people))
    if source != "ratings" and not within:
        found.append(_groups_agree(trials, people))
    return gather(found)


def left_out(
    table: pd.DataFrame, outcome: str, *, phases: tuple[str, ...] = (), group: str = "group"
) -> pd.DataFrame:
    """List what an analysis of an outcome leaves out, by participant and reason.

    Parameters
    ----------
    table : DataFrame
        Trials in standard columns.
    outcome : str
        Column that is analysed; an empty value is left out, and void trials by their reason.
    phases : tuple of str, optional
        Phases each participant needs; one without an outcome there is listed with 0 rows.
    group : str
        Column of groups.

    Returns
    -------
    DataFrame
        ``participant, group, reason, rows``.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"participant": ["p1", "p1", "p2"], "group": ["a", "a", "b"],
    ...     "phase": ["pretest", "retention", "pretest"], "time": [9.1, None, 8.0],
    ...     "void": [None, "stopped clock", None]})
    >>> left_out(table, "time", phases=("retention",)).values.tolist()
    [['p1', 'a', 'void: stopped clock', 1], ['p1', 'a', 'no retention', 0], \
['p2', 'b', 'no retention', 0]]
    """
    names = ["participant", "group", "reason", "rows"]
    labels = table[group] if group in table.columns else pd.Series("", index=table.index)
    empty = table[outcome].isna() | ~counted_rows(table)
    void = void_reasons(table)
    reasons = pd.Series(np.where(void != "", void, "no outcome"), table.index, dtype="object")
    keys = [table["participant"], labels.rename("group"), reasons.rename("reason")]
    rows = table[empty].groupby([key[empty] for key in keys], sort=True, dropna=False).size()
    listed = [rows.rename("rows").reset_index()]
    for phase in phases:
        have = set(table.loc[~empty & (table["phase"] == phase), "participant"])
        who = pd.DataFrame({"participant": table["participant"], "group": labels})
        who = who[~who["participant"].isin(have)].drop_duplicates("participant")
        listed.append(who.assign(reason=f"no {phase}", rows=0))
    joined = pd.concat(listed, ignore_index=True)[names]
    return joined.sort_values("participant", kind="stable", ignore_index=True)


def add_groups(trials: pd.DataFrame, people: pd.DataFrame) -> pd.DataFrame:
    """Give each trial the group its participant is listed with, where trials have none."""
    groups = people.drop_duplicates("participant").set_index("participant")["group"]
    place = list(trials.columns).index("participant") + 1
    joined = trials.copy()
    joined.insert(place, "group", trials["participant"].map(groups).astype("str"))
    return joined


def _who(name: str, plain: dict[str, list[str]]) -> str:
    near = plain.get(plain_identifier(name), [])
    hint = f"did you mean {near[0]!r}? " if near else ""
    return hint + "add the person to the list, or correct the identifier"


def _listed_once(people: Sheet) -> pd.DataFrame:
    again = people.table["participant"].duplicated() & people.table["participant"].notna()
    return people.problems(
        "participant listed twice",
        np.flatnonzero(again),
        column="participant",
        severity="error",
        advice="each person has one row; remove one of them, or correct the identifier",
    )


def _without_trials(trials: Sheet, people: Sheet) -> pd.DataFrame:
    have = set(trials.table["participant"].dropna().unique())
    lines = np.flatnonzero(~people.table["participant"].isin(have))
    return people.problems(
        "participant without trials",
        lines,
        column="participant",
        severity="note",
        advice="counted as allocated and lost; give the reason in the study's record",
    )


def _groups_agree(trials: Sheet, people: Sheet) -> pd.DataFrame:
    if not (trials.has("group") and people.has("group")):
        return gather([])
    listed = people.table.drop_duplicates("participant").set_index("participant")["group"]
    lines = first_lines(codes(trials.table["participant"]))
    table = trials.table.iloc[lines]
    expected = table["participant"].map(listed)
    wrong = (expected.notna() & table["group"].notna() & (expected != table["group"])).to_numpy()
    who = zip(table["participant"][wrong], table["group"][wrong], expected[wrong], strict=True)
    return trials.problems(
        "participant in two groups",
        lines[wrong],
        column="group",
        values=[f"{name} in {here}, listed in {there}" for name, here, there in who],
        severity="error",
        advice="the trials and the list of participants disagree; find out which is right",
    )
