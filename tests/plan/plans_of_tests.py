"""Plans that several tests use."""

import copy
from pathlib import Path

from motorlearn.design import Design, design_from_mapping, read_design

ROOT = Path(__file__).parents[2]
RING_PUSH = ROOT / "data" / "ring-push"
PROGRAMME = Path(__file__).parent / "plans" / "programme.toml"

SOUND = {
    "study": {"title": "Ring push", "question": "q", "ethics_approval": "no. 1"},
    "skill": {"timing": "discrete", "environment": "closed", "movement": "gross"},
    "units": {"length": "cm"},
    "groups": [
        {"name": "blocked", "schedule": "blocked", "size": 24},
        {"name": "random", "schedule": "random", "size": 24},
    ],
    "tasks": [
        {"name": "straight", "description": "along the floor"},
        {"name": "bank", "description": "off the board"},
        {"name": "lob", "description": "over the bar"},
    ],
    "target": {"radius": 20},
    "practice": [
        {"session": 1, "day": 0, "blocks": 2, "trials_per_block": 18, "feedback_every": 1},
        {"session": 2, "day": 1, "blocks": 2, "trials_per_block": 18, "feedback_every": 2},
    ],
    "tests": [
        {"phase": "pretest", "trials": 30, "blinded": True},
        {
            "phase": "retention",
            "trials": 36,
            "interval_days": 7,
            "order": "blocked-and-random",
        },
    ],
    "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower", "low": 0}],
    "primary": {"outcome": "radial_error", "groups": ["random", "blocked"]},
    "smallest_effect": {"value": 2.5, "reason": "seen on the floor"},
    "assumptions": {
        "baseline": 38,
        "between_sd": 6.5,
        "within_sd": 15,
        "gain": 12,
        "stability": 0.8,
    },
    "exclusions": [{"rule": "void trials are not scored"}],
    "stopping": [{"rule": "pain", "action": "stop"}],
    "load": {"limits": [{"trials": 400, "per": "week", "source": "our club"}]},
    "allocation": {"seed": 5},
}

HITS = {
    "outcomes": [{"name": "hits", "better": "higher"}],
    "primary": {"outcome": "hits", "groups": ["random", "blocked"], "model": "binomial mixed"},
    "assumptions": {"baseline": 0.3, "between_sd": 0.7, "gain": 1.0, "stability": 1.0},
    "smallest_effect": {"value": 2},
    "tests": [
        {"phase": "pretest", "trials": 20},
        {"phase": "progress", "trials": 20, "day": 0},
        {"phase": "posttest", "trials": 20, "interval_days": 0},
        {"phase": "retention", "trials": 20, "interval_days": 7},
    ],
}


def plan(**changes: object) -> Design:
    """Give the sound plan with whole sections exchanged; None takes a section out."""
    content = {**copy.deepcopy(SOUND), **changes}
    return design_from_mapping({k: v for k, v in content.items() if v is not None})


def ring_push() -> Design:
    """Give the shipped plan."""
    return read_design(RING_PUSH)


def programme() -> Design:
    """Give the plan of a programme with one group."""
    return read_design(PROGRAMME)
