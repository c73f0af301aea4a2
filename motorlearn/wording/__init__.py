"""A result in; sentences, captions and alt texts out.

``claims`` checks what a text claims, ``voice`` knows outcome and unit, ``sentences`` report
results, ``equivalence`` judges them against a declared bound, ``captions`` go with figures;
``outcome_kinds`` says why a model was chosen; ``variability`` tells ratios of spread;
``eligibility``, ``method``, ``limitations``, ``standards`` and ``references`` fill the paragraphs.
"""

from motorlearn.doors import late_names
from motorlearn.wording.claims import claim_problems, split_sentences
from motorlearn.wording.equivalence import Judgement, judge
from motorlearn.wording.sentences import contrast_sentence, reading
from motorlearn.wording.standards import standards_checklist
from motorlearn.wording.variability import variability_sentences
from motorlearn.wording.voice import Voice, Words, decimals_for

__getattr__, __dir__ = late_names(__name__, {})

__all__ = [
    "Judgement",
    "Voice",
    "Words",
    "claim_problems",
    "contrast_sentence",
    "decimals_for",
    "judge",
    "reading",
    "split_sentences",
    "standards_checklist",
    "variability_sentences",
]
