"""The class experiment in a notebook: a drawn floor that answers to pointer, touch and keyboard."""

import base64
import html
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import anywidget
import traitlets
from matplotlib.patches import Circle

from motorlearn.exceptions import FileError, InputError
from motorlearn.figures.drawing.levels import COLOURS
from motorlearn.figures.drawing.style import INK, Drawing, canvas, house
from motorlearn.teaching.aiming.files import resume_sitting, save_sitting, sitting_file
from motorlearn.teaching.aiming.floor import BAR, BOARD, WALL, target
from motorlearn.teaching.aiming.programme import GAP_MINUTES, make_programme, target_radius
from motorlearn.teaching.aiming.sitting import TASK_HELP, Sitting

_HERE = Path(__file__).parent


class AimingTask(anywidget.AnyWidget):
    """The aiming task of one seat; every push is saved at once.

    Parameters
    ----------
    seat : int
        Number of the seat, drawn by lot.
    class_seed : int
        Seed that the whole class shares.
    folder : path-like
        Existing folder for the file of this seat.
    gap_minutes : float
        Shortest pause before the retention test.
    resume : bool
        Whether to take up the seat's file where it ends, for example for a test a week later.
    clock : callable
        Gives the time in seconds since 1970.

    Attributes
    ----------
    sitting : Sitting
        What was done so far.

    Raises
    ------
    InputError
        If the seat is no seat.
    FileError
        If the folder does not exist or already holds a file of this seat.
    """

    _esm = _HERE / "face.js"
    _css = _HERE / "face.css"
    screen = traitlets.Dict().tag(sync=True)

    def __init__(
        self,
        seat: int,
        *,
        class_seed: int,
        folder: str | Path = ".",
        gap_minutes: float = GAP_MINUTES,
        resume: bool = False,
        clock: Callable[[], float] = time.time,
    ) -> None:
        self.folder, self.clock = Path(folder), clock
        if resume:
            sitting = resume_sitting(folder, seat, class_seed=class_seed, now=clock())
        else:
            sitting = Sitting(make_programme(seat, class_seed=class_seed))
            _free(self.folder, sitting.programme.participant)
        self.sitting = replace(sitting, gap_minutes=gap_minutes)
        super().__init__(screen=self.sitting.screen(clock()))
        self.on_msg(self._hear)

    def _hear(self, _widget: Any, content: dict[str, Any], _buffers: Any) -> None:
        """Answer what the browser reports: agree, withdraw, look, push.

        The next screen goes out before the outcome, so that it is there when the outcome was shown.
        """
        now, answer = self.clock(), None
        match content:
            case {"event": "agree"} if self.sitting.consent is None:
                self.sitting = self.sitting.agree(now)
            case {"event": "withdraw"}:
                self.sitting = self.sitting.withdraw()
                save_sitting(self.sitting, self.folder)
            case {"event": "push"}:
                answer = self._push(content, now)
        self.screen = self.sitting.screen(self.clock())
        if answer is not None:
            self.send(answer)

    def _push(self, content: dict[str, Any], now: float) -> dict[str, Any]:
        try:
            made = self.sitting.push(
                float(content["direction"]),
                float(content["speed"]),
                now=now,
                time=float(content["time"]),
                device=str(content["device"]),
            )
        except (InputError, KeyError, TypeError, ValueError) as problem:
            return {"kind": "refused", "words": f"Not counted: {problem}"}
        save_sitting(made, self.folder)
        self.sitting = made
        return {"kind": "outcome", **made.outcome()}

    def _repr_mimebundle_(self, **options: Any) -> tuple[dict[str, Any], dict[str, Any]]:
        shown = super()._repr_mimebundle_(**options)
        data, metadata = shown if isinstance(shown, tuple) else (shown, {})
        return {**(data or {}), **_still()}, metadata


def draw_floors() -> Drawing:
    """Draw the floor of the three tasks as a still picture."""
    with house("thesis"):
        figure, panels = canvas("thesis", columns=3, share_y=True)
        for axes, task in zip(panels, TASK_HELP):
            axes.add_patch(Circle(target(task), target_radius(), color=COLOURS[0]))
            axes.add_patch(Circle((0, 0), 14, fill=False, edgecolor=COLOURS[5], linewidth=3))
            if task == "bank":
                axes.plot([BOARD, BOARD], [-50, 500], color=INK, linewidth=4)
                axes.plot(WALL[:2], [WALL[2]] * 2, color=INK, linewidth=5)
            if task == "lob":
                axes.plot([-200, 200], [BAR, BAR], color=INK, linewidth=3, linestyle=(0, (4, 2)))
            axes.set_xlim(-200, 200)
            axes.set_ylim(-50, 500)
            axes.set_aspect("equal")
            axes.set_title(task)
            axes.set_xlabel("cm to the right")
        panels[0].set_ylabel("cm from the start")
    alt = (
        "Three floors seen from above, each with a ring at the bottom and a disc about four metres "
        "away: straight with nothing between, bank with a wall across the direct way and a board "
        "on the right, lob with a low bar across the middle."
    )
    return Drawing("class-experiment", figure, "The three tasks of the class experiment.", alt)


def _still() -> dict[str, str]:
    drawing = draw_floors()
    picture = base64.b64encode(drawing.png(dpi=90)).decode("ascii")
    alt = html.escape(drawing.alt, quote=True)
    note = "The class experiment works in a live notebook; this page shows its three tasks."
    page = f'<p>{note}</p><img alt="{alt}" src="data:image/png;base64,{picture}"/>'
    return {"text/html": page, "text/plain": f"{note} {drawing.alt}"}


def _free(folder: Path, participant: str) -> None:
    if not folder.is_dir():
        raise FileError("there is no such folder", [str(folder)], "create it or name another")
    taken = sitting_file(folder, participant)
    if taken.exists():
        raise FileError(
            "this seat already has a file here",
            [str(taken)],
            "take it up with resume=True, or name another folder",
        )
