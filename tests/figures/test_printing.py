"""Figures drawn in another process are the same bytes; what cannot be sent is drawn here."""

import subprocess
import sys

import pytest
import seaborn as sns
from matplotlib.ticker import FuncFormatter

from motorlearn.figures import canvas, house
from motorlearn.figures.drawing.printing import Press, press, print_options
from motorlearn.figures.drawing.style import Drawing, printing_style

FORMS = ("png", "svg", "pdf")


def drawing(label="time (s)"):
    with house("column"):
        figure, (axes,) = canvas("column")
        axes.plot([1, 2, 3], [4, 2, 3], marker="o")
        axes.set_xlabel(label)
    return Drawing("little", figure)


def here(made):
    return {form: made._bytes(form) for form in FORMS}


def elsewhere(made, drawers):
    with printing_style():
        answer = drawers.take(made.figure, print_options(made.name))
    return None if answer is None else answer.result(120)


@pytest.mark.parametrize("theme", [None, "darkgrid"])
def test_another_process_draws_the_same_bytes(theme):
    try:
        if theme:
            sns.set_theme(style=theme)
        with press(1) as drawers:
            assert elsewhere(drawing(), drawers) == here(drawing())
    finally:
        sns.reset_orig()


def test_what_cannot_be_sent_is_not_taken():
    made = drawing()
    made.figure.axes[0].xaxis.set_major_formatter(FuncFormatter(lambda value, at: f"<{value}>"))
    with press(1) as drawers:
        assert elsewhere(made, drawers) is None
    assert here(made)["png"]


def test_fonts_of_the_user_alone_are_drawn_here():
    drawers = Press(1)
    drawers.fonts += 1  # as after font_manager.addfont
    try:
        assert elsewhere(drawing(), drawers) is None
    finally:
        drawers.close()


def test_a_process_that_dies_leaves_the_work_to_us():
    drawers = Press(1)
    try:
        assert elsewhere(drawing(), drawers)
        drawers.workers[0].kill()
        drawers.workers[0].wait()
        assert elsewhere(drawing(), drawers) is None
    finally:
        drawers.close()
    assert all(worker.poll() is not None for worker in drawers.workers)


def test_one_processor_draws_alone(monkeypatch):
    monkeypatch.setenv("MOTORLEARN_PROCESSES", "1")
    with press() as drawers:
        assert elsewhere(drawing(), drawers) is None
        assert drawers.workers == []


def test_no_process_can_be_started(monkeypatch):
    monkeypatch.setattr(sys, "executable", "/no/such/python")
    with press(1) as drawers:
        assert elsewhere(drawing(), drawers) is None


def test_a_drawing_process_loads_matplotlib_and_little_else():
    code = (
        "import sys, motorlearn.figures.drawing.printing\n"
        "print([n for n in ('seaborn', 'pandas', 'scipy', 'statsmodels') if n in sys.modules])"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"
