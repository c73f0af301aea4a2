"""Names the whole house shares: columns, phases, units and directions.

Nothing here computes. A word that appears in a table, a file, a figure or a sentence is spelled
here once.
"""

from dataclasses import dataclass
from typing import Final

from motorlearn.doors import late_names

__getattr__, __dir__ = late_names(__name__, {})


@dataclass(frozen=True)
class ColumnMeaning:
    """What a standard column holds."""

    name: str
    meaning: str
    kind: str
    lower: float | None = None
    upper: float | None = None
    unit_of: str = ""


_COLUMNS = (
    ColumnMeaning("participant", "study identifier of the person", "identifier"),
    ColumnMeaning("group", "practice group the person was allocated to", "category"),
    ColumnMeaning("pair", "pair of people, one of whom practises as the other did", "category"),
    ColumnMeaning("phase", "part of the study the trial belongs to", "category"),
    ColumnMeaning("test", "name of the test, where a phase has several", "category"),
    ColumnMeaning("session", "number of the practice or test session", "count", lower=1),
    ColumnMeaning("block", "number of the block within its phase", "count", lower=1),
    ColumnMeaning(
        "trial", "number of the trial within its phase, or within its block", "count", lower=1
    ),
    ColumnMeaning("task", "task variant that was performed", "category"),
    ColumnMeaning("condition", "condition of practice that varies within a person", "category"),
    ColumnMeaning("hit", "1 if the target was hit, 0 if it was missed", "flag", lower=0, upper=1),
    ColumnMeaning("hits", "number of hits among the attempts of this row", "count", lower=0),
    ColumnMeaning("attempts", "number of attempts this row stands for", "count", lower=1),
    ColumnMeaning("error", "signed error, outcome minus target", "number", unit_of="error"),
    ColumnMeaning(
        "x", "landing point to the right of the target centre", "number", unit_of="length"
    ),
    ColumnMeaning("y", "landing point beyond the target centre", "number", unit_of="length"),
    ColumnMeaning("radial_error", "distance from the target centre", "number", 0, None, "length"),
    ColumnMeaning("time", "time taken by the trial", "number", 0, None, "time"),
    ColumnMeaning("speed", "speed of the movement or the object", "number", 0, None, "speed"),
    ColumnMeaning(
        "feedback", "1 if augmented feedback followed the trial", "flag", lower=0, upper=1
    ),
    ColumnMeaning("void", "reason why the trial does not count; empty where it does", "note"),
    ColumnMeaning("rater", "identifier of the person who rated", "identifier"),
    ColumnMeaning(
        "item", "item of the technique checklist, or the clip that was rated", "category"
    ),
    ColumnMeaning("score", "score given by the rater", "number"),
)

COLUMNS: Final = {column.name: column for column in _COLUMNS}
"""Standard columns by name, in the order in which tables show them."""

PHASES: Final = ("pretest", "acquisition", "progress", "posttest", "retention", "transfer")
"""Phases in the order of a study; a test inside the programme is ``progress``."""

PRACTICE_PHASE: Final = "acquisition"
TEST_PHASES: Final = ("pretest", "progress", "posttest", "retention", "transfer")
DELAYED_PHASES: Final = ("retention", "transfer")
"""Tests after a gap without practice: the only ones that can speak about learning."""

SMALL_GROUP: Final = 20
"""Below this size a group is called small, in plan and report (common practice, no source)."""

SHORTEST_DELAY_DAYS: Final = 0.5
"""Days after practice from which a test may speak of learning (common practice, no source)."""

PHASE_LABELS: Final = {
    "pretest": "Pretest",
    "acquisition": "Acquisition (practice)",
    "progress": "Progress test (inside the programme)",
    "posttest": "Immediate posttest",
    "retention": "Delayed retention",
    "transfer": "Transfer",
}

SHORT_LABELS: Final = {
    "pretest": "Pretest",
    "acquisition": "Acquisition",
    "progress": "Progress test",
    "posttest": "Immediate posttest",
    "retention": "Delayed retention",
    "transfer": "Transfer",
}

BETTER: Final = ("lower", "higher")
"""Directions in which a score can be better."""

SEVERITIES: Final = ("error", "doubt", "note")
"""How much a problem in the data weighs: must be mended, should be looked at, is good to know."""

PROBLEM_COLUMNS: Final = (
    "file",
    "sheet",
    "row",
    "column",
    "value",
    "rule",
    "severity",
    "advice",
)
LEVEL_MAPPED: Final = "level mapped"
"""Rule of a change that gives all cells with one code their level."""
WHOLE_NUMBERS: Final = "labels written as decimals read as whole numbers"
"""Rule of a change that reads 1.000 as 1 in a column of labels."""
BLOCKS_NUMBERED: Final = "blocks numbered"
"""Rule of a change that numbers blocks no column numbers."""
CHANGE_COLUMNS: Final = ("file", "sheet", "row", "column", "before", "after", "rule")

ESTIMATE_COLUMNS: Final = (
    "term",
    "estimate",
    "std_error",
    "df",
    "statistic",
    "p",
    "conf_low",
    "conf_high",
)

LANDMARKS_NEEDED: Final = {
    "joint angle": 3,
    "segment inclination": 2,
    "trunk rotation": 4,
    "height above": 2,
    "hand path": 1,
}
"""Quantities of technique, and how many body landmarks each is read from."""

CROSSED: Final = " × "
"""Stands between the parts of an interaction wherever a reader sees one."""

GRADES: Final = ("fine", "look", "act")
"""Verdicts of an assumption check."""

STANDING_CAUTION: Final = (
    "Follow your ethics committee, safeguarding officer, sport body and local data-protection "
    "law; this is not medical or legal advice."
)
STOP_SIGNS: Final = (
    "any pain, numbness, arm fatigue or loss of control; speed that falls from set to set; "
    "technique that comes apart"
)
"""Signs at which a session ends for a person, whatever else the plan says."""


def term_in_words(term: str) -> str:
    """A term of a model as a reader says it.

    Examples
    --------
    >>> term_in_words("group:phase"), term_in_words("log_rate")
    ('group × phase', 'log rate')
    """
    return term.replace(":", CROSSED).replace("_", " ")


def capitalised(text: str) -> str:
    """Write the first letter large and leave the rest."""
    return text[:1].upper() + text[1:]
