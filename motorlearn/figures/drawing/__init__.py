"""What every figure stands on.

``drawn`` holds what a figure function gives, ``levels`` the order and the looks of groups,
``style`` the sizes and the canvas, ``labels`` and ``panels`` what keeps texts apart, ``frames``
what a table must have, ``extents`` where texts end, ``printing`` how a figure becomes bytes.
"""

from typing import TYPE_CHECKING

from motorlearn.doors import late_names

if TYPE_CHECKING:
    from motorlearn.figures.drawing.style import written

__getattr__, __dir__ = late_names(__name__, {"written": "motorlearn.figures.drawing.style"})

__all__ = ["written"]
