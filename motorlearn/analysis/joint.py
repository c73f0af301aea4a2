"""The primary effect of factors that is one joint test and no single number."""

import math

import pandas as pd

from motorlearn.compare import PhaseComparison
from motorlearn.compare.crossing import INTERACTION, JOINT, MAIN
from motorlearn.design import Design, joint_term

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
        "group": " x ".join(names[name] for name in term.split(":")),
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
