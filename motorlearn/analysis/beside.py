"""What stands beside the comparison: agreement of raters, curves, a mixed model of trials."""

from collections.abc import Callable, Sequence
from typing import TypedDict, TypeVar

import pandas as pd

from motorlearn.analysis.allocated import refuse_clusters, refuse_conditions
from motorlearn.analysis.kinds import FAMILY_OF, model_of_contrast, model_of_kind
from motorlearn.analysis.landmarks import LandmarkScores, landmark_scores
from motorlearn.analysis.outcome import NOT_ON_PAGE
from motorlearn.analysis.questions import Question
from motorlearn.analysis.scores import OutcomeScores
from motorlearn.analysis.speed import SpeedBeside, speed_beside
from motorlearn.analysis.technique import TechniqueChange, technique_change
from motorlearn.audit import Audit, check_assumptions
from motorlearn.curves import CurveFits, PopulationCurve, fit_curves, fit_population_curve
from motorlearn.design import CurvePlan, Design, own_name_of_test
from motorlearn.exceptions import InputError
from motorlearn.measures import Agreement, rater_agreement, total_scores
from motorlearn.mixed import MixedFit, fit_mixed
from motorlearn.results import Refused, or_refused
from motorlearn.trials import Study
from motorlearn.vocabulary import PRACTICE_PHASE

FEWEST_BLOCKS = 5
"""Blocks of practice below which no curve is fitted to a learner."""

MODEL_SIMULATIONS = 200
"""Data sets that the audit of the mixed model simulates; shares are known to about 0.035."""


Made = TypeVar("Made")


class Modelled(TypedDict):
    """Fields of the analysis of a study: its mixed model."""

    mixed: MixedFit | Refused
    mixed_audit: Audit | Refused | None


class Beside(Modelled):
    """Fields of the analysis of a study: what stands beside the comparison."""

    raters: Agreement | Refused | None
    landmarks: LandmarkScores | Refused | None
    curves: CurveFits | Refused | None
    population: PopulationCurve | Refused | None
    technique: TechniqueChange | Refused | None
    speed: SpeedBeside | Refused | None


def modelled(study: Study, scores: OutcomeScores, question: Question, seed: int) -> Modelled:
    """The mixed model of trials with its assumptions."""
    mixed = _of_people(study.design, "the mixed model of trials", trial_model)(scores, question)
    if isinstance(mixed, Refused):
        return {"mixed": mixed, "mixed_audit": None}
    audit = or_refused(check_assumptions)(
        mixed, study=study, seed=seed, simulations=MODEL_SIMULATIONS
    )
    return {"mixed": mixed, "mixed_audit": audit}


def page_beside(
    study: Study, scores: OutcomeScores, cells: pd.DataFrame, question: Question, seed: int
) -> Beside:
    """The mixed model alone, which the supervisor's page shows; the rest is refused."""
    return {
        **nothing_beside(study, scores, cells, question, seed),
        **modelled(study, scores, question, seed),
    }


def nothing_beside(
    study: Study, scores: OutcomeScores, cells: pd.DataFrame, question: Question, seed: int
) -> Beside:
    """Nothing, which is what the sheet to sign shows; all of it is refused."""
    return {
        "mixed": NOT_ON_PAGE,
        "mixed_audit": NOT_ON_PAGE,
        "raters": NOT_ON_PAGE,
        "landmarks": NOT_ON_PAGE,
        "curves": NOT_ON_PAGE,
        "population": NOT_ON_PAGE,
        "technique": NOT_ON_PAGE,
        "speed": NOT_ON_PAGE,
    }


def beside_of(
    study: Study, scores: OutcomeScores, cells: pd.DataFrame, question: Question, seed: int
) -> Beside:
    """Mixed model, agreement of raters, scores from landmarks, curves, technique and speed."""
    rated = has_ratings(study.ratings)
    practised = study.design.single_case is None and has_curves(cells)
    camera = or_refused(landmark_scores)(study) if study.design.landmarks else None
    ratings = camera.ratings if isinstance(camera, LandmarkScores) else study.ratings
    return {
        **modelled(study, scores, question, seed),
        "raters": agreement(study.ratings) if rated else None,
        "landmarks": camera,
        "curves": _curves(study.design, cells) if practised else None,
        "population": _of_people(study.design, "the population curve", population_curve)(
            cells, study.design.curve, question.reference_first
        )
        if practised or study.design.curve != CurvePlan()
        else None,
        "technique": _of_people(study.design, "the change of technique", technique_change)(
            study, ratings=ratings, scores=scores, seed=seed
        )
        if rated
        else None,
        "speed": _of_people(study.design, "the change of speed", speed_beside)(
            scores, study.design, seed=seed
        )
        if has_speed(scores)
        else None,
    }


@or_refused
def _curves(design: Design, cells: pd.DataFrame) -> CurveFits | Refused:
    refuse_conditions(design, "a curve for each person")
    return learners_curves(cells)


def _of_people(
    design: Design, what: str, made: Callable[..., Made]
) -> Callable[..., Made | Refused]:
    """What takes people for the unit, refused where it was not people who were allocated."""

    def made_or_refused(*given: object, **options: object) -> Made:
        refuse_clusters(design, what)
        refuse_conditions(design, what)
        return made(*given, **options)

    return or_refused(made_or_refused)


def has_speed(scores: OutcomeScores) -> bool:
    """Whether speed stands beside an outcome that is another one."""
    table = scores.table
    known = "speed" in table and bool(table["speed"].notna().any())
    return known and scores.column not in ("speed", "time")


def has_ratings(ratings: pd.DataFrame | None) -> bool:
    """Whether a study holds ratings of technique, and anything was rated yet."""
    if ratings is None or not {"rater", "score"} <= set(ratings):
        return False
    return bool(ratings["score"].notna().any())


@or_refused
def agreement(ratings: pd.DataFrame) -> Agreement:
    """Agreement on the total of each clip, or on each item where clips are not numbered.

    A total needs every item of the clip; clips that lack one are left out.
    """
    if "clip" not in ratings:
        return rater_agreement(
            ratings, item="item", rater="rater", score="score", kind="continuous"
        )
    again = ["occasion"] if "occasion" in ratings else []
    people = ["participant"] if "participant" in ratings else []
    order = ["position"] if "position" in ratings else []
    by = ["clip", "rater", *again]
    totals = ratings[[*by, "score", *order, *people]]
    if "item" in ratings:
        totals = total_scores(ratings, by=by, keep=[*order, *people]).table
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


def counted_blocks(cells: pd.DataFrame, groups: Sequence[str] = ()) -> pd.DataFrame:
    """Scores in practice with blocks numbered through all sessions, groups in the order given.

    Without an order they stand as they come.

    Examples
    --------
    >>> cells = pd.DataFrame({
    ...     "participant": "P01", "group": "blocked", "phase": "acquisition",
    ...     "session": [1, 1, 2], "block": [1, 2, 1], "score": [31.0, 28.5, 27.0],
    ... })
    >>> counted_blocks(cells)["block"].tolist()
    [1.0, 2.0, 3.0]
    """
    practised = cells[cells["phase"] == PRACTICE_PHASE]
    levels = list(groups) or list(dict.fromkeys(practised["group"]))
    order = pd.Categorical(practised["group"], categories=levels)
    counted = practised.assign(group=order).sort_values(
        ["group", "participant", "session", "block"]
    )
    return counted.assign(block=counted.groupby("participant").cumcount() + 1.0)


def has_curves(cells: pd.DataFrame) -> bool:
    """Whether anybody has enough blocks of practice for a curve."""
    practised = cells[cells["phase"] == PRACTICE_PHASE]
    return bool(len(practised) and practised.groupby("participant").size().max() >= FEWEST_BLOCKS)


@or_refused
def learners_curves(cells: pd.DataFrame) -> CurveFits:
    """A curve for each participant's scores by block of practice."""
    found: CurveFits = fit_curves(
        counted_blocks(cells), "score", practice="block", by="participant"
    )  # type: ignore[assignment]
    return found


@or_refused
def population_curve(
    cells: pd.DataFrame, plan: CurvePlan, groups: Sequence[str] = ()
) -> PopulationCurve:
    """One curve for all participants, whose parameters vary from person to person as planned.

    Differences between groups are told from the first of ``groups``.
    """
    if not has_curves(cells):
        raise InputError(
            f"nobody has the {FEWEST_BLOCKS} blocks of practice that a curve needs",
            remedy="take [curve] out of study.toml where the study has no such practice",
        )
    counted = counted_blocks(cells, groups)
    apart = plan.groups == "apart" and counted["group"].nunique() > 1
    return fit_population_curve(
        counted,
        "score",
        practice="block",
        form=plan.form,
        group="group" if apart else None,
        vary=plan.vary,
    )


@or_refused
def trial_model(scores: OutcomeScores, question: Question) -> MixedFit:
    """Mixed model of trials at the first and the primary test: group by test, people at random.

    People, not trials, were allocated, so each person has a level of their own at every test:
    freely correlated levels for scores of trials, a variance within people for hits. Hits are
    binomial; ratings, counts and times have the model of their kind where the plan names it; other
    scores are linear, on the log scale where the primary comparison is a ratio.

    Raises
    ------
    InputError
        If there are no two tests, or the outcome is no score of trials.
    """
    rows, groups = _model_rows(scores, question)
    terms = "group * test" if len(groups) > 1 else "test"
    if scores.timed is not None and scores.timed.rules.contrast:
        return model_of_contrast(rows, scores.column, terms, scores.timed.rules)
    terms += " + task" if "task" in rows and rows["task"].nunique() > 1 else ""
    if scores.attempts is not None:
        return _model_of_hits(rows, terms)
    if scores.outcome.kind in FAMILY_OF:
        if scores.timed is not None and scores.timed.rules.shift:
            rows = rows.assign(**{scores.column: rows[scores.column] - scores.timed.rules.shift})
        return model_of_kind(rows, scores.column, terms, scores.outcome.kind)
    ratio = question.outcomes[0].effect == "ratio"
    left = f"log({scores.column})" if ratio else scores.column
    repeated = rows.duplicated(["participant", "test"]).any()
    random = {"participant": "1 + test" if repeated else "1"}
    return fit_mixed(f"{left} ~ {terms}", rows, random=random)


def _model_of_hits(rows: pd.DataFrame, terms: str) -> MixedFit:
    keys = ["participant", "group", "test", *(["task"] if "task" in rows else [])]
    summed = rows.groupby(keys, observed=True, as_index=False)[["hits", "attempts"]].sum()
    return fit_mixed(
        f"hits ~ {terms}",
        summed[summed["attempts"] > 0],
        random={"participant/test": "1"},
        family="binomial",
        attempts="attempts",
    )


def _model_rows(scores: OutcomeScores, question: Question) -> tuple[pd.DataFrame, list[str]]:
    late, pair = question.primary_stage, question.pair
    if question.design.single_case is not None:
        raise InputError("a single case has one set of sessions, and no model of trials")
    if pair is None or late is None or late.name == pair[0]:
        raise InputError("a mixed model of trials needs two tests, the primary one among them")
    if not scores.of_single_trials and scores.timed is None:
        raise InputError(
            "a score that is taken of all trials together has no mixed model of trials"
        )
    tests = [pair[0], late.name]
    table = scores.table
    rows = table[table["stage"].isin(tests) & scores.present()]
    present = set(rows["group"].astype("str"))
    groups = [name for name in question.reference_first if name in present]
    rows = rows[rows["group"].isin(groups)].assign(
        test=pd.Categorical(rows["stage"], categories=tests).rename_categories(
            [own_name_of_test(question.design, name) for name in tests]
        ),
        group=pd.Categorical(rows["group"], categories=groups),
    )
    return rows, groups
