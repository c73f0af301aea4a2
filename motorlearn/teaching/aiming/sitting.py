"""One person's sitting: which screen is due, what a push does, what is kept.

The browser draws and listens; everything that is decided or recorded is decided here. A sitting is
never changed: every event gives a new one.
"""

import math
from dataclasses import dataclass, replace
from typing import Any, Final, Self

import pandas as pd

from motorlearn import digits
from motorlearn.exceptions import InputError
from motorlearn.teaching.aiming.floor import BAR, BOARD, WALL, Rest, roll, target
from motorlearn.teaching.aiming.programme import GAP_MINUTES, PlannedPush, Programme, target_radius
from motorlearn.vocabulary import PHASE_LABELS

CONSENT: Final = (
    "You are invited to take part in a class demonstration of motor learning. You will push a "
    "drawn ring towards a disc about a hundred times, which takes 12 to 15 minutes. Only the "
    "number of your seat, the pushes and the seconds since the start are kept, in a file on this "
    "computer; no name, no date of birth, no address, no picture, and nothing is sent anywhere. "
    "Taking part is free, it is not graded, and you may stop at any time without giving a reason; "
    "'Withdraw' deletes what was kept. It changes no mark, and who only watches loses nothing. "
    "Once handed in, your pushes are still deleted if you give your seat number before the results "
    "of the class are shown. If you are under age, the rules of your school or country for consent "
    "apply. Stop if your hand or arm hurts."
)
WORDS: Final = {
    "consent": CONSENT,
    "left": "You did not take part, or you withdrew. Nothing is kept.",
    "pause": "Pause: put the mouse down and listen to the lecture. The retention test "
    "opens after the pause; nobody practises in it.",
    "end": "That was the last push. Thank you. Your file is saved.",
}
"""What stands on each screen without a floor."""
TOLD: Final = ("You will not see where it stops.", "You will see where it stops.")
UNTOLD: Final = "Pushed. The result is not shown in a test."
TASK_HELP: Final = {
    "straight": "Straight: the ring glides the way you push it.",
    "bank": "Bank: a wall is in the way. Play off the board on the right.",
    "lob": "Lob: the ring hops to the other side of your push. Clear the bar.",
}
COLUMNS: Final = (
    "participant", "group", "phase", "session", "block", "trial", "task", "hit", "x", "y",
    "radial_error", "time", "speed", "feedback", "device", "elapsed", "class_seed",
)  # fmt: skip
DEVICES: Final = ("mouse", "touch", "pen", "keyboard")


@dataclass(frozen=True)
class Landing:
    """One push as it was made."""

    rest: Rest
    speed: float
    time: float
    device: str
    elapsed: float


@dataclass(frozen=True)
class Sitting:
    """State of one sitting.

    Parameters
    ----------
    programme : Programme
        What the seat will do.
    consent : bool or None
        Whether the person agreed; None before the question was answered.
    started : float
        Clock reading, in seconds, when the person agreed.
    landings : tuple of Landing
        Pushes made so far.
    gap_minutes : float
        Shortest pause before the retention test.
    """

    programme: Programme
    consent: bool | None = None
    started: float = 0.0
    landings: tuple[Landing, ...] = ()
    gap_minutes: float = GAP_MINUTES

    def agree(self, now: float) -> Self:
        """Start after consent."""
        return replace(self, consent=True, started=now)

    def withdraw(self) -> Self:
        """Delete everything that was kept and stop."""
        return replace(self, consent=False, landings=())

    @property
    def ended(self) -> bool:
        """Whether every push is made."""
        return len(self.landings) == len(self.programme.pushes)

    @property
    def due(self) -> PlannedPush:
        """The push that is due.

        Raises
        ------
        InputError
            If every push is made.
        """
        if self.ended:
            raise InputError("no push is due now", ["end"], "every push of this seat is made")
        return self.programme.pushes[len(self.landings)]

    def wait(self, now: float) -> float:
        """Seconds to wait before the push that is due may be made."""
        if self.ended or not self.landings:
            return 0.0
        if (self.due.phase, self.due.trial) != ("retention", 1):
            return 0.0
        gap = 60 * self.gap_minutes
        left = self.landings[-1].elapsed + gap - (now - self.started)
        return min(gap, max(0.0, left))  # a clock that was put back locks nobody out

    def page(self, now: float) -> str:
        """Name of the screen that is due: ``consent``, ``left``, ``floor``, ``pause``, ``end``."""
        if not self.consent:
            return "consent" if self.consent is None else "left"
        if self.ended:
            return "end"
        return "pause" if self.wait(now) > 0 else "floor"

    def push(
        self,
        direction: float,
        speed: float,
        *,
        now: float,
        time: float = 0.0,
        device: str = "mouse",
    ) -> Self:
        """Make the push that is due.

        Parameters
        ----------
        direction : float
            Degrees, 0 straight ahead, positive to the right.
        speed : float
            Speed at release in cm/s.
        now : float
            Clock reading in seconds.
        time : float
            Movement time in seconds.
        device : str
            ``mouse``, ``touch``, ``pen`` or ``keyboard``.

        Raises
        ------
        InputError
            If no push is due now, or the push is no push.
        """
        page = self.page(now)
        if page != "floor":
            raise InputError("no push is due now", [page], "follow the screen")
        if device not in DEVICES:
            raise InputError("this device is unknown", [device], f"use {', '.join(DEVICES)}")
        planned = self.due
        rest = roll(planned.task, direction, speed, farther=planned.farther)
        made = Landing(rest, speed, time, device, now - self.started)
        return replace(self, landings=(*self.landings, made))

    def records(self) -> pd.DataFrame:
        """Every push so far in the standard columns; ``elapsed`` is seconds since consent."""
        radius = target_radius()
        programme = self.programme
        rows = []
        for plan, made in zip(programme.pushes, self.landings):
            miss = made.rest.radial_error
            who = (programme.participant, programme.group, plan.phase, plan.session)
            landing = (round(made.rest.x, 1), round(made.rest.y, 1), round(miss, 1))
            how = (round(made.time, 3), round(made.speed, 1), int(plan.feedback), made.device)
            rest = (round(made.elapsed, 1), programme.class_seed)
            what = (plan.block, plan.trial, plan.task, int(miss <= radius))
            rows.append((*who, *what, *landing, *how, *rest))
        return pd.DataFrame(rows, columns=list(COLUMNS))

    def screen(self, now: float) -> dict[str, Any]:
        """Everything the browser needs to draw the screen that is due, in words and numbers."""
        page = self.page(now)
        screen: dict[str, Any] = {
            "page": page,
            "made": len(self.landings),
            "participant": self.programme.participant,
        }
        if page != "floor":
            return screen | {"words": WORDS[page], "wait": math.ceil(self.wait(now))}
        return screen | self._floor()

    def _floor(self) -> dict[str, Any]:
        push = self.due
        all_of_phase = sum(other.phase == push.phase for other in self.programme.pushes)
        return {
            "words": f"{TASK_HELP[push.task]} {TOLD[push.feedback]}",
            "heading": f"{PHASE_LABELS[push.phase]}: push {push.trial} of {all_of_phase}",
            "phase": push.phase,
            "task": push.task,
            "target": target(push.task, push.farther),
            "radius": target_radius(),
            "board": BOARD if push.task == "bank" else None,
            "wall": WALL if push.task == "bank" else None,
            "bar": BAR if push.task == "lob" else None,
            "feedback": push.feedback,
        }

    def outcome(self) -> dict[str, Any]:
        """What the browser may show of the latest push: nothing of where it stops in a test."""
        push, made = self.programme.pushes[len(self.landings) - 1], self.landings[-1]
        if not push.feedback:
            return {"path": [made.rest.path[0]], "words": UNTOLD}
        return {"path": list(made.rest.path), "words": _told(made.rest, target_radius())}


def _told(rest: Rest, radius: float) -> str:
    error = digits.number(rest.radial_error, 0)
    if rest.radial_error <= radius:
        return f"Hit: {error} cm from the centre."
    far = "" if abs(rest.y) < 1 else (" too far" if rest.y > 0 else " too short")
    side = "" if abs(rest.x) < 1 else f" {'right' if rest.x > 0 else 'left'}"
    parts = [
        f"{digits.number(abs(value), 0)} cm{words}"
        for value, words in ((rest.y, far), (rest.x, side))
        if words
    ]
    stopped = f" The {rest.stopped_by} stopped it." if rest.stopped_by else ""
    return f"Missed by {error} cm: {', '.join(parts)}.{stopped}"
