"""A mothership moved by the Sun alone is refused where it would be flown, and a study is warned before."""

import pytest

from swarm.refine.two_body import require_flyable, two_body_warning
from targets.base.errors import InputError
from tests.helpers.refined_arc import make_study


def with_motion(motion):
    study = make_study()
    return study.model_copy(update={"mothership": study.mothership.model_copy(update={"motion": motion})})


def test_a_two_body_mothership_is_refused_with_what_would_do():
    with pytest.raises(InputError, match="perturbed"):
        require_flyable(with_motion("kepler"))
    assert "not refined" in two_body_warning(with_motion("kepler"))


def test_one_that_feels_the_planets_is_flown():
    require_flyable(with_motion("perturbed"))
    assert two_body_warning(with_motion("perturbed")) is None
