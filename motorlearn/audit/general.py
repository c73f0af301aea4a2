"""Assumptions every analysis shares: unit, search, people, bounds of the scale, missing data."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from scipy import stats

from motorlearn import digits
from motorlearn.audit.comparison.binomial import binomial_conclusions
from motorlearn.audit.comparison.phase_model import PhaseModel, is_counted
from motorlearn.audit.comparison.resampled import imputed
from motorlearn.audit.context import Context
from motorlearn.audit.guide import Guide
from motorlearn.audit.report import SELDOM, Check, Remedy, Step, gravest, judged, remedied
from motorlearn.compare import PhaseComparison
from motorlearn.compare.crossing import INTERACTION, MAIN
from motorlearn.design.allocation import PERSON_UNITS


def unit_check(context: Context, units: Sequence[str] = ("participant",)) -> Check:
    """Whether what was allocated is what is analysed."""
    design = context.design
    allocated = design.allocation.unit if design is not None else "participant"
    same = allocated in units or (
        allocated in PERSON_UNITS and any(unit in PERSON_UNITS for unit in units)
    )
    known = "by the plan" if design is not None else "by default: no plan was given"
    return judged(
        "the unit analysed is the unit allocated",
        "units that differ",
        float(not same),
        context.guide("unit"),
        f"Allocated ({known}): {allocated}; analysed: {', '.join(units)}.",
        f"Analyse one score per {allocated}, or give {allocated} its own random effect."
        if not same
        else "Nothing.",
    )


def settled_check(converged: bool, context: Context, finding: str, advice: str) -> Check:
    """Whether a search found a maximum, as the fit looked at it again."""
    return judged(
        "the search settled at a maximum",
        "optimiser's claim looked at again (1 means it failed)",
        float(not converged),
        context.guide("converged"),
        finding,
        advice,
    )


def people_check(people: int, context: Context) -> Check:
    """Whether a model has the participants that its tests ask for."""
    return judged(
        "there are enough participants for this model",
        "participants",
        float(people),
        context.guide("clusters"),
        "",
        "Check the p value by permutation of the allocation.",
    )


def family_check(result: PhaseComparison, context: Context) -> Check:
    """How many contrasts are called primary, and the family they are corrected in."""
    primary = context.primary
    tests = result.contrasts[result.contrasts["p"].notna()]
    if primary is None:
        count, finding = float("nan"), "No primary comparison is declared: every test is open."
    else:
        own = (tests["phase"] == primary.phase) & (
            tests["adjusted"] == (primary.baseline is not None)
        )
        pair = set(primary.groups)
        if primary.factors:
            tests = result.effects[result.effects["p"].notna()]
            own = (tests["phase"] == primary.phase) & (
                tests["adjusted"] == (primary.baseline is not None)
            )
            kind = INTERACTION if len(primary.factors) == 2 else MAIN
            own &= (tests["kind"] == kind) & (
                (tests["term"] == primary.factors[0]) | (kind == INTERACTION)
            )
        inside = np.array(
            [not pair or {row.group, row.reference} == pair for row in tests.itertuples()]
        )
        count = 1.0 if context.joint_term else float((own & inside).sum())
        finding = f"Primary: {primary.outcome} at {primary.phase}, {int(count)} contrast(s)."
    return judged(
        "one primary comparison, the rest in a named family",
        "comparisons called primary",
        count,
        context.guide("primaries"),
        f"{finding} {len(tests)} contrasts were tested; correction: "
        f"{result.recipe.options['adjust']} within each phase unless a family is named.",
        "Name one primary comparison in the plan; label the others secondary or exploratory.",
    )


def bound_check(result: PhaseComparison, model: PhaseModel, context: Context) -> Check:
    """Share of participants at the end of the scale."""
    rows = result.scores[result.scores["phase"] == model.phase]
    scores = rows["score"].to_numpy(dtype=float)
    low, high = _bounds(result, context, scores)
    at_low, at_high = (
        float(np.mean(np.isclose(scores, bound))) if np.isfinite(bound) and len(scores) else 0.0
        for bound in (low, high)
    )
    share, side = max((at_low, "floor"), (at_high, "ceiling"))
    near = _near(scores, low, high)
    remedy = None
    if context.remedies and model.counted and model.pairs and share > 0:
        remedy = remedied(lambda: _on_log_odds(result, model))
    return judged(
        "the outcome is not at its floor or ceiling",
        "share of participants at a bound (figure: scores)",
        share,
        context.guide("bound"),
        f"{digits.percent(at_low)} at the floor, {digits.percent(at_high)} at the ceiling{near}.",
        f"A difference cannot show at a bound: {_instead(model)}"
        + (f" The {side} hides differences {_whose(result, side)}." if share > 0.15 else ""),
        remedy=remedy,
    )


def _instead(model: PhaseModel) -> str:
    if model.counted:
        return "measure a continuous error, and compare the hits on the log-odds scale."
    return "use a harder or an easier test, or a score without that bound."


def _whose(result: PhaseComparison, side: str) -> str:
    """Between whom a bound hides differences: better or poorer people, by the score's direction."""
    better = result.recipe.options.get("better")
    if better is None:
        return "between all who score there"
    good = (better == "higher") == (side == "ceiling")
    return f"between {'good' if good else 'poor'} performers"


def _on_log_odds(result: PhaseComparison, model: PhaseModel) -> Remedy:
    after = binomial_conclusions(result, model)
    return Remedy(model.conclusions(), (Step("hits on the log-odds scale", after),))


def _bounds(result: PhaseComparison, context: Context, scores: np.ndarray) -> tuple[float, float]:
    columns = result.recipe.columns
    if "attempts" in columns:
        return 0.0, result.recipe.options.get("out_of") or 1.0
    if is_counted(result):
        return 0.0, 1.0
    outcome = context.design.outcome(columns["outcome"]) if context.design is not None else None
    if outcome is not None and (outcome.low is not None or outcome.high is not None):
        return (
            np.nan if outcome.low is None else outcome.low,
            np.nan if outcome.high is None else outcome.high,
        )
    return (scores.min(), scores.max()) if _tied_at_ends(scores) else (np.nan, np.nan)


def _tied_at_ends(scores: np.ndarray) -> bool:
    """Several people sharing an extreme score betray a bound nobody declared."""
    if len(scores) < 3:
        return False
    return bool(max(np.sum(scores == scores.min()), np.sum(scores == scores.max())) > 2)


def _near(scores: np.ndarray, low: float, high: float) -> str:
    if not (np.isfinite(low) and np.isfinite(high) and high > low and len(scores)):
        return ""
    place = (scores.mean() - low) / (high - low)
    return f"; the mean lies {digits.percent(place)} of the way up the scale"


def missing_check(model: PhaseModel, context: Context) -> Check:
    """Share of participants without a score at this test, and whether groups differ in it."""
    lost = ~model.used
    share = float(lost.mean())
    counts = [
        (int(lost[model.codes == c].sum()), int((model.codes == c).sum())) for c in _codes(model)
    ]
    shares = [k / n for k, n in counts]
    gap = max(shares) - min(shares)
    chance = _difference_by_chance(counts)
    by_group = _tolerated(context.guide("missing_by_group"), share)
    spread = ", ".join(
        f"{model.groups[code]} {k} of {n}" for code, (k, n) in zip(_codes(model), counts)
    )
    check = judged(
        "missing scores can be ignored",
        "share of participants without this score (figure: missing map)",
        share,
        context.guide("missing"),
        f"Missing: {spread}. {_who_is_missing(model)}".strip(),
        "Report complete cases beside all available scores, and how far the missing ones would "
        "have to lie to change the conclusion.",
        remedy=_missing_remedy(model, context) if lost.any() else None,
    )
    graded = by_group.grade(gap)
    apart = replace(
        check,
        diagnostic="largest difference in share missing between groups",
        value=gap,
        guide=by_group,
        grade=graded if chance < SELDOM else "fine",
        finding=f"{check.finding} Groups differ in it: {digits.p_clause(chance)}.",
    )
    return gravest(check, apart)


def _tolerated(guide: Guide, missing: float) -> Guide:
    """The guide at this share of missing scores, unless a study set its own."""
    if guide.own:
        return guide
    look, act = tolerated_difference(missing)
    return replace(guide, look=round(look, 3), act=round(act, 3))


def _codes(model: PhaseModel) -> list[int]:
    return sorted(set(model.codes.tolist()))


def _difference_by_chance(counts: list[tuple[int, int]]) -> float:
    table = np.array([[k, n - k] for k, n in counts])
    if len(counts) < 2 or not table.sum(axis=0).all():
        return 1.0
    if len(counts) == 2:
        return float(stats.fisher_exact(table).pvalue)
    return float(stats.chi2_contingency(table, correction=False).pvalue)


def _who_is_missing(model: PhaseModel) -> str:
    if not model.adjusted:
        return ""
    lost = ~np.isfinite(model.y) & np.isfinite(model.x)
    kept = np.isfinite(model.y) & np.isfinite(model.x)
    if lost.sum() < 2 or kept.sum() < 2:
        return ""
    gap = (model.x[lost].mean() - model.x[kept].mean()) / model.x[kept].std(ddof=1)
    return f"Their baseline lies {digits.number(float(gap))} SD from that of the others."


def _missing_remedy(model: PhaseModel, context: Context) -> Remedy | None:
    if not (context.remedies and model.adjusted and model.pairs):
        return None
    sd = float(np.sqrt(model.fit().variance))
    before = model.conclusions()
    found = []
    for pair, conclusion in zip(model.pairs, before):
        against = -sd * (1 if conclusion.estimate > float(model.ratio) else -1)
        found.append(imputed(model, pair, np.array([0.0, against]), seed=context.seed))
    plain, shifted = (tuple(column) for column in zip(*found))
    return Remedy(
        before,
        (
            Step("missing scores imputed from the baseline", plain),
            Step("imputed and shifted by one residual SD against the finding", shifted, False),
        ),
    )


# fmt: off
_CAUTIOUS: Final = (
    5.7, 5.8, 5.9, 5.9, 6.0, 6.1, 6.2, 6.3, 6.3, 6.3, 6.3, 6.2, 6.2, 6.1, 6.0, 5.9, 5.9, 5.8, 5.7,
    5.5, 5.4, 5.3, 5.2, 5.1, 4.9, 4.8, 4.7, 4.5, 4.4, 4.3, 4.1, 4.0, 3.8, 3.6, 3.5, 3.3, 3.2, 3.1,
    2.9, 2.8, 2.6, 2.5, 2.3, 2.1, 2.0, 1.8, 1.6, 1.5, 1.3, 1.2, 1.0, 0.9, 0.7, 0.6, 0.4, 0.3, 0.2,
    0.0,
)
_OPTIMISTIC: Final = (
    10.0, 10.1, 10.2, 10.3, 10.4, 10.5, 10.7, 10.8, 10.9, 10.9, 10.9, 10.9, 10.9, 10.9, 10.8, 10.8,
    10.7, 10.6, 10.5, 10.3, 10.2, 10.0, 9.9, 9.7, 9.5, 9.4, 9.2, 9.0, 8.8, 8.6, 8.4, 8.2, 8.0, 7.8,
    7.6, 7.4, 7.2, 7.0, 6.7, 6.5, 6.3, 6.0, 5.8, 5.6, 5.3, 5.1, 4.9, 4.6, 4.4, 4.2, 3.9, 3.7, 3.5,
    3.2, 3.0, 2.8, 2.6, 2.3,
)
# fmt: on


def tolerated_difference(missing: float) -> tuple[float, float]:
    """Cautious and optimistic bound of the difference between groups in the share missing.

    Both are shares, read between the rows of the table at the overall share ``missing``; beyond its
    last row (57 %) no difference is tolerated. The bounds come from a model of who drops out, in
    which dropping out depends strongly (cautious) or less (optimistic) on the score, and keep the
    bias of a difference below .05 standard deviations (that number from memory).

    References
    ----------
    What Works Clearinghouse (2017). Standards handbook, version 4.0, table II.1.
    Deke, J., & Chiang, H. (2017). Evaluation Review, 41, 130-154.
    https://doi.org/10.1177/0193841X16670047

    Examples
    --------
    >>> [round(bound, 3) for bound in tolerated_difference(0.10)]
    [0.063, 0.109]
    >>> [round(bound, 3) for bound in tolerated_difference(0.30)]
    [0.041, 0.084]
    """
    if not missing <= (len(_CAUTIOUS) - 1) / 100:
        return 0.0, 0.0
    rows = np.arange(len(_CAUTIOUS))
    cautious, optimistic = (
        float(np.interp(100 * missing, rows, column)) / 100 for column in (_CAUTIOUS, _OPTIMISTIC)
    )
    return cautious, optimistic
