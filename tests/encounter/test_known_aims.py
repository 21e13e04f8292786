"""An aim point that is looked up is the one that would be found, to the last bit."""

from __future__ import annotations

import numpy as np

from swarm.encounter.aim import best_aim
from swarm.encounter.known_aims import aim_as_known, known_aims
from tests.encounter.test_aim import case


def test_what_was_asked_before_is_answered_the_same_and_nothing_else_is() -> None:
    known = np.full_like(known_aims(), np.nan)
    cases = [case(seed) for seed in range(30)]
    for _ in range(2):
        for optics, cov, sun, along in cases:
            for seen in (optics, optics._replace(pixels_most=0.5 * optics.pixels_most)):
                for spread in (cov, cov * np.array([1.0, 1.0, -1.0]), np.zeros(3)):
                    found = aim_as_known(spread, sun, seen, along, known)
                    assert found == best_aim(spread, sun, seen, along)


def test_a_number_that_changes_in_its_last_bit_is_asked_anew() -> None:
    known = np.full_like(known_aims(), np.nan)
    optics, cov, sun, along = case(3)
    aim_as_known(cov, sun, optics, along, known)
    # a wrong answer in every place: only what is asked for the very same numbers may find it
    known[:, 15:] = 7.0
    assert aim_as_known(cov, sun, optics, along, known) == (7.0, 7.0, 7.0)
    for place in range(3):
        other = cov.copy()
        other[place] = np.nextafter(other[place], np.inf)
        assert aim_as_known(other, sun, optics, along, known) == best_aim(other, sun, optics, along)
    for name, value in optics._asdict().items():
        seen = optics._replace(**{name: np.nextafter(value, np.inf)})
        assert aim_as_known(cov, sun, seen, along, known) == best_aim(cov, sun, seen, along)
