"""B-plane axes, closed forms of the hyperbola, a printed flyby, and the first-order influence of a velocity change."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swarm.reach.arcs.bplane import (
    b_plane_axes,
    b_vector_km,
    eccentricity,
    impact_parameter_km,
    outgoing_v_inf_km_s,
    periapsis_km,
    turn_angle_rad,
)
from targets.motion.twobody import drift

# GM and radii as the printed examples use them.
MU_VENUS, R_VENUS = 324_900.0, 6052.0
# Europa: 3202.739 km^3/s^2, 1560.8 km; Enceladus: 7.2027 km^3/s^2, 252.1 km (usual planetary constants, from memory).
EUROPA, ENCELADUS = (3202.739, 1560.8), (7.2027, 252.1)

unit_parts = st.floats(-1.0, 1.0)


@settings(deadline=None)  # the first call compiles
@given(unit_parts, unit_parts, unit_parts, st.floats(0.1, 80.0))
def test_axes_are_right_handed_and_orthonormal(x: float, y: float, z: float, speed: float) -> None:
    size = math.sqrt(x * x + y * y + z * z)
    if size < 1e-3:
        return
    v = speed * np.array([x, y, z]) / size
    s, t, r = b_plane_axes(v)[0]
    assert np.stack([s, t, r]) @ np.stack([s, t, r]).T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.cross(s, t) == pytest.approx(r, abs=1e-12)
    assert s == pytest.approx(v / speed, abs=1e-12)


def test_axes_by_hand() -> None:
    """S along +X: T = S x Z = -Y, R = S x T = -Z. Within 5 deg of the pole +X takes the place of +Z."""
    s, t, r = b_plane_axes([3.0, 0.0, 0.0])[0]
    assert (list(s), list(t), list(r)) == ([1, 0, 0], [0, -1, 0], [0, 0, -1])
    s, t, r = b_plane_axes([0.0, 0.0, 2.0])[0]
    assert (list(s), list(t), list(r)) == ([0, 0, 1], [0, 1, 0], [-1, 0, 0])
    near, far = (math.radians(angle) for angle in (4.9, 5.1))
    assert b_plane_axes([math.sin(near), 0.0, math.cos(near)])[0, 1] == pytest.approx([0, 1, 0], abs=1e-12)
    assert b_plane_axes([math.sin(far), 0.0, math.cos(far)])[0, 1] == pytest.approx([0, -1, 0], abs=1e-12)


def test_b_vector_is_the_closest_approach_of_a_straight_path() -> None:
    rng = np.random.default_rng(2)
    r, v = rng.normal(size=(50, 3)) * 1e5, rng.normal(size=(50, 3)) * 5.0
    t = -np.einsum("ij,ij->i", r, v) / np.einsum("ij,ij->i", v, v)
    nearest = r + t[:, None] * v
    b = b_vector_km(r, v)
    axes = b_plane_axes(v)
    assert np.einsum("ni,nij->nj", b, axes[:, 1:]) == pytest.approx(nearest, abs=1e-6)


def test_venus_flyby() -> None:
    """Curtis, Orbital Mechanics for Engineering Students, Example 8.6: 300 km above Venus, on either side."""
    spacecraft, venus = np.array([37.51, 2.782, 0.0]), np.array([35.02, 0.0, 0.0])
    v_in = spacecraft - venus
    rp, speed = R_VENUS + 300.0, float(np.linalg.norm(v_in))
    assert math.degrees(float(turn_angle_rad(rp, speed, mu_km3_s2=MU_VENUS))) == pytest.approx(
        103.6, abs=0.05
    )
    b = float(impact_parameter_km(rp, speed, mu_km3_s2=MU_VENUS))
    across = np.cross([0.0, 0.0, 1.0], v_in / speed)
    out = [
        outgoing_v_inf_km_s(v_in, side * b * across, mu_km3_s2=MU_VENUS)[0] + venus for side in (1.0, -1.0)
    ]
    printed = {"dark": [31.73, 1.766], "lit": [37.14, -3.074]}
    found = sorted((list(v[:2]) for v in out), key=lambda v: v[0])
    # the last digit of the inputs moves the answer by as much as this
    assert found[0] == pytest.approx(printed["dark"], abs=0.01)
    assert found[1] == pytest.approx(printed["lit"], abs=0.01)


@pytest.mark.parametrize(
    ("body", "altitude_km", "v_inf_km_s", "b_km"),
    # Computed independently.
    [(EUROPA, 100.0, 4.0, 1850.2), (ENCELADUS, 25.0, 8.0, 277.2)],
)
def test_impact_parameter_of_low_passes(
    body: tuple[float, float], altitude_km: float, v_inf_km_s: float, b_km: float
) -> None:
    mu, radius = body
    assert float(impact_parameter_km(radius + altitude_km, v_inf_km_s, mu_km3_s2=mu)) == pytest.approx(
        b_km, abs=0.1
    )


@settings(deadline=None)  # the first call compiles
@given(st.floats(1e3, 1e6), st.floats(0.5, 30.0))
def test_closed_forms_against_motion(rp_km: float, v_inf_km_s: float) -> None:
    """From periapsis outwards the path bends by half of the turn; its momentum over v_inf is |B|."""
    mu = 398_600.4415
    e = float(eccentricity(rp_km, v_inf_km_s, mu_km3_s2=mu))
    b = float(impact_parameter_km(rp_km, v_inf_km_s, mu_km3_s2=mu))
    assert b == pytest.approx(mu / v_inf_km_s**2 * math.sqrt(e * e - 1.0), rel=1e-9)
    assert float(periapsis_km(b, v_inf_km_s, mu_km3_s2=mu)) == pytest.approx(rp_km, rel=1e-9)
    far = drift(
        rp_km, 0.0, 0.0, 0.0, math.sqrt(v_inf_km_s**2 + 2.0 * mu / rp_km), 0.0, mu, 1e4 * rp_km / v_inf_km_s
    )
    half = 0.5 * float(turn_angle_rad(rp_km, v_inf_km_s, mu_km3_s2=mu))
    # at periapsis the path is along +Y; it bends towards the body, to -X
    assert math.atan2(-far[3], far[4]) == pytest.approx(half, abs=2e-3)
    momentum = far[0] * far[4] - far[1] * far[3]
    assert momentum / v_inf_km_s == pytest.approx(b, rel=1e-6)


def test_a_flyby_without_mass_does_not_turn() -> None:
    v_in, b = np.array([0.0, 0.0, 5.0]), np.array([300.0, 0.0, 0.0])
    assert outgoing_v_inf_km_s(v_in, b, mu_km3_s2=0.0)[0] == pytest.approx(v_in)
    assert outgoing_v_inf_km_s(v_in, b, mu_km3_s2=1e4)[0, 0] < -0.1
