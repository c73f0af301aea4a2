"""What every figure stands on.

``drawn`` holds what a figure function gives, ``levels`` the order and the looks of groups,
``style`` the sizes and the canvas, ``labels`` and ``panels`` what keeps texts apart, ``frames``
what a table must have, ``extents`` where texts end, ``naming`` what an axis says of an outcome,
``printing`` how a figure becomes bytes.
"""

from typing import TYPE_CHECKING

from motorlearn.doors import late_names

if TYPE_CHECKING:
    from motorlearn.figures.drawing.printing import press, print_options
    from motorlearn.figures.drawing.style import printing_style, written

__getattr__, __dir__ = late_names(
    __name__,
    {
        "press": "motorlearn.figures.drawing.printing",
        "print_options": "motorlearn.figures.drawing.printing",
        "printing_style": "motorlearn.figures.drawing.style",
        "written": "motorlearn.figures.drawing.style",
    },
)

__all__ = ["press", "print_options", "printing_style", "written"]
