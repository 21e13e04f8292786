"""Small cases are flown as aimed, also where a changed study judges them again; a real run is judged as it is."""

import pytest

from swarm.decide import grounds, sensitivity
from tests.helpers.flown_as_aimed import judged_again


@pytest.fixture
def judged_as_aimed(monkeypatch):
    for module in (grounds, sensitivity):
        monkeypatch.setattr(module, "judged_again", judged_again)
