"""How the phases of a single case are drawn, and whether a record can have been drawn so."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from motorlearn.exceptions import InputError

CaseDesign = Literal["AB", "ABAB", "multiple baseline", "alternating"]
PHASES_OF = {"AB": 2, "ABAB": 4, "multiple baseline": 2}
"""Phases of the designs whose sessions are not alternated."""
FEWEST = 3
"""Fewest sessions a phase may have: with two neither trend nor spread can be told."""


@dataclass(frozen=True)
class Randomisation:
    """How sessions come to their condition; every outcome of the draw is equally likely.

    Parameters
    ----------
    design : {"AB", "ABAB", "multiple baseline", "alternating"}
        ``AB``: each case draws the session at which B starts. ``ABAB``: each case draws all three
        changes. ``multiple baseline``: the ranges of ``starts`` are allotted to the cases by lot,
        and each case draws its start inside its range. ``alternating``: each session is A or B.
    starts : tuple of (int, int)
        First and last session at which B may start: one range for ``AB`` (by default every session
        that leaves ``minimum`` sessions to both phases), one for each case for
        ``multiple baseline``.
    minimum : int
        Fewest sessions a phase may have, 3 or more.
    alternation : {"pairs", "restricted"}
        ``pairs``: of every two successive sessions one is A and one is B. ``restricted``: any
        order with as many A as B and no more than ``longest_run`` alike in a row.
    longest_run : int
        Longest run of one condition, for ``restricted``.

    Raises
    ------
    InputError
        If the numbers contradict each other.

    References
    ----------
    Edgington, E. S. and Onghena, P. (2007). Randomization Tests, 4th edition; Koehler, M. J. and
    Levin, J. R. (1998). Psychological Methods, 3(2), 206-217. doi:10.1037/1082-989X.3.2.206, for
    ranges allotted to cases (both from memory).

    Examples
    --------
    >>> Randomisation("AB", starts=((6, 13),)).range_of(0, 18)
    (6, 13)
    """

    design: CaseDesign
    starts: tuple[tuple[int, int], ...] = ()
    minimum: int = FEWEST
    alternation: Literal["pairs", "restricted"] = "pairs"
    longest_run: int = 2

    def __post_init__(self) -> None:
        if self.design not in (*PHASES_OF, "alternating"):
            known = ", ".join((*PHASES_OF, "alternating"))
            raise InputError("there is no such single-case design", [self.design], f"use {known}")
        if self.minimum < FEWEST:
            raise InputError(
                "a phase needs 3 sessions at least, since two show neither trend nor spread",
                [self.minimum],
                "set the minimum to 3 or more (5 is often asked for)",
            )
        if self.longest_run < 1:
            raise InputError("the longest run is 1 or more", [self.longest_run])
        wrong = [pair for pair in self.starts if not 1 <= pair[0] <= pair[1]]
        if wrong:
            raise InputError(
                "a range of start points runs from a lower to a higher session",
                wrong,
                "write it as [first, last]",
            )

    @property
    def is_phased(self) -> bool:
        """Whether sessions of one condition follow each other in phases."""
        return self.design != "alternating"

    def range_of(self, place: int, sessions: int) -> tuple[int, int]:
        """First and last session at which B may start in a range, for so many sessions."""
        if self.starts:
            return self.starts[place]
        return self.minimum + 1, sessions - self.minimum + 1

    def check(self, cases: int, sessions: int) -> None:
        """Refuse a draw that so many cases and sessions cannot have.

        Raises
        ------
        InputError
            If there are too few sessions, or ranges do not fit the cases or the sessions.
        """
        if self.is_phased and sessions < PHASES_OF[self.design] * self.minimum:
            raise InputError(
                f"{sessions} sessions are too few for the {PHASES_OF[self.design]} phases of "
                f"{self.minimum} sessions or more of a design {self.design}",
                None,
                "plan more sessions",
            )
        if not self.is_phased:
            self._check_alternation(sessions)
        self._check_starts(cases, sessions)

    def _check_alternation(self, sessions: int) -> None:
        if sessions % 2 or sessions < 2 * self.minimum:
            raise InputError(
                f"alternating conditions need an even number of sessions, {2 * self.minimum} or "
                "more",
                [sessions],
                "add a session or leave one out in the plan",
            )

    def _check_starts(self, cases: int, sessions: int) -> None:
        wanted = {"AB": (0, 1), "multiple baseline": (cases,)}.get(self.design, (0,))
        if len(self.starts) not in wanted:
            raise InputError(
                f"a design {self.design} of {cases} cases needs "
                f"{' or '.join(str(n) for n in wanted)} ranges of start points",
                [len(self.starts)],
                "give one range to each athlete (or skill) of a multiple baseline, and one or none "
                "to a design AB",
            )
        first, last = self.minimum + 1, sessions - self.minimum + 1
        outside = [pair for pair in self.starts if pair[0] < first or pair[1] > last]
        if outside:
            raise InputError(
                f"start points leave a phase fewer than {self.minimum} of {sessions} sessions",
                outside,
                f"let B start between session {first} and session {last}",
            )

    def misfit(self, codes: np.ndarray) -> str:
        """Why a record cannot have been drawn so; empty where it can.

        Parameters
        ----------
        codes : ndarray of float, shape (sessions,)
            0 for A, 1 for B, missing where the session was not held.
        """
        known = np.flatnonzero(~np.isnan(codes))
        held = codes[known]
        if self.is_phased:
            return self._misfit_of_phases(held, known + 1, len(codes))
        return self._misfit_of_alternation(codes)

    def _misfit_of_phases(self, held: np.ndarray, sessions: np.ndarray, n: int) -> str:
        changes = np.flatnonzero(np.diff(held)) + 1
        phases = PHASES_OF[self.design]
        if held[0] != 0 or len(changes) != phases - 1:
            return f"its sessions are not the {phases} phases of a design {self.design}"
        starts = sessions[changes]
        lengths = np.diff([1, *starts, n + 1])
        if lengths.min() < self.minimum:
            return f"a phase has {lengths.min()} of the {self.minimum} sessions that were planned"
        if self.design == "AB":
            low, high = self.range_of(0, n)
            if not low <= starts[0] <= high:
                return f"B starts at session {starts[0]}, outside the planned {low} to {high}"
        return ""

    def misfit_of_cases(self, codes: list[np.ndarray]) -> str:
        """Why the starts of all cases together cannot have been drawn; empty where they can."""
        if self.design != "multiple baseline":
            return ""
        starts = [int(np.flatnonzero(one == 1)[0]) + 1 for one in codes]
        left = sorted(self.starts)
        for start in sorted(starts):
            mine = [pair for pair in left if pair[0] <= start <= pair[1]]
            if not mine:
                ranges = ", ".join(f"{low} to {high}" for low, high in self.starts)
                return f"B starts at session {start}, outside the ranges that are left ({ranges})"
            left.remove(min(mine, key=lambda pair: pair[1]))
        return ""

    def _misfit_of_alternation(self, codes: np.ndarray) -> str:
        if self.alternation == "pairs":
            pairs = codes[: len(codes) // 2 * 2].reshape(-1, 2)
            twice = np.flatnonzero(pairs[:, 0] == pairs[:, 1])
            said = [f"{2 * place + 1} and {2 * place + 2}" for place in twice[:1]]
            return f"sessions {said[0]} had one condition, where a pair has both" if said else ""
        if not np.isnan(codes).any() and codes.sum() != len(codes) // 2:
            return "it does not have as many sessions of one condition as of the other"
        longest = _longest_run(codes)
        if longest > self.longest_run:
            return f"one condition came {longest} times in a row, {self.longest_run} were allowed"
        return ""


def _longest_run(codes: np.ndarray) -> int:
    longest = run = 0
    last = np.nan
    for code in codes:
        run = run + 1 if code == last else int(not np.isnan(code))
        last, longest = code, max(longest, run)
    return longest
