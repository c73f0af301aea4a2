"""Assumptions of the analysis of one athlete to five."""

from collections.abc import Iterator

import numpy as np
from scipy import stats

from motorlearn import digits
from motorlearn.audit.context import Context
from motorlearn.audit.report import Check, judged
from motorlearn.compare import SingleCase
from motorlearn.results import Refused


def single_case_checks(result: SingleCase, context: Context) -> Iterator[Check]:
    """Was it drawn, are there enough sessions, do neighbours depend, was A drifting already."""
    yield _drawn(result, context)
    yield _sessions(result, context)
    yield _neighbours(result, context)
    if result.design != "alternating":
        yield _drift(result, context)


def _drawn(result: SingleCase, context: Context) -> Check:
    test = result.test
    if isinstance(test, Refused):
        return judged(
            "conditions were drawn by lot, as the plan says",
            "smallest p that the draw can give",
            1.0,
            context.guide("smallest p"),
            f"There is no randomisation test: {test.reason}",
            "Tell the phases as they are; draw the start points of the next study by lot.",
        )
    return judged(
        "conditions were drawn by lot, as the plan says",
        "smallest p that the draw can give",
        test.smallest_p,
        context.guide("smallest p"),
        f"The conditions could have been drawn in {test.assignments} ways.",
        "Allow more start points, or add athletes, in the next study; this one cannot be "
        "significant at 5 % if the smallest p is above.",
    )


def _sessions(result: SingleCase, context: Context) -> Check:
    fewest = result.phases.loc[result.phases["n"].idxmin()]
    return judged(
        "every phase has enough sessions to show level, trend and spread",
        "sessions of the shortest phase",
        float(fewest["n"]),
        context.guide("sessions of a phase"),
        f"{fewest['case']}, {fewest['condition']}: {int(fewest['n'])} sessions.",
        "Read the graph and not the indices; plan longer phases.",
    )


def _neighbours(result: SingleCase, context: Context) -> Check:
    rows = result.neighbours.dropna(subset=["corrected"])
    if rows.empty:
        worst, said = float("nan"), "Serial dependence cannot be told from these sessions."
    else:
        row = rows.loc[rows["corrected"].abs().idxmax()]
        worst = abs(float(row["corrected"]))
        said = (
            f"{row['case']}: lag-1 correlation {digits.number(float(row['lag_one']))}, "
            f"{digits.number(float(row['corrected']))} with its bias taken out, from "
            f"{int(row['pairs'])} pairs of sessions."
        )
    return judged(
        "sessions that follow each other are no more alike than others",
        "largest lag-1 correlation, bias taken out",
        worst,
        context.guide("lag one"),
        said,
        "Intervals are widened by the dependence found, which few sessions hardly show; rely on "
        "the randomisation test, which needs no independence.",
    )


def _drift(result: SingleCase, context: Context) -> Check:
    """Trend of the first phase that goes where B is expected to go."""
    sign = 1.0 if result.better == "higher" else -1.0
    shares, chances = [], []
    for case in result.cases:
        rows = result.sessions[(result.sessions["case"] == case) & (result.sessions["phase"] == 1)]
        if rows["score"].nunique() > 1 and len(rows) > 2:
            tau, p = stats.kendalltau(rows["session"], rows["score"])
            shares.append(max(0.0, sign * float(tau)))
            chances.append(float(p))
    worst = int(np.argmax(shares)) if shares else 0
    return judged(
        "scores were not getting better already in A",
        "largest Kendall's tau of score and session in the first phase, towards better",
        shares[worst] if shares else 0.0,
        context.guide("drift of A"),
        "Practice goes on in A too, so a rising baseline needs no B to go on rising.",
        "Read Tau-U, which takes the trend of A out, beside NAP; go on with A until it is level.",
        chance=min(1.0, chances[worst] * len(chances)) if chances else None,
    )
