"""Headings that studies use for the standard columns."""

import re
from collections.abc import Iterable
from typing import Final

_ID: Final = r"[ .]?(?:id|no|nr|num|number|code)?"

_KNOWN: Final = {
    "participant": r"id|ids|participants?|participant.?(?:id|no|nr|number|code)|player|child|"
    r"person|code|learner|proband|s ?id|sub(?:j|ject)?s?"
    + _ID
    + r"|study.?id|p ?id|ppt?s?"
    + _ID
    + r"|"
    r"vp" + _ID,
    "group": r"(?:group|grp|condition|cond|arm|team|schedule|gruppe|groupe)" + _ID,
    "phase": r"(?:phase|test|stage|occasion|time.?point)" + _ID,
    "session": r"(?:session|sess|day|week|wk|visit)" + _ID,
    "block": r"(?:block|blk|set)" + _ID,
    "trial": r"(?:trial|throw|attempt|shot)[ .]?(?:id|no|nr|num|number|phase|index)|trial|throw|"
    r"shot",
    "task": r"(?:task|variant|skill|target)" + _ID,
    "hit": r"hit|success|made",
    "hits": r"hits|score|successes|k",
    "attempts": r"attempts|throws|shots|out.?of|n",
    "x": r"l ?/ ?r|left.?right|x.?(?:pos(?:ition)?|coord(?:inate)?|error)",
    "y": r"s ?/ ?l|short.?long|y.?(?:pos(?:ition)?|coord(?:inate)?|error)",
    "radial_error": r"radial.?error|distance|miss.?distance",
    "error": r"error|deviation",
    "time": r"time|duration|seconds|m ?t|movement.?time|completion.?time",
    "speed": r"speed|velocity",
    "pair": r"(?:pair|yoke|yoked|dyad)[ .]?(?:id|no|nr|to|with|pair|partner)?|partner",
    "void": r"void|excluded|invalid.?reason",
}
_GOOD: Final = r"(?:good|valid|usable)(?:[ .]?(?:trial|throw|shot|putt))?\??"
_SCALE: Final = re.compile(
    r"t(?:ime)?[ .]?(\d+)[ .]([a-z]{1,12})|([a-z]{1,12})[ .]t(?:ime)?[ .]?(\d+)"
)

_TIMED: Final = re.compile(
    r"(?P<before>t(?:ime)?[ ._]?)(?P<first>\d+)(?P<between>[ ._])[a-z][\w .-]*"
    r"|[a-z][\w .-]*?(?P<between_>[ ._])(?P<before_>t(?:ime)?[ ._]?)(?P<last>\d+)",
    re.I,
)


def standard_name(heading: str) -> str:
    """Standard column that a heading names, or nothing.

    Examples
    --------
    >>> [standard_name(name) for name in ("sub_id", "sID", "study_id")]
    ['participant', 'participant', 'participant']
    >>> [standard_name(name) for name in ("group_id", "Phase_ID", "mt")]
    ['group', 'phase', 'time']
    >>> standard_name("t1_pa")
    ''
    """
    text = _plain(heading)
    for name, pattern in _KNOWN.items():
        if text == name.replace("_", " ") or re.fullmatch(pattern, text):
            return name
    return ""


def is_good(heading: str) -> bool:
    """Whether a heading asks if a trial is good, so that 0 says it does not count.

    Examples
    --------
    >>> is_good("Good?"), is_good("good_trial"), is_good("goods")
    (True, True, False)
    """
    return re.fullmatch(_GOOD, _plain(heading)) is not None


def questionnaire_of(heading: str) -> str:
    """What a heading such as ``t1_pa`` says: a scale at a time; empty for any other.

    Examples
    --------
    >>> questionnaire_of("t1_pa")
    'scale pa of a questionnaire at time 1'
    """
    found = _SCALE.fullmatch(_plain(heading))
    if found is None:
        return ""
    time, scale = (found[1], found[2]) if found[1] else (found[4], found[3])
    return f"scale {scale} of a questionnaire at time {time}"


def holds_time(heading: str) -> bool:
    """Whether a heading such as ``t1_fun`` holds the number of a time beside an item.

    Examples
    --------
    >>> [holds_time(name) for name in ("t1_fun", "fun t2", "time_id", "fun")]
    [True, True, False, False]
    """
    return _TIMED.fullmatch(heading.strip()) is not None


def times_in(headings: Iterable[str]) -> str:
    """Pattern of headings that hold a scale or item and its time, where they share one.

    Examples
    --------
    >>> times_in(["id", "t1_fun", "t2_fun"]), times_in(["fun_Time1", "dull_Time2"])
    ('t{time}_{item}', '{item}_Time{time}')
    >>> times_in(["id", "fun", "t1_dull"]), times_in(["t1_fun", "fun t2"])
    ('', '')
    """
    found = [match for name in headings if (match := _TIMED.fullmatch(name.strip()))]
    patterns = {_pattern(match) for match in found}
    times = {match["first"] or match["last"] for match in found}
    return patterns.pop() if len(patterns) == 1 and len(times) > 1 else ""


def _pattern(match: re.Match[str]) -> str:
    if match["first"]:
        return f"{match['before']}{{time}}{match['between']}{{item}}"
    return f"{{item}}{match['between_']}{match['before_']}{{time}}"


def _plain(heading: str) -> str:
    return heading.strip().lower().replace("_", " ")
