"""Reference data of the mixed-model tests."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from statsmodels.regression import tests as statsmodels_tests

REFERENCE = Path(__file__).parents[1] / "reference"
WHEEL = Path(statsmodels_tests.__file__).parent / "results"


@pytest.fixture(scope="session")
def published():
    return json.loads((REFERENCE / "mixed_models" / "values.json").read_text())


@pytest.fixture(scope="session")
def computed():
    stored = json.loads((REFERENCE / "mixed_ring_push" / "values.json").read_text())
    return {key: np.array(value) for key, value in stored.items()}


@pytest.fixture(scope="session")
def ring_push():
    return pd.read_csv(REFERENCE / "mixed_ring_push" / "data.csv").assign(
        phase=lambda t: pd.Categorical(t["phase"], ["posttest", "pretest", "retention"])
    )


@pytest.fixture(scope="session")
def sleepstudy():
    return pd.read_csv(REFERENCE / "mixed_models" / "sleepstudy.csv")


@pytest.fixture(scope="session")
def cbpp():
    table = pd.read_csv(REFERENCE / "mixed_models" / "cbpp.csv")
    return table.assign(period=table["period"].astype(str))


@pytest.fixture(scope="session")
def dietox():
    table = pd.read_csv(WHEEL / "dietox.csv")
    return table.assign(Cuf=table["Cu"].astype(str))


@pytest.fixture(scope="session")
def pastes():
    return pd.read_csv(WHEEL / "pastes.csv")


@pytest.fixture(scope="session")
def small_study():
    """Hits of 12 attempts of 24 participants in two groups at three phases."""
    rng = np.random.default_rng(11)
    person = np.repeat(np.arange(24), 3)
    phase = np.tile(["pretest", "posttest", "retention"], 24)
    eta = -0.4 + 0.6 * (phase != "pretest") + rng.normal(0, 0.8, 24)[person]
    return pd.DataFrame(
        {
            "participant": [f"p{number:02d}" for number in person],
            "group": np.where(person % 2, "random", "blocked"),
            "phase": phase,
            "hits": rng.binomial(12, 1 / (1 + np.exp(-eta))),
            "throws": 12,
            "radial_error": 25 - 4 * eta + rng.normal(0, 3, 72),
        }
    )


@pytest.fixture(scope="session")
def singular():
    folder = REFERENCE / "mixed_singular"
    return pd.read_csv(folder / "data.csv"), json.loads((folder / "values.json").read_text())
