"""``analyse_single_case``: one athlete to five under two conditions."""

import numpy as np
import pandas as pd
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

from motorlearn.compare.options import checked_out_of
from motorlearn.compare.single_case.limits import statements
from motorlearn.compare.single_case.phases import (
    differences_of,
    estimate_frame,
    neighbour_frame,
    phase_frame,
    session_frame,
)
from motorlearn.compare.single_case.records import Places, Record, records_of, told_as
from motorlearn.compare.single_case.result import SUMMARY, SingleCase
from motorlearn.design.randomisation import FEWEST, CaseDesign, Randomisation
from motorlearn.exceptions import InputError
from motorlearn.measures.single_case import DependentDifference, Randomised, randomisation_test
from motorlearn.results import Recipe, Refused
from motorlearn.vocabulary import BETTER


def analyse_single_case(
    table: pd.DataFrame,
    outcome: str,
    *,
    participant: str = "participant",
    phase: str = "condition",
    session: str = "session",
    case: str | None = None,
    conditions: tuple[str, str] | None = None,
    design: CaseDesign | None = None,
    randomisation: Randomisation | None = None,
    sessions: int | None = None,
    attempts: str | None = None,
    out_of: float | None = None,
    unit: str = "",
    better: str = "higher",
    one_sided: bool = False,
    level: float = 0.95,
    simulations: int = 100_000,
    seed: int = 0,
) -> SingleCase:
    """Compare two conditions within each of one athlete to five, session by session.

    Level, trend and variability of each phase; mean difference, NAP and Tau-U with intervals that
    are widened by the serial dependence found; a randomisation test where, and only where, the
    conditions were drawn by lot and the record can have come from that draw; a hierarchical
    summary over athletes.

    Parameters
    ----------
    table : DataFrame
        Trials or sessions; trials of a session are averaged. Rows with a reason in ``void`` do not
        count.
    outcome : str
        Column of the score; with ``attempts`` the column of hits.
    participant, phase, session : str
        Columns of the person, of the condition (A or B) and of the number of the session.
    case : str, optional
        Column that tells apart the skills of one person, for a multiple baseline over skills.
    conditions : (str, str), optional
        Names of A and B; by default that of the first session is A.
    design : {"AB", "ABAB", "multiple baseline", "alternating"}, optional
        The design where nothing was drawn; else that of ``randomisation``. By default it is read
        from the record: two phases are AB, four ABAB, more an alternation.
    randomisation : Randomisation, optional
        How the conditions were drawn (:class:`motorlearn.design.Randomisation`); without it there
        is no randomisation test.
    sessions : int, optional
        Sessions that were planned; by default up to the last one held.
    attempts : str, optional
        Column with the attempts of each row.
    out_of : float, optional
        Tell hits as hits of so many; otherwise they are rates.
    unit : str
        Unit of the score.
    better : {"higher", "lower"}
        Which direction is better. Differences are B minus A; NAP and Tau-U are greater where B is
        better.
    one_sided : bool
        Count only results that are better under B, declared beforehand.
    level : float
        Level of the intervals.
    simulations, seed : int
        Assignments that are drawn, and the seed, where there are more than 1e6.

    Returns
    -------
    SingleCase

    Raises
    ------
    InputError
        If there are not two conditions, a session has both, a phase has fewer than three sessions,
        or a record cannot have come from the draw.
    ColumnError
        If a column is lacking.

    References
    ----------
    Edgington, E. S. and Onghena, P. (2007). Randomization Tests, 4th edition (from memory).
    Parker, R. I. and Vannest, K. J. (2009). Behavior Therapy, 40, 357-367.
    doi:10.1016/j.beth.2008.10.006

    Examples
    --------
    >>> rings = pd.DataFrame({
    ...     "participant": "P01", "session": range(1, 13),
    ...     "condition": ["baseline"] * 5 + ["cue"] * 7,
    ...     "radial_error": [31, 29, 33, 30, 32, 25, 24, 26, 22, 23, 21, 24.0],
    ... })
    >>> from motorlearn.design import Randomisation
    >>> found = analyse_single_case(
    ...     rings, "radial_error", better="lower", unit="cm",
    ...     randomisation=Randomisation("AB", starts=((4, 9),)),
    ... )
    >>> found.estimates.round(2)[["index", "estimate"]].values.tolist()
    [['difference', -7.43], ['NAP', 1.0], ['Tau-U', 1.06]]
    >>> found.test.assignments, round(found.test.p, 3)
    (6, 0.167)
    """
    _check_options(better, level, simulations)
    places = Places(outcome, participant, phase, session, case, attempts)
    records, names = records_of(table, places, conditions, sessions)
    records = told_as(records, checked_out_of(out_of, attempts))
    kind = randomisation.design if randomisation is not None else design or _design(records)
    phased, sign = kind != "alternating", 1.0 if better == "higher" else -1.0
    phases = phase_frame(records, names, phased=phased)
    _refuse_short(phases)
    test = _test(records, randomisation, sign, one_sided, simulations, seed)
    differences = differences_of(records, level=level)
    people = table[participant].dropna().nunique()
    summary, shrunken = summarise(records, differences, athletes=people, level=level)
    return SingleCase(
        outcome=outcome,
        unit=unit,
        better=better,
        design=kind,
        conditions=names,
        sessions=session_frame(records, names),
        phases=phases,
        estimates=estimate_frame(records, differences, phased=phased, sign=sign, level=level),
        neighbours=neighbour_frame(records, differences, phased=phased),
        test=test,
        summary=summary,
        shrunken=shrunken,
        draw=randomisation,
        statements=statements(records, kind, randomisation, test, phases),
        recipe=Recipe(
            call="analyse_single_case",
            columns={"case": case or "", **{k: v or "" for k, v in vars(places).items()}},
            options={"conditions": names, "design": kind, "better": better, "level": level,
                     "one_sided": one_sided, "sessions": sessions, "out_of": out_of,
                     "simulations": simulations},
            n=sum(len(record.held) for record in records),
            seed=seed,
            engine=_engine(test),
        ),
    )  # fmt: skip


def _engine(test: Randomised | Refused) -> str:
    """What the randomisation test looked at."""
    if isinstance(test, Refused):
        return "no randomisation test"
    return "every assignment of the draw" if test.exact else "assignments drawn at random"


def _check_options(better: str, level: float, simulations: int) -> None:
    if better not in BETTER:
        raise InputError("a score is better when higher or lower", [better], "say which")
    if not 0.5 <= level < 1:
        raise InputError("the level lies between 0.5 and 1", [level], "for example 0.95")
    if simulations < 999:
        raise InputError("too few simulations for a p value", [simulations], "take 999 or more")


def _design(records: list[Record]) -> CaseDesign:
    """The design that the records show where none is said."""
    phases = {int(record.phases[-1]) for record in records}
    if phases == {2}:
        starts = {int(np.flatnonzero(record.codes == 1)[0]) for record in records}
        return "multiple baseline" if len(records) > 1 and len(starts) > 1 else "AB"
    return "ABAB" if phases == {4} else "alternating"


def _refuse_short(phases: pd.DataFrame) -> None:
    short = phases[phases["n"] < FEWEST]
    if len(short):
        raise InputError(
            f"a phase has fewer than {FEWEST} sessions, which show neither trend nor spread",
            [f"{row.case}, {row.condition}: {row.n}" for row in short.itertuples()],
            "add sessions to the phase, or leave the case out",
        )


def _test(
    records: list[Record],
    draw: Randomisation | None,
    sign: float,
    one_sided: bool,
    simulations: int,
    seed: int,
) -> Randomised | Refused:
    if draw is None:
        return Refused(
            "nothing was drawn by lot, so there is nothing that the result could be held against."
        )
    draw.check(len(records), len(records[0].scores))
    for record in records:
        wrong = draw.misfit(record.codes)
        if wrong:
            return Refused(f"{record.name} does not fit the draw of the plan: {wrong}.")
    wrong = draw.misfit_of_cases([record.codes for record in records])
    if wrong:
        return Refused(f"the cases do not fit the draw of the plan: {wrong}.")
    if all(np.ptp(record.scores[record.held]) == 0 for record in records):
        return Refused("all sessions have one score.")
    found = randomisation_test(
        draw,
        [sign * record.scores for record in records],
        [record.codes for record in records],
        one_sided=one_sided,
        simulations=simulations,
        seed=seed,
    )
    return Randomised(sign * found.statistic, *list(vars(found).values())[1:])


SHRUNKEN = ("case", "estimate", "weight")


def summarise(
    records: list[Record], differences: list[DependentDifference], *, athletes: int, level: float
) -> tuple[pd.DataFrame | Refused, pd.DataFrame]:
    """Mean difference over athletes by a hierarchical model of two levels, and shrunken ones.

    Each athlete's difference ``d_i`` has the variance ``v_i`` of its sessions (widened by serial
    dependence) around a difference of its own; these scatter with variance ``tau**2`` (Paule and
    Mandel) about the mean. The interval is the wider of two: normal with the model's standard
    error, and t with ``cases - 1`` degrees of freedom with that of the scatter that was seen.
    """
    none = pd.DataFrame(columns=list(SHRUNKEN))
    if athletes < 2:
        return Refused("there is one athlete, and nothing is said about others"), none
    d = np.array([own.estimate for own in differences])
    v = np.array([own.variance for own in differences])
    if (v <= 0).any():
        return Refused("an athlete's sessions do not vary, so no weight is known"), none
    fit = combine_effects(d, v, method_re="iterated")
    tau2 = max(float(fit.tau2), 0.0)
    weights = 1 / (v + tau2)
    mean = float((weights * d).sum() / weights.sum())
    by_model = np.sqrt(1 / weights.sum())
    seen = np.sqrt((weights * (d - mean) ** 2).sum() / weights.sum() / (len(d) - 1))
    tail = (1 - level) / 2
    half = max(stats.norm.isf(tail) * by_model, stats.t.isf(tail, len(d) - 1) * seen)
    row = SUMMARY.row(
        estimate=mean,
        conf_low=mean - half,
        conf_high=mean + half,
        df=len(d) - 1,
        sd_between=np.sqrt(tau2),
        cases=len(d),
    )
    own = tau2 / (tau2 + v)
    shrunken = pd.DataFrame(
        {
            "case": [record.name for record in records],
            "estimate": own * d + (1 - own) * mean,
            "weight": own,
        }
    )
    return SUMMARY.frame([row]), shrunken
