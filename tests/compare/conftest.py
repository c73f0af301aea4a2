import pytest
from invented_studies import invent_study


@pytest.fixture
def study():
    return invent_study((7, 5, 9), seed=1)
