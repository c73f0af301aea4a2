"""What stands beside the comparison: agreement of raters, assumptions, a mixed model, curves."""

from collections.abc import Callable
from typing import Any

import pandas as pd

from motorlearn.audit import check_assumptions, sensitivity
from motorlearn.compare import PhaseComparison
from motorlearn.curves import fit_curves, fit_population_curve
from motorlearn.exceptions import FitError, InputError, RefusedError
from motorlearn.measures import rater_agreement, total_scores
from motorlearn.mixed import fit_mixed
from motorlearn.results import Refused
from motorlearn.trials import Study
from motorlearn.vocabulary import PRACTICE_PHASE

FEWEST_BLOCKS = 5
"""Blocks of practice below which no curve is fitted to a learner."""


def attempt(compute: Callable[[], Any]) -> Any:
    """A result, or the reason why these data do not allow it, to stand in its place."""
    try:
        return compute()
    except (InputError, RefusedError, FitError) as problem:
        return Refused(str(problem))


def beside(study: Study, comparison: Any, cells: pd.DataFrame, stage: str) -> dict[str, Any]:
    """Compute what the study allows beside its comparison of the primary outcome.

    Parameters
    ----------
    study : Study
        The study.
    comparison : PhaseComparison or Refused
        Comparison of the primary outcome.
    cells : DataFrame
        Participants' scores by block and test: ``participant, group, phase, session, block,
        score``.
    stage : str
        Stage of the primary comparison.

    Returns
    -------
    dict of str to Result or Refused
        By name; what the study has no data for is left out.
    """
    found: dict[str, Any] = {}
    if study.ratings is not None and {"rater", "score"} <= set(study.ratings):
        found["agreement"] = attempt(lambda: _agreement(study.ratings))
    if isinstance(comparison, PhaseComparison):
        between = len(comparison.contrasts) > 0
        found["assumptions"] = attempt(
            lambda: check_assumptions(
                comparison, study=study, phases=[stage] if between else None, remedies=False
            )
        )
        if between:
            found["sensitivity"] = attempt(
                lambda: sensitivity(comparison, study=study, phase=stage)
            )
    practised = cells[cells["phase"] == PRACTICE_PHASE]
    if len(practised) and practised.groupby("participant").size().max() >= FEWEST_BLOCKS:
        counted = counted_blocks(cells)
        found["curves"] = attempt(
            lambda: fit_curves(counted, "score", practice="block", by="participant")
        )
        groups = "group" if counted["group"].nunique() > 1 else None
        found["population curve"] = attempt(
            lambda: fit_population_curve(counted, "score", practice="block", group=groups)
        )
    return found


def _agreement(ratings: pd.DataFrame) -> Any:
    """Agreement on the total of each clip, or on each item where clips are not numbered."""
    if "clip" not in ratings:
        return rater_agreement(
            ratings, item="item", rater="rater", score="score", kind="continuous"
        )
    again = ["occasion"] if "occasion" in ratings else []
    people = ["participant"] if "participant" in ratings else []
    order = ["position"] if "position" in ratings else []
    by = ["clip", "rater", *again]
    if "item" in ratings:
        totals = total_scores(ratings, by=by, keep=[*order, *people]).table
    else:
        totals = ratings[[*by, "score", *order, *people]]
    return rater_agreement(
        totals,
        item="clip",
        rater="rater",
        score="score",
        kind="continuous",
        order="position" if order else None,
        occasion="occasion" if again else None,
        cluster="participant" if people else None,
    )


def counted_blocks(cells: pd.DataFrame) -> pd.DataFrame:
    """Scores in practice with blocks numbered through all sessions, groups in the plan's order."""
    practised = cells[cells["phase"] == PRACTICE_PHASE]
    order = pd.Categorical(practised["group"], categories=list(dict.fromkeys(practised["group"])))
    counted = practised.assign(group=order).sort_values(
        ["group", "participant", "session", "block"]
    )
    return counted.assign(block=counted.groupby("participant").cumcount() + 1.0)


def mixed_model(
    table: pd.DataFrame, outcome: str, stages: tuple[str, str], effect: str, reference: str
) -> Any:
    """Mixed model of trials at baseline and primary test: group by test, people at random.

    Hits and misses, and hits among attempts, are binomial; other scores are linear, on the log
    scale where the primary comparison is a ratio.
    """
    rows = table[table["stage"].isin(stages) & table[outcome].notna()]
    groups = [reference, *(name for name in rows["group"].unique() if name != reference)]
    rows = rows.assign(
        test=pd.Categorical(rows["stage"], categories=list(stages)),
        group=pd.Categorical(rows["group"], categories=groups),
    )
    terms = "group * test" if len(groups) > 1 else "test"
    terms += " + task" if "task" in rows and rows["task"].nunique() > 1 else ""
    binomial = outcome in ("hit", "hits")
    left = f"log({outcome})" if effect == "ratio" and not binomial else outcome
    return fit_mixed(
        f"{left} ~ {terms}",
        rows,
        random={"participant": "1"},
        family="binomial" if binomial else "gaussian",
        attempts="attempts" if outcome == "hits" else None,
    )
