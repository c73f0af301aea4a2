"""Clips scored from landmarks as the plan says, beside the raters' scores."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.design import LandmarkClips
from motorlearn.exceptions import InputError, MotorlearnError
from motorlearn.measures import (
    Agreement,
    ChecklistItem,
    LandmarkPlan,
    Posture,
    Quantity,
    measure_posture,
    rater_agreement,
    score_checklist,
    total_scores,
    with_landmark_scores,
)
from motorlearn.measures.agreement.limits import Limits, limits_of_agreement
from motorlearn.results import Recipe, Refused, Result, or_refused
from motorlearn.rows import Schema
from motorlearn.tables import Column, Table
from motorlearn.trials import Study, clip_files, left_handed

RATERS: Final = "raters"
"""Name under which the mean of the raters of a clip stands beside the landmarks."""

ITEMS: Final = Schema(
    (
        Column("item"),
        Column("n", "clips", "count"),
        Column("landmarks", "mean, landmarks", "number"),
        Column("raters", "mean, raters", "number"),
        Column("bias", "landmarks minus raters", "number"),
        Column("bias_low", "lower", "number"),
        Column("bias_high", "upper", "number"),
        Column("limit_low", "lower limit", "number"),
        Column("limit_high", "upper limit", "number"),
    )
)
SCORES: Final = Schema(
    (
        Column("clip"),
        Column("item"),
        Column("score", kind="whole"),
        Column("value", "measured", "number", decimals=1),
        Column("cue"),
    )
)
UNSCORED: Final = Schema((Column("clip"), Column("reason")))
CLIPS: Final = Schema((Column("clip"), Column("treatment")))


@dataclass(frozen=True)
class LandmarkScores(Result):
    """Scores of clips from landmarks, and how far they agree with those of raters.

    Attributes
    ----------
    ratings : DataFrame
        ``clip, item, rater, score, source`` of people (source ``raters``) and landmarks (source
        ``landmarks``), with ``participant`` and ``phase`` where they are known.
    scores : DataFrame
        ``clip, item, score, value, cue``: what was measured and how it scores.
    items : DataFrame
        By item scored by both: ``item, n, landmarks, raters, bias, bias_low, bias_high, limit_low,
        limit_high``; bias is landmarks minus the mean of the clip's raters.
    comparison : Agreement or Refused
        Totals over these items, mean of the raters against landmarks: a comparison of methods.
    unscored : DataFrame
        ``clip, reason``: clips that could not be scored.
    clips : DataFrame
        ``clip, treatment``: what was done to the coordinates of each clip, and how well its release
        is known at that frame rate.
    caution : str
        What such numbers cannot say.
    recipe : Recipe
        Options of the plan, clips scored, treatment that all of them had.
    """

    ratings: pd.DataFrame
    scores: pd.DataFrame
    items: pd.DataFrame
    comparison: Agreement | Refused
    unscored: pd.DataFrame
    clips: pd.DataFrame
    caution: str
    recipe: Recipe

    def tables(self) -> list[Table]:
        """By item against the raters, totals against the raters, scores, clips without."""
        found = []
        if len(self.items):
            title = "Scores from landmarks against those of raters, by item"
            note = "Limits hold 95 % of differences. Landmarks are another method, not a rater."
            found.append(ITEMS.table("landmark_items", title, self.items, (note, self.caution)))
        if isinstance(self.comparison, Agreement):
            found += [table for table in self.comparison.tables() if table.name == "limits"]
        found.append(
            SCORES.table("landmark_scores", "Scores from landmarks", self.scores, (self.caution,))
        )
        if len(self.unscored):
            found.append(UNSCORED.table("unscored", "Clips that were not scored", self.unscored))
        return found


def landmark_scores(study: Study) -> LandmarkScores:
    """Score the clips of a study from their landmarks, as ``[landmarks]`` of the plan says.

    From file to score in two calls: :func:`motorlearn.read_study`, and this one. Clips of
    left-handers are mirrored: those the plan names under ``left_handed``, and those of people whose
    column ``hand`` among the participants says left. A clip that cannot be scored is listed with
    the reason. Where raters scored the same clips and items, both are compared as methods, learners
    being the unit.

    Parameters
    ----------
    study : Study
        A study read from a folder, whose plan has ``[landmarks]``.

    Raises
    ------
    InputError
        If the plan has no ``[landmarks]``, there are no clips, none can be scored, or somebody
        called left-handed is neither a clip nor a participant.
    """
    asked = study.design.landmarks
    if asked is None or study.folder is None:
        raise InputError("the plan says nothing of landmarks", remedy="add [landmarks] to it")
    files = clip_files(study.design, study.folder)
    if not files:
        raise InputError(
            "there are no files of coordinates",
            [asked.folder],
            "put one CSV for each clip there, named as the raters know the clip",
        )
    postures, unscored = _measured(_plan(asked), files, _left_handed(study, asked, files))
    if not postures:
        first = unscored.iloc[0]
        raise InputError(f"no clip could be scored; {first['clip']}: {first['reason']}")
    items = [ChecklistItem(**entry.model_dump()) for entry in asked.items]
    scored = score_checklist(postures, items, rater=asked.rater)
    ratings = _with_people(study.ratings, scored, asked.rater)
    recipe = Recipe(
        call="landmark_scores",
        columns={"item": "item", "rater": "rater", "score": "score"},
        options=asked.model_dump(exclude={"quantities", "items"}),
        n=len(postures),
        engine="; ".join(_shared_treatment(postures)),
    )
    return LandmarkScores(
        ratings=ratings,
        scores=SCORES.frame(scored[list(SCORES.names)].to_dict("records")),
        items=_by_item(ratings, asked.rater),
        comparison=_compared(ratings, asked.rater),
        unscored=unscored,
        clips=CLIPS.frame(
            [
                {"clip": name, "treatment": "; ".join(posture.treatment)}
                for name, posture in zip(_names(postures), postures)
            ]
        ),
        caution=postures[0].caution,
        recipe=recipe,
    )


def _names(postures: list[Posture]) -> list[str]:
    return [str(posture.values["clip"].iloc[0]) for posture in postures]


def _shared_treatment(postures: list[Posture]) -> list[str]:
    """What was done to every clip alike."""
    return [one for one in postures[0].treatment if all(one in p.treatment for p in postures)]


def _plan(asked: LandmarkClips) -> LandmarkPlan:
    given = asked.model_dump(exclude={"folder", "rater", "left_handed", "quantities", "items"})
    return LandmarkPlan(
        quantities=tuple(Quantity(**entry.model_dump()) for entry in asked.quantities),
        items=tuple(ChecklistItem(**entry.model_dump()) for entry in asked.items),
        **given,
    )


def _measured(
    plan: LandmarkPlan, files: Mapping[str, Path], left: frozenset[str]
) -> tuple[list[Posture], pd.DataFrame]:
    postures, unscored = [], []
    for name, path in files.items():
        try:
            clip = plan.read(path, left_handed=name in left)
            postures.append(measure_posture(clip, plan.quantities, clip=name))
        except MotorlearnError as problem:
            unscored.append(UNSCORED.row(clip=name, reason=str(problem)))
    return postures, UNSCORED.frame(unscored)


def _left_handed(study: Study, asked: LandmarkClips, files: Mapping[str, Path]) -> frozenset[str]:
    """Clips of left-handers, by the plan and by the participants' column ``hand``."""
    owners = _owners(study.ratings)
    people = study.participants
    listed = set() if people is None else set(people["participant"].astype(str))
    known = set(files) | set(owners.values()) | listed
    strange = sorted(set(asked.left_handed) - known)
    if strange:
        raise InputError(
            "left_handed names neither a clip nor a participant", strange, "correct [landmarks]"
        )
    left = set(asked.left_handed)
    left |= set(left_handed(people))
    return frozenset(name for name in files if name in left or owners.get(name) in left)


def _owners(ratings: pd.DataFrame | None) -> dict[str, str]:
    """Participant of each clip, as far as the ratings tell."""
    if ratings is None or not {"clip", "participant"} <= set(ratings):
        return {}
    known = ratings[ratings["participant"].notna()].astype({"clip": "str", "participant": "str"})
    return dict(zip(known["clip"], known["participant"]))


def _with_people(ratings: pd.DataFrame | None, scored: pd.DataFrame, rater: str) -> pd.DataFrame:
    """Scores of people and landmarks in one table; of clips rated again, the first rating."""
    needed = ["clip", "item", "rater", "score"]
    if ratings is None or not set(needed) <= set(ratings):
        return scored[[*needed, "source"]].reset_index(drop=True)
    if rater in set(ratings["rater"].astype("str")):
        raise InputError(
            "a rater has the name of the landmarks", [rater], "set landmarks.rater in the plan"
        )
    first = ratings
    if "occasion" in ratings:
        first = ratings.sort_values("occasion", kind="stable")
    first = first.drop_duplicates(["clip", "item", "rater"])
    carried = [name for name in ("participant", "phase", "session", "test") if name in first]
    both = with_landmark_scores(first[[*needed, *carried]], scored)
    for name in carried:
        known = first.assign(clip=first["clip"].astype("str")).drop_duplicates("clip")
        both[name] = both["clip"].map(known.set_index("clip")[name])
    return both


def _paired(ratings: pd.DataFrame, rater: str, keys: list[str]) -> pd.DataFrame:
    """Mean of the raters beside the landmarks' score, of what both scored."""
    own = ratings[ratings["rater"] == rater].set_index(keys)["score"]
    people = ratings[ratings["rater"] != rater].groupby(keys)["score"].mean()
    both = pd.DataFrame({rater: own, RATERS: people.reindex(own.index)})
    return both.dropna()


def _by_item(ratings: pd.DataFrame, rater: str) -> pd.DataFrame:
    both = _paired(ratings, rater, ["clip", "item"])
    clusters = _clusters(ratings)
    rows = []
    for item, part in both.groupby(level="item", sort=False):
        clips = part.index.get_level_values("clip")
        learners = None if clusters is None else clusters.loc[clips].to_numpy()
        rows.append(
            {
                "item": item,
                "n": len(part),
                "landmarks": part[rater].mean(),
                "raters": part[RATERS].mean(),
                **_limits(part[rater], part[RATERS], learners),
            }
        )
    return ITEMS.frame(rows)


def _limits(own: pd.Series, people: pd.Series, learners: np.ndarray | None) -> dict[str, float]:
    if len(own) < 3:
        return {"bias": float((own - people).mean())}
    found: Limits = limits_of_agreement(own, people, clusters=learners)
    return {
        "bias": found.bias,
        "bias_low": found.bias_low,
        "bias_high": found.bias_high,
        "limit_low": found.lower,
        "limit_high": found.upper,
    }


def _clusters(ratings: pd.DataFrame) -> pd.Series | None:
    """Participant of each clip, where all are known."""
    if "participant" not in ratings or ratings["participant"].isna().any():
        return None
    return ratings.drop_duplicates("clip").set_index("clip")["participant"].astype("str")


@or_refused
def _compared(ratings: pd.DataFrame, rater: str) -> Agreement:
    """Totals over the items that both scored, landmarks against the mean of the raters."""
    both = _paired(ratings, rater, ["clip", "item"])
    if both.empty:
        raise InputError(
            "no clip was scored by raters and by landmarks", remedy="rate some of them"
        )
    long = both.rename_axis(columns="rater").stack().rename("score").reset_index()
    totals = total_scores(long, by=["clip", "rater"]).table
    clusters = _clusters(ratings)
    if clusters is not None:
        totals = totals.assign(participant=clusters.loc[totals["clip"]].to_numpy())
    return rater_agreement(
        totals,
        item="clip",
        rater="rater",
        score="score",
        kind="continuous",
        cluster=None if clusters is None else "participant",
    )
