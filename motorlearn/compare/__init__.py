"""Acquisition, retention and transfer compared between groups.

``phases`` is the front and ``options`` its choices; ``participants`` makes one score per person and
phase, ``between`` compares groups at a phase, ``within`` compares phases, ``mixed_route`` does the
first with every test there is (``cell_contrasts`` turns what fits give), ``crossing`` and
``factorial`` two factors between people,
``covariates`` what is adjusted for beside the baseline, ``equivalence`` and ``verdicts`` judge
against a declared bound (``bounds``), ``blocks`` compares the blocks of practice, ``limits`` says
what the design cannot show, ``pooling`` why trials are not the unit, ``comparison`` holds the
results (``schemas`` their columns). ``pairs`` (every pair of blocks or tests within a group) stands
on pingouin and is loaded when it is used, and so is ``single_case``, one athlete to five.
"""

from typing import TYPE_CHECKING

from motorlearn.compare.blocks import compare_blocks
from motorlearn.compare.comparison import BlockComparison, PhaseComparison
from motorlearn.compare.limits import Limit
from motorlearn.compare.phases import compare_phases
from motorlearn.compare.pooling import Pooling, pooling_inflation
from motorlearn.compare.schemas import pair_in_words
from motorlearn.doors import late_names

if TYPE_CHECKING:
    from motorlearn.compare.pairs import Pairs, pairs_within
    from motorlearn.compare.single_case import SingleCase, analyse_single_case

__getattr__, __dir__ = late_names(
    __name__,
    dict.fromkeys(("Pairs", "pairs_within"), "motorlearn.compare.pairs")
    | dict.fromkeys(("SingleCase", "analyse_single_case"), "motorlearn.compare.single_case"),
)

__all__ = [
    "BlockComparison",
    "Limit",
    "Pairs",
    "PhaseComparison",
    "Pooling",
    "SingleCase",
    "analyse_single_case",
    "compare_blocks",
    "compare_phases",
    "pair_in_words",
    "pairs_within",
    "pooling_inflation",
]
