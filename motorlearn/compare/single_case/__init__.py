"""One athlete to five: conditions within a person, session by session.

``front`` is the call, ``records`` makes one score per case and session, ``phases`` tells level,
trend, variability and overlap, ``summary`` puts athletes together, ``limits`` says what such a
study cannot show, ``result`` holds what comes out.
"""

from motorlearn.compare.single_case.front import analyse_single_case
from motorlearn.compare.single_case.result import SingleCase

__all__ = ["SingleCase", "analyse_single_case"]
