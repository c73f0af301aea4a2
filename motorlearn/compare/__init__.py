"""Acquisition, retention and transfer compared between groups.

``phases`` is the front; ``participants`` makes one score per person and phase, ``between`` compares
groups at a phase, ``within`` compares phases, ``blocks`` the blocks of practice, ``limits`` says
what the design cannot show, ``pooling`` why trials are not the unit, ``comparison`` the results.
"""

from motorlearn.compare.blocks import compare_blocks
from motorlearn.compare.comparison import BlockComparison, PhaseComparison
from motorlearn.compare.phases import compare_phases
from motorlearn.compare.pooling import Pooling, pooling_inflation

__all__ = [
    "BlockComparison",
    "PhaseComparison",
    "Pooling",
    "compare_blocks",
    "compare_phases",
    "pooling_inflation",
]
