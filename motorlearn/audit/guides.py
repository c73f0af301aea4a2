"""Customary thresholds of assumption checks, each with its source; a study may set its own.

A guide is a custom, not a law. Its ``status`` says whether the number was read in its source, is
remembered from it, follows by algebra, or is common practice without a source. Where a consequence
can be computed (the rate of false positives, the move of an estimate) it is graded, and the
customary number is only shown; a study may still set a threshold for it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Final

from motorlearn.audit.general_guides import GENERAL
from motorlearn.audit.guide import OWN, Grade, Guide
from motorlearn.audit.model_guides import MODELS
from motorlearn.design import Threshold
from motorlearn.exceptions import InputError

__all__ = ["GUIDES", "Grade", "Guide", "with_own_thresholds"]

GUIDES: Final[Mapping[str, Guide]] = {guide.name: guide for guide in (*GENERAL, *MODELS)}
"""All guides by name."""


def with_own_thresholds(thresholds: Iterable[Threshold]) -> dict[str, Guide]:
    """Give all guides, with those a study sets itself put in place.

    Parameters
    ----------
    thresholds : iterable of Threshold
        Entries ``name, look, act, source`` as the study file holds them.

    Raises
    ------
    InputError
        If a name is unknown or thresholds run the wrong way.
    """
    guides = dict(GUIDES)
    for own in thresholds:
        if own.name not in guides:
            raise InputError(
                "a threshold names an unknown guide", [own.name], f"use one of {', '.join(guides)}"
            )
        guide = guides[own.name]
        if own.look is not None and own.act is not None:
            ordered = own.look <= own.act if guide.high_is_bad else own.look >= own.act
            if not ordered:
                raise InputError(
                    f"threshold {own.name!r}: act is milder than look", [own.look, own.act]
                )
        guides[own.name] = replace(guide, look=own.look, act=own.act, source=own.source, status=OWN)
    return guides
