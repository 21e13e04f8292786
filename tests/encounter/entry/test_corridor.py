"""Edges of the corridor, what binds, and the chance to be inside against flown samples."""

import math

import numpy as np
import pytest
from numba import njit

from swarm.encounter.entry.air_motion import Course
from swarm.encounter.entry.arrival import arrival_state, asymptote_of
from swarm.encounter.entry.corridor import (
    DECEL,
    FLUX,
    FREE,
    HEAT,
    SKIP,
    _edges_at,
    _loads_at,
    corridor_chance,
    corridor_of,
)
from swarm.encounter.entry.descent import SKIPPED
from swarm.encounter.entry.heating import CONVECTIVE
from swarm.encounter.entry.shell import ShellLimits, shell_of
from swarm.encounter.entry.world import world_of
from swarm.reach.approach.entry_goals import Interface, entry_aim_km
from swarm.reach.approach.goals import aim_of, frame_of
from targets.atmospheres.air import Air
from targets.atmospheres.shipped import atmosphere_named, shipped_for
from targets.masses.massive import mass_named
from targets.masses.rotation import body_axes, place_over_ground, surface_normal

SIGMA = (0.05, 0.30)
WIDE = ShellLimits(math.inf, math.inf, math.inf)


class Case:
    """A passage of a planet by its excess velocity, and a shell there."""

    def __init__(self, name="Venus", v_inf=(3.0, 3.5, 1.8), mass_kg=90.0, diameter_m=0.76):
        self.body, self.there = mass_named(name), atmosphere_named(shipped_for(name))
        self.turn = np.ascontiguousarray(body_axes(self.body, 0.0)[0])
        self.world = world_of(self.body, 0.0)
        body = self.body
        self.interface = Interface(
            body.interface_km, body.radius_km, body.polar_radius_km, self.turn[2].copy()
        )
        self.asymptote = asymptote_of(np.array(v_inf), self.body.gm_km3_s2)
        self.shell = shell_of(
            mass_kg=mass_kg, diameter_m=diameter_m, drag_coefficient=1.05, nose_m=0.3,
            convective=CONVECTIVE[self.there.gas], radiative=0,
        )  # fmt: skip
        self.course = Course(1e12, 2.0, float(self.there.height_km[0]))

    def air(self, spread=0.0):
        return self.there.air(spread, SIGMA, self.body.interface_km)

    def corridor(self, limits, **more):
        return corridor_of(
            self.asymptote, self.interface, turn=self.turn, world=self.world, air_at=self.air, shell=self.shell,
            limits=limits, ground_km=self.course.ground_km, **more,
        )  # fmt: skip

    def loads(self, angle_deg, clock_deg=0.0, spread=0.0):
        return _loads_at(
            math.radians(angle_deg), math.radians(clock_deg), self.asymptote, self.interface, self.turn, self.world,
            self.air(spread), self.shell, self.course,
        )  # fmt: skip


@pytest.fixture(scope="module")
def venus():
    return Case()


@pytest.fixture(scope="module")
def limited(venus):
    return venus.corridor(ShellLimits(300.0, math.inf, 14_000.0))


@pytest.mark.parametrize("name", ["Venus", "Jupiter"])
def test_an_arrival_is_where_it_says(name):
    """Height and angle by the places of targets.masses, clock angle and energy by the B-plane of the state."""
    case = Case(name)
    for clock, angle in ((20.0, 8.0), (110.0, 35.0), (250.0, 85.0), (300.0, 70.0)):
        state = arrival_state(case.asymptote, math.radians(clock), math.radians(angle), case.interface)
        height, latitude, longitude = place_over_ground(case.body, state[:3], 0.0)
        up = surface_normal(case.body, latitude, longitude, 0.0)[0]
        assert height[0] == pytest.approx(case.body.interface_km, abs=1e-4)
        below = -math.degrees(math.asin(state[3:] @ up / np.linalg.norm(state[3:])))
        assert below == pytest.approx(angle, abs=1e-4)
        frame = frame_of(state, case.body.gm_km3_s2)
        assert frame.v_inf == pytest.approx(case.asymptote.v_inf, rel=1e-10)
        assert np.array(frame.s) == pytest.approx(np.array(case.asymptote.s), abs=1e-9)
        b_t, b_r = aim_of(state, frame)
        if name == "Venus" and angle < 86.0:
            assert math.degrees(math.atan2(b_r, b_t)) % 360.0 == pytest.approx(clock, abs=1e-6)
            expected = entry_aim_km(math.radians(angle), frame.v_inf, frame.mu, case.interface)
            assert math.hypot(b_t, b_r) == pytest.approx(expected, rel=1e-9)


def test_edges_are_where_something_happens(venus, limited):
    shallow, steep = limited.edges_deg(0.0)
    assert limited.reasons(0.0) == (HEAT, DECEL)
    assert venus.loads(shallow - 0.02).load > 14_000.0 > venus.loads(shallow + 0.02).load
    assert venus.loads(steep - 0.02).peak_g < 300.0 < venus.loads(steep + 0.02).peak_g


def test_without_limits_the_corridor_goes_from_skip_to_straight_down(venus):
    free = venus.corridor(WIDE)
    shallow, steep = free.edges_deg(40.0)
    assert free.reasons(40.0) == (SKIP, FREE)
    assert steep == 90.0
    assert venus.loads(shallow - 0.02, 40.0).status == SKIPPED
    assert venus.loads(shallow + 0.02, 40.0).status != SKIPPED
    # thinner air lets go of what thicker air keeps
    assert free.edges_deg(40.0, -2.0)[0] > shallow > free.edges_deg(40.0, 2.0)[0]


def test_flux_and_an_empty_corridor(venus):
    flux = venus.loads(30.0).convective
    by_flux = venus.corridor(ShellLimits(math.inf, flux, math.inf))
    assert by_flux.reasons(0.0)[1] == FLUX
    assert by_flux.edges_deg(0.0)[1] == pytest.approx(30.0, abs=0.01)
    # 5 g are less than the shallowest entry that stays bears: nothing is between the edges
    nothing = venus.corridor(ShellLimits(5.0, math.inf, math.inf))
    shallow, steep = nothing.edges_deg(0.0)
    assert steep <= shallow
    assert nothing.reasons(0.0) == (SKIP, DECEL)


def test_between_its_nodes_the_corridor_is_what_is_flown():
    """Jupiter, whose turning makes two degrees between clock angles: beside the nodes within 0.05 deg."""
    case = Case("Jupiter", v_inf=(4.0, 3.5, 1.8), mass_kg=339.0, diameter_m=1.25)
    limits = ShellLimits(350.0, math.inf, math.inf)
    found = case.corridor(limits)
    assert np.ptp(found.steep_deg[1]) > 1.5
    for clock in (45.0, 165.0, 315.0):
        shallow, steep, _, _ = _edges_at(
            math.radians(clock), case.asymptote, case.interface, case.turn, case.world, case.air(), case.shell,
            limits, case.course,
        )  # fmt: skip
        assert found.edges_deg(clock) == pytest.approx((math.degrees(shallow), math.degrees(steep)), abs=0.05)


@njit(cache=True)
def counted(angles, spreads, off, clock, asymptote, interface, turn, world, air, shell, limits, course):
    """How many flown samples come down within the limits; off (rows,) of the logarithm of density a sigma."""
    inside = 0
    for n in range(angles.size):
        own = Air(
            air.height_km,
            air.log_density + spreads[n] * off,
            air.log_pressure,
            air.temperature_k,
            air.heat_ratio,
        )
        loads = _loads_at(angles[n], clock, asymptote, interface, turn, world, own, shell, course)
        if (
            loads.status != SKIPPED
            and loads.peak_g <= limits.decel_g
            and loads.convective + loads.radiative <= limits.flux_w_cm2
            and loads.load <= limits.load_j_cm2
        ):
            inside += 1
    return inside


@pytest.mark.slow
@pytest.mark.parametrize(("edge", "inside_deg"), [(0, 1.0), (1, -0.5)])
def test_the_chance_of_the_corridor_against_flown_samples(venus, limited, edge, inside_deg):
    """1e5 probes, each delivered and each in air of its own, all flown: within three sigma."""
    rng, n, clock = np.random.default_rng(11), 100_000, math.radians(25.0)
    limits = ShellLimits(300.0, math.inf, 14_000.0)
    angle = limited.edges_deg(25.0)[edge] + inside_deg
    size = entry_aim_km(math.radians(angle), venus.asymptote.v_inf, venus.asymptote.mu, venus.interface)
    b = size * np.array([math.cos(clock), math.sin(clock)])
    cov = np.array([[120.0**2, 4000.0], [4000.0, 90.0**2]])
    points = rng.multivariate_normal(b, cov, size=n)
    most = entry_aim_km(0.0, venus.asymptote.v_inf, venus.asymptote.mu, venus.interface)
    angles = np.arccos(np.minimum(np.hypot(*points.T) / most, 1.0))
    off = venus.air(1.0).log_density - venus.air(0.0).log_density
    share = counted(
        np.maximum(angles, math.radians(0.6)), rng.standard_normal(n), off, clock, venus.asymptote, venus.interface,
        venus.turn, venus.world, venus.air(), venus.shell, limits, venus.course,
    ) / n  # fmt: skip
    got = corridor_chance(
        limited, b, np.array([cov[0, 0], cov[1, 1], cov[0, 1]]), angle_deg=angle, asymptote=venus.asymptote,
        interface=venus.interface,
    )  # fmt: skip
    figures = f"{angle} deg: kernel {got:.5f}, flown {share:.5f}"
    assert 0.2 < got < 0.999
    assert abs(got - share) < 3.0 * math.sqrt(got * (1.0 - got) / n), figures


def test_a_wide_delivery_has_little_chance(venus, limited):
    """Twice as wide is less likely to be inside; outside the corridor an aim has less than a half."""
    size = entry_aim_km(math.radians(20.0), venus.asymptote.v_inf, venus.asymptote.mu, venus.interface)

    def chance(sigma, angle=20.0, b=size):
        return corridor_chance(
            limited, np.array([b, 0.0]), np.array([sigma**2, sigma**2, 0.0]), angle_deg=angle,
            asymptote=venus.asymptote, interface=venus.interface,
        )  # fmt: skip

    assert chance(20.0) > 0.999
    assert chance(20.0) > chance(300.0) > chance(600.0)
    shallow, steep = limited.edges_deg(0.0)
    steep_km = entry_aim_km(
        math.radians(steep + 1.0), venus.asymptote.v_inf, venus.asymptote.mu, venus.interface
    )
    assert chance(100.0, steep + 1.0, steep_km) < 0.5
    assert shallow < 20.0 < steep
