"""What a study plan says: the contents of ``study.toml`` as checked objects.

``sections`` and the files of its kind hold the sections, ``schema`` the whole plan; ``reading``
turns a file into a ``Design`` and names every mistake, ``stages`` tells apart the tests of a
phase that is given more than once.
"""

from motorlearn.design.allocation import Allocation, Schedules
from motorlearn.design.base import Section
from motorlearn.design.bound import hits_declared_of, smallest_effect_of
from motorlearn.design.chosen import combinations_declared, model_of, people_planned
from motorlearn.design.exclusions import Condition, Exclusion, Replacement
from motorlearn.design.factors import (
    Factor,
    groups_by_level,
    joint_term,
    levels_by_group,
    primary_levels,
    primary_words,
)
from motorlearn.design.interim import InterimPlan
from motorlearn.design.landmarks import LandmarkClips, LandmarkItem, LandmarkQuantity
from motorlearn.design.multiverse import AlternativeExclusion, MultiversePlan
from motorlearn.design.outcomes import Outcome
from motorlearn.design.practice import Practice
from motorlearn.design.programme import (
    Assumptions,
    Checklist,
    ChecklistItem,
    CurvePlan,
    Drill,
    DrillDose,
    Fault,
    Load,
    LoadLimit,
    PlannedAnalysis,
    Programme,
    Sample,
    SkillPhase,
    StoppingRule,
)
from motorlearn.design.questionnaires import QuestionnairePlan
from motorlearn.design.randomisation import Randomisation
from motorlearn.design.reading import design_from_mapping, read_design
from motorlearn.design.recipe import Conversion, ImportRecipe, SheetSource, WideColumn
from motorlearn.design.schema import Design
from motorlearn.design.sections import (
    Files,
    Group,
    Primary,
    Skill,
    StudySection,
    Target,
    Task,
    Test,
    Threshold,
)
from motorlearn.design.single_case import SingleCasePlan
from motorlearn.design.smallest import SmallestEffect
from motorlearn.design.stages import (
    Stage,
    own_name_of_test,
    stage_column,
    stages_of,
    standard_stage,
    tests_not_told_apart,
)
from motorlearn.design.targets import target_of_rows
from motorlearn.design.times import TimeRules
from motorlearn.design.within import WithinPeople, counterbalanced

__all__ = [
    "Allocation",
    "AlternativeExclusion",
    "Assumptions",
    "Checklist",
    "ChecklistItem",
    "Condition",
    "Conversion",
    "CurvePlan",
    "Design",
    "Drill",
    "DrillDose",
    "Exclusion",
    "Factor",
    "Fault",
    "Files",
    "Group",
    "ImportRecipe",
    "InterimPlan",
    "LandmarkClips",
    "LandmarkItem",
    "LandmarkQuantity",
    "Load",
    "LoadLimit",
    "MultiversePlan",
    "Outcome",
    "PlannedAnalysis",
    "Practice",
    "Primary",
    "Programme",
    "QuestionnairePlan",
    "Randomisation",
    "Replacement",
    "Sample",
    "Schedules",
    "Section",
    "SheetSource",
    "SingleCasePlan",
    "Skill",
    "SkillPhase",
    "SmallestEffect",
    "Stage",
    "StoppingRule",
    "StudySection",
    "Target",
    "Task",
    "Test",
    "Threshold",
    "TimeRules",
    "WideColumn",
    "WithinPeople",
    "combinations_declared",
    "counterbalanced",
    "design_from_mapping",
    "groups_by_level",
    "hits_declared_of",
    "joint_term",
    "levels_by_group",
    "model_of",
    "own_name_of_test",
    "people_planned",
    "primary_levels",
    "primary_words",
    "read_design",
    "smallest_effect_of",
    "stage_column",
    "stages_of",
    "standard_stage",
    "target_of_rows",
    "tests_not_told_apart",
]
