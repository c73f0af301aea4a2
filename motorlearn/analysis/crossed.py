"""A study of two factors: cells from its columns, covariates, the row of its primary effect."""

import math
from collections.abc import Sequence

import pandas as pd

from motorlearn.analysis.questions import Question
from motorlearn.compare import PhaseComparison, pair_in_words
from motorlearn.compare.crossing import INTERACTION, JOINT, MAIN, labels_of
from motorlearn.design import Design, joint_term, levels_by_group, primary_levels
from motorlearn.exceptions import InputError
from motorlearn.trials import Study
from motorlearn.vocabulary import CROSSED


def with_covariates(table: pd.DataFrame, study: Study) -> pd.DataFrame:
    """Trials with the covariates that the plan names, from the file of participants if need be.

    Raises
    ------
    InputError
        If a covariate is neither a column of the trials nor of the participants.
    """
    primary, people = study.design.primary, study.participants
    wanted = primary.covariates if primary is not None else ()
    absent = [name for name in wanted if name not in table]
    lacking = [name for name in absent if people is None or name not in people]
    if lacking:
        raise InputError(
            "a covariate of the plan is in no file",
            lacking,
            "add the column to the file of participants, or correct primary.covariates",
        )
    for name in absent:
        assert people is not None
        known = people.drop_duplicates("participant").set_index("participant")[name]
        table = table.assign(**{name: table["participant"].map(known)})
    return table


def with_columns(rows: pd.DataFrame, table: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    """Rows with columns that describe people, taken from a table that has them."""
    for name in names:
        if name not in rows:
            known = table[["participant", name]].dropna().drop_duplicates("participant")
            known = known.set_index("participant")[name]
            rows = rows.assign(**{name: rows["participant"].map(known)})
    return rows


def with_cells_of_factors(table: pd.DataFrame, design: Design) -> pd.DataFrame:
    """Trials with a group in every row, where the file has columns of the factors instead.

    Raises
    ------
    InputError
        If a row holds a level that the plan does not have.
    """
    names = [factor.name for factor in design.factors]
    if not names or "group" in table or not set(names) <= set(table):
        return table
    of_levels = {tuple(own.values()): group for group, own in levels_by_group(design).items()}
    for factor in design.factors:
        found = table[factor.name].astype("str").unique()
        unknown = sorted(set(found) - set(factor.levels))
        if unknown:
            raise InputError(
                f"column {factor.name!r} holds what is no level of that factor",
                unknown,
                f"the plan has {', '.join(factor.levels)}; correct the rows or the plan",
            )
    levels = table[names].astype("str").itertuples(index=False)
    return table.assign(group=[of_levels[tuple(row)] for row in levels])


def effect_row(comparison: PhaseComparison, question: Question, stage: str) -> pd.Series | None:
    """The planned main effect or interaction at a test, adjusted where that was done.

    Of more than one number it is the joint test (:func:`joint_row`). Its
    ``group`` and ``reference`` are levels, or for an interaction the two differences, in words.
    """
    primary = question.design.primary
    if primary is None or not primary.factors:
        return None
    if joint_term(question.design):
        return joint_row(comparison, question.design, stage)
    rows = comparison.effects
    rows = rows[rows["phase"] == stage]
    if rows["adjusted"].any():
        rows = rows[rows["adjusted"]]
    if len(primary.factors) == 2:
        rows = rows[rows["kind"] == INTERACTION]
    else:
        level, reference = primary_levels(question.design) or ("", "")
        rows = rows[(rows["kind"] == MAIN) & (rows["term"] == primary.factors[0])]
        same = (rows["group"] == level) & (rows["reference"] == reference)
        reversed_ = (rows["group"] == reference) & (rows["reference"] == level)
        rows = rows[same] if same.any() else turned(rows[reversed_])
    if rows.empty:
        return None
    row = rows.iloc[0].copy()
    row["pair"] = pair_in_words(row["group"], row["reference"], row["effect"])
    row["group"], row["reference"] = labels_of(row)
    return row


def turned(rows: pd.DataFrame) -> pd.DataFrame:
    """The same contrasts, or tests of them, the other way round."""
    other = rows.copy()
    ratio = rows["effect"] == "ratio"
    swapped = [("group", "reference"), ("n_group", "n_reference"), ("p_low", "p_high")]
    for name in ("estimate", "conf_low", "conf_high"):
        other[name] = (1 / rows[name]).where(ratio, -rows[name])
    other[["conf_low", "conf_high"]] = other[["conf_high", "conf_low"]].to_numpy()
    for name in ("statistic", "g"):
        if name in rows:
            other[name] = -rows[name]
    if "g_low" in rows:
        other["g_low"], other["g_high"] = -rows["g_high"], -rows["g_low"]
    for one, two in swapped:
        if one in rows:
            other[one], other[two] = rows[two], rows[one]
    return other


_NO_NUMBER = ("estimate", "std_error", "conf_low", "conf_high", "g", "g_low", "g_high")


def joint_row(comparison: PhaseComparison, design: Design, stage: str) -> pd.Series | None:
    """The F test of the planned term at a test, adjusted where that was done.

    ``statistic`` is F and ``df`` its residual degrees of freedom; ``df1`` and ``partial_eta2``
    stand beside. There is no estimate: contrasts and simple effects are in the table of effects.
    """
    term = joint_term(design)
    tests = comparison.omnibus
    tests = tests[(tests["phase"] == stage) & (tests["term"] == term)]
    effects = comparison.effects
    effects = effects[(effects["phase"] == stage) & (effects["term"] == term)]
    if tests.empty or effects.empty:
        return None
    # The test of cell means comes first, the adjusted one after it.
    adjusted = bool(effects["adjusted"].any())
    row = tests.iloc[-1].copy()
    mine = effects[effects["adjusted"] == adjusted]
    found = pd.isna(row["p"])
    names = {factor.name: factor.words for factor in design.factors}
    values: dict[str, object] = {
        **dict.fromkeys(_NO_NUMBER, math.nan),
        "kind": INTERACTION if ":" in term else MAIN,
        "factor": "",
        "at": "",
        "at_reference": "",
        "group": CROSSED.join(names[name] for name in term.split(":")),
        "reference": "",
        "effect": JOINT,
        "adjusted": adjusted,
        "df": row["df2"],
        "n_group": people_of_cells(comparison, stage, adjusted=adjusted),
        "n_reference": 0,
        "reason": str(mine["reason"].iloc[0]) if found else "",
    }
    for name, value in values.items():
        row[name] = value
    return row


def people_of_cells(comparison: PhaseComparison, stage: str, *, adjusted: bool) -> int:
    """People that the means of the cells at a test rest on."""
    means = comparison.marginal_means
    mine = means[(means["phase"] == stage) & (means["adjusted"] == adjusted)]
    if mine.empty:
        return 0
    return int(mine.loc[mine["factor"] == mine["factor"].iloc[0], "n"].sum())
