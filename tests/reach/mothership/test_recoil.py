"""Releases: mass, recoil, displacement."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from swarm.reach.mothership.mass import mothership_displacement_km, releases
from targets.base.constants import DAY_S


def test_14_kg_at_1_m_s_from_600_kg():
    # 2.3 cm/s and 202 km in 100 d: design figures, and m v / M by hand
    one = releases(600.0, [14.0], [[1.0, 0.0, 0.0]])
    assert one.recoil_m_s[0] == pytest.approx([-14.0 / 600.0, 0.0, 0.0], rel=1e-15)
    assert one.mass_after_kg == pytest.approx([586.0])
    moved = mothership_displacement_km(one.recoil_m_s, [0.0], [100.0 * DAY_S])
    assert np.linalg.norm(moved) == pytest.approx(202.0, abs=0.5)


def test_mass_runs_down_and_recoil_grows():
    dozen = releases(600.0, np.full(12, 14.0), np.tile([0.0, 1.0, 0.0], (12, 1)))
    assert dozen.mass_after_kg == pytest.approx(600.0 - 14.0 * np.arange(1, 13))
    assert dozen.mass_before_kg[1:] == pytest.approx(dozen.mass_after_kg[:-1])
    assert (np.diff(np.linalg.norm(dozen.recoil_m_s, axis=1)) > 0.0).all()


@given(
    probes=arrays(float, 5, elements=st.floats(0.1, 50.0)),
    separation=arrays(float, (5, 3), elements=st.floats(-20.0, 20.0)),
    bus_kg=st.floats(1.0, 5000.0),
)
def test_momentum_closes_at_every_release(probes, separation, bus_kg):
    done = releases(bus_kg + probes.sum(), probes, separation)
    momentum = probes[:, None] * done.probe_change_m_s + done.mass_after_kg[:, None] * done.recoil_m_s
    scale = max(1e-300, float(np.abs(probes[:, None] * separation).max()))
    assert np.abs(momentum).max() <= 1e-12 * scale
    assert done.probe_change_m_s - done.recoil_m_s == pytest.approx(separation, rel=1e-12, abs=1e-12)


def test_nothing_moves_before_its_release_and_releases_add():
    two = releases(600.0, [14.0, 14.0], [[1.0, 0.0, 0.0], [0.0, 0.0, 2.0]])
    moved = mothership_displacement_km(two.recoil_m_s, [0.0, DAY_S], [-5.0, DAY_S, 3.0 * DAY_S])
    assert (moved[0] == 0.0).all()
    assert moved[1] == pytest.approx(two.recoil_m_s[0] * 86.4)
    assert moved[2] == pytest.approx(two.recoil_m_s[0] * 3.0 * 86.4 + two.recoil_m_s[1] * 2.0 * 86.4)


@pytest.mark.parametrize("probes", [[300.0, 300.0], [0.0], [-1.0]])
def test_more_than_the_mothership_holds_is_refused(probes):
    with pytest.raises(ValueError, match="mass"):
        releases(600.0, probes, np.zeros((len(probes), 3)))


def test_a_plan_without_probes_has_no_releases():
    none = releases(600.0, np.empty(0), np.empty((0, 3)))
    assert [len(part) for part in (none.mass_before_kg, none.mass_after_kg, none.recoil_m_s)] == [0, 0, 0]
