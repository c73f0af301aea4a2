"""A result in; sentences, captions and alt texts out.

``claims`` checks what a text claims, ``voice`` knows outcome, unit and tests, ``sentences`` report
results, ``equivalence`` judges them against a declared bound, ``captions`` go with figures,
``method``, ``limitations`` and ``standards`` fill the paragraphs of a paper.
"""

from motorlearn.wording.claims import claim_problems, sentences
from motorlearn.wording.equivalence import Judgement, judge
from motorlearn.wording.sentences import contrast_sentence, reading
from motorlearn.wording.standards import standards_checklist
from motorlearn.wording.voice import Voice, Words, decimals_for

__all__ = [
    "Judgement",
    "Voice",
    "Words",
    "claim_problems",
    "contrast_sentence",
    "decimals_for",
    "judge",
    "reading",
    "sentences",
    "standards_checklist",
]
