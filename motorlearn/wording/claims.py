"""What a generated text may claim, as a check that reads text.

The rules: the word *learning* needs a delayed retention or transfer test in the same sentence; a
non-significant result is never called an absence; nothing is proved; no p value is zero.
"""

import re
from typing import Final

from motorlearn.vocabulary import DELAYED_PHASES

_LEARNING: Final = re.compile(r"\b(un)?learn(s|t|ed|ing)?\b", re.IGNORECASE)
_FORBIDDEN: Final = {
    "calls an unclear result an absence": re.compile(
        r"\bno (statistically )?(significant )?(difference|effect|change|improvement|loss)s?\b"
        r"(?![^.]*can be stated)"
        r"|\bdid not (differ|change|improve|learn)\b|\bhad no effect\b"
        r"|\bwere (equal|identical|the same)\b",
        re.IGNORECASE,
    ),
    "claims proof": re.compile(r"\bprov(es?|ed|en|ing)\b(?! too\b)", re.IGNORECASE),
    "writes a p value as zero": re.compile(r"\bp\s*[=<]\s*0?[.,]0+(?!\d)", re.IGNORECASE),
    "calls a difference significant without its size": re.compile(
        r"\b(highly|marginally|nearly|almost|trend towards?) significan", re.IGNORECASE
    ),
}


def split_sentences(text: str) -> list[str]:
    """Cut a text into sentences; a decimal point does not end one.

    Examples
    --------
    >>> split_sentences("The mean was 3.5 cm. The interval, 95 % CI 1.0 to 6.0, is wide.")
    ['The mean was 3.5 cm.', 'The interval, 95 % CI 1.0 to 6.0, is wide.']
    """
    parts = re.split(r"(?<=[.!?])\s+(?=[A-Z0-9\[“\"])|\n+", text.strip())
    return [part.strip() for part in parts if part.strip()]


def claim_problems(text: str, *, delayed_test: bool) -> list[str]:
    """Name every sentence that claims more than its test can carry.

    Parameters
    ----------
    text : str
        Generated text.
    delayed_test : bool
        Whether the study has a retention or transfer test at all.

    Returns
    -------
    list of str
        One line per problem, empty where the text keeps the rules.

    Examples
    --------
    >>> claim_problems("Random practice led to more learning in block 6.", delayed_test=True)
    ['speaks of learning without a delayed test: Random practice led to more learning in block 6.']
    """
    found = []
    for sentence in split_sentences(text):
        if _LEARNING.search(sentence) and not (delayed_test and _names_delayed_test(sentence)):
            found.append(f"speaks of learning without a delayed test: {sentence}")
        found += [f"{why}: {sentence}" for why, rule in _FORBIDDEN.items() if rule.search(sentence)]
    return found


def _names_delayed_test(sentence: str) -> bool:
    return any(name in sentence.lower() for name in (*DELAYED_PHASES, "delayed test"))
