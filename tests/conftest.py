"""The whole suite: the collector of cycles looks rarely, and no invented input is timed.

Libraries and collected tests are 700,000 objects; walking them again and again took a third of the
time that collecting the tests needs, and a tenth of that of running them. What Hypothesis invents
takes as long as the machine lets it: a busy one is no failure.
"""

import base64
import gc

import pytest
from hypothesis import HealthCheck, settings

gc.set_threshold(200_000, 20, 100)
settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")

TINY_PNG = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)


def _without_pictures(patch):
    drawn = []

    def stub(self, form, **more):
        drawn.append((self.name, form))
        return TINY_PNG if form == "png" else f"<svg>{self.name}</svg>".encode()

    patch.setattr("motorlearn.figures.Drawing._bytes", stub)
    patch.setattr(
        "matplotlib.layout_engine.ConstrainedLayoutEngine.execute", lambda self, figure: None
    )
    patch.setenv("MOTORLEARN_PROCESSES", "1")
    return drawn


@pytest.fixture(scope="session")
def without_pictures():
    """What ``no_pictures`` does, for a fixture that has a patch of its own."""
    return _without_pictures


@pytest.fixture
def no_pictures(monkeypatch):
    """Make figures and their words, but lay nothing out and draw no file; gives what was asked for.

    For tests that read a report: how its figures look is tested in ``tests/figures``.
    """
    return _without_pictures(monkeypatch)
