"""What a study plan says: the contents of ``study.toml`` as checked objects.

``schema`` holds the sections, ``reading`` turns a file into a ``Design`` and names every mistake.
"""

from motorlearn.design.base import Section
from motorlearn.design.programme import (
    Assumptions,
    Drill,
    Load,
    LoadLimit,
    PlannedAnalysis,
    Programme,
    Sample,
    StoppingRule,
)
from motorlearn.design.reading import design_from_mapping, read_design
from motorlearn.design.recipe import Conversion, ImportRecipe, SheetSource, WideColumn
from motorlearn.design.schema import (
    Allocation,
    Design,
    Exclusion,
    Files,
    Group,
    Outcome,
    Practice,
    Primary,
    Skill,
    SmallestEffect,
    StudySection,
    Target,
    Task,
    Test,
    Threshold,
)

__all__ = [
    "Allocation",
    "Assumptions",
    "Conversion",
    "Design",
    "Drill",
    "Exclusion",
    "Files",
    "Group",
    "ImportRecipe",
    "Load",
    "LoadLimit",
    "Outcome",
    "PlannedAnalysis",
    "Practice",
    "Primary",
    "Programme",
    "Sample",
    "Section",
    "SheetSource",
    "Skill",
    "SmallestEffect",
    "StoppingRule",
    "StudySection",
    "Target",
    "Task",
    "Test",
    "Threshold",
    "WideColumn",
    "design_from_mapping",
    "read_design",
]
