"""The way down against closed forms, flown probes, and an integration of the textbook's equations by scipy."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from swarm.encounter.entry import air_motion, descent
from swarm.encounter.entry.air_motion import (
    COLUMNS,
    DECEL,
    HEIGHT,
    PRESSURE,
    SPEED,
    STAGE,
    TIME,
    Course,
    X,
)
from swarm.encounter.entry.descent import REACHED, SKIPPED, SLOWED, SURFACE, flown
from swarm.encounter.entry.world import angles_deg, height_over, pull_of
from targets.atmospheres.air import density_kg_m3, sound_km_s
from tests.helpers.entering import flat_world, plain_shell, state_at, thin_air, world_and_air

LOADS_ONLY = Course(1e12, 2.0, -1e3)
G0 = 9.80665
FOOT_M, SLUG_FT3 = 0.3048, 515.378_8


def beta_of(mass, area, drag):
    return mass / (drag * area)


@pytest.mark.parametrize("angle", [45.0, 60.0, 90.0])
def test_closed_form_where_it_holds(angle):
    """Allen & Eggers, NACA Report 1381: V^2 sin(angle)/(2 e H) at V/V_E = e^(-1/2), straight lines, one H."""
    scale, speed = 7.0, 7.5
    air, world, shell = thin_air(scale, 1.2, 200.0), flat_world(), plain_shell(150.0)
    loads, profile = flown(
        state_at(world, 200.0, speed, angle, relative=False), world, air, shell, LOADS_ONLY
    )
    peak = speed**2 * math.sin(math.radians(angle)) / (2.0 * math.e * scale) / air_motion.G_KM_S2
    assert loads.peak_g == pytest.approx(peak, rel=0.005)
    there = profile[np.argmax(profile[:, DECEL]), SPEED] / speed
    assert there == pytest.approx(math.exp(-0.5), abs=0.03)
    hottest = profile[np.argmax(profile[:, air_motion.FLUX]), SPEED] / speed
    assert hottest == pytest.approx(math.exp(-1.0 / 6.0), abs=0.03)


@pytest.mark.parametrize("angle", [45.0, 60.0, 80.0])
def test_closed_form_about_a_planet(angle):
    """With curvature and gravity of Venus it still holds to 5 % at 45 deg and steeper."""
    world, _, _ = world_and_air("Venus")
    air, shell, scale, speed = thin_air(4.5, 60.0, 200.0), plain_shell(190.0), 4.5, 11.5
    loads, _ = flown(state_at(world, 200.0, speed, angle, relative=False), world, air, shell, LOADS_ONLY)
    closed = speed**2 * math.sin(math.radians(angle)) / (2.0 * math.e * scale) / air_motion.G_KM_S2
    assert loads.peak_g == pytest.approx(closed, rel=0.05)


@pytest.mark.parametrize("angle", [8.0, 10.0, 11.9])
def test_closed_form_fails_below_twelve_degrees(angle):
    """Straight lines say far more than is flown about a round planet: more than 20 % apart."""
    world, _, _ = world_and_air("Venus")
    air, shell, scale, speed = thin_air(4.5, 60.0, 200.0), plain_shell(190.0), 4.5, 11.5
    loads, _ = flown(state_at(world, 200.0, speed, angle, relative=False), world, air, shell, LOADS_ONLY)
    closed = speed**2 * math.sin(math.radians(angle)) / (2.0 * math.e * scale) / air_motion.G_KM_S2
    assert closed > 1.2 * loads.peak_g


def test_the_iron_sphere_of_the_report():
    """NACA 1381: one foot of iron, vertical, 30 000 ft/s: 233.9 g at 43 865 ft (inputs printed, answer worked out)."""
    beta = 7874.0 * 4.0 / 3.0 * (0.5 * FOOT_M)
    air = thin_air(22.0 * FOOT_M, 0.0034 * SLUG_FT3, 120.0)
    world = flat_world()
    state = state_at(world, 120.0, 30.0 * FOOT_M, 90.0, relative=False)
    loads, _ = flown(state, world, air, plain_shell(beta), LOADS_ONLY)
    assert beta == pytest.approx(1600.0, rel=1e-3)
    assert loads.peak_g == pytest.approx(233.9, rel=2e-3)
    assert loads.peak_g_km / FOOT_M * 1e3 == pytest.approx(43_865.0, abs=1000.0)


@pytest.mark.parametrize(
    ("name", "speed"), [("Venus", 11.5), ("Earth", 12.0), ("Jupiter", 47.0), ("Titan", 6.0)]
)
@pytest.mark.parametrize("angle", [9.0, 25.0, 70.0])
def test_energy_with_the_work_of_drag_is_constant(name, speed, angle):
    """V^2/2 + U - work, J2 in U: 1e-9 of the energy of motion, over a turning spheroid, down to below Mach 2."""
    world, air, top = world_and_air(name)
    y = np.zeros(air_motion.SIZE)
    y[:6] = state_at(world, top, speed, angle, heading_deg=50.0, latitude_deg=35.0)

    def energy():
        return 0.5 * y[3:6] @ y[3:6] + pull_of(*y[:3], world)[3] - y[6]

    before, motion = energy(), 0.5 * y[3:6] @ y[3:6]
    loads = descent._fly(y, world, air, plain_shell(150.0), LOADS_ONLY, np.empty((0, COLUMNS)))
    assert loads.status in (SLOWED, SKIPPED)
    assert abs(energy() - before) < 1e-9 * motion
    # drag switched on matters
    assert abs(y[6]) > 0.01 * motion or loads.status == SKIPPED


@pytest.mark.parametrize("name", ["Venus", "Mars", "Earth"])
def test_the_equations_of_the_textbook(name):
    """Vinh, Busemann, Culp 1980, ch. 2, on a sphere, by scipy's integrator: height, speed and place to metres."""
    world, air, top = world_and_air(name)
    world = world._replace(polar_km=world.radius_km, j2=0.0)
    beta, speed, angle, heading, latitude = 150.0, 9.0, 20.0, 40.0, 25.0
    w, mu = world.spin_rad_s, world.gm

    def rates(t, y):
        v, g, psi, r, _, lat = y
        drag = 0.5e3 * density_kg_m3(r - world.radius_km, air) * v * v / beta
        gravity, c, s = mu / r**2, math.cos(lat), math.sin(lat)
        turn = w * w * r * c
        return (
            -drag - gravity * math.sin(g) + turn * (math.sin(g) * c - math.cos(g) * s * math.sin(psi)),
            (
                -(gravity - v * v / r) * math.cos(g)
                + 2.0 * w * v * c * math.cos(psi)
                + turn * (math.cos(g) * c + math.sin(g) * s * math.sin(psi))
            ) / v,
            -v / r * math.cos(g) * math.cos(psi) * math.tan(lat)
            + 2.0 * w * (math.tan(g) * c * math.sin(psi) - s)
            - turn / (v * math.cos(g)) * s * math.cos(psi),
            v * math.sin(g),
            v * math.cos(g) * math.cos(psi) / (r * c),
            v * math.cos(g) * math.sin(psi) / r,
        )  # fmt: skip

    begin = (
        speed, -math.radians(angle), math.radians(90.0 - heading), world.radius_km + top, 0.0, math.radians(latitude),
    )  # fmt: skip
    state = state_at(world, top, speed, angle, heading_deg=heading, latitude_deg=latitude)
    _, profile = flown(state, world, air, plain_shell(beta), LOADS_ONLY)
    other = solve_ivp(
        rates, (0.0, profile[-1, TIME]), begin, method="DOP853", rtol=1e-11, atol=1e-12, max_step=0.3,
        t_eval=profile[:, TIME],
    )  # fmt: skip
    v, _, _, r, lon, lat = other.y
    turned = lon + w * other.t
    place = r * np.array([np.cos(lat) * np.cos(turned), np.cos(lat) * np.sin(turned), np.sin(lat)])
    assert np.abs(profile[:, X : X + 3] - place.T).max() < 0.01
    assert np.abs(profile[:, SPEED] - v).max() < 1e-4
    assert np.abs(profile[:, HEIGHT] - (r - world.radius_km)).max() < 0.01


@pytest.mark.parametrize(
    ("angle", "mass", "diameter", "flown_g"), [(25.4, 90.0, 0.76, 223.0), (68.7, 90.0, 0.76, 458.0)]
)
def test_small_probes_of_venus(angle, mass, diameter, flown_g):
    """1978, day and north: 11.54 km/s at 200 km, 223 and 458 g flown (from memory); 12 %, and never below."""
    world, air, top = world_and_air("Venus")
    shell = plain_shell(beta_of(mass, math.pi / 4.0 * diameter**2, 1.05))
    loads, _ = flown(state_at(world, top, 11.54, angle), world, air, shell, LOADS_ONLY)
    assert loads.peak_g == pytest.approx(flown_g, rel=0.12)


def test_the_probe_of_titan():
    """2005: 6.03 km/s, 65.2 deg at 1270 km, 320 kg, 5.73 m^2, C_D 1.5 (planetary archive): 12.3 g near 232 km; 10 %."""
    world, air, top = world_and_air("Titan")
    shell = plain_shell(beta_of(320.0, 5.73, 1.5))
    loads, _ = flown(state_at(world, top, 6.03, 65.2), world, air, shell, LOADS_ONLY)
    assert loads.peak_g == pytest.approx(12.3, rel=0.10)
    assert loads.peak_g_km == pytest.approx(232.0, rel=0.10)


def test_the_probe_of_jupiter():
    """1995: 47.4 km/s against the air, 8.4 deg at 450 km: 228 g flown (from memory), 15 %; 59.6 km/s inertial, 1 %."""
    world, air, top = world_and_air("Jupiter")
    state = state_at(world, top, 47.4, 8.4, latitude_deg=6.5)
    speed, angle, _ = angles_deg(state, world, turning_rad_s=0.0)
    assert speed == pytest.approx(59.6, rel=0.01)
    assert angle == pytest.approx(6.6, abs=0.1)
    shell = plain_shell(beta_of(339.0, math.pi / 4.0 * 1.25**2, 1.05))
    loads, _ = flown(state, world, air, shell, LOADS_ONLY)
    assert loads.peak_g == pytest.approx(228.0, rel=0.15)


def test_a_shallow_probe_skips_and_a_steeper_one_does_not():
    world, air, top = world_and_air("Venus")
    shell = plain_shell(190.0)
    course = Course(1e5, 0.0, 0.0)
    assert flown(state_at(world, top, 11.4, 5.0), world, air, shell, course)[0].status == SKIPPED
    loads, profile = flown(state_at(world, top, 11.4, 12.0), world, air, shell, course)
    assert loads.status == REACHED
    assert profile[-1, PRESSURE] == pytest.approx(1e5, rel=1e-6)
    assert loads.rows == len(profile)


def test_terminal_fall_is_the_closed_form_of_one_scale_height():
    """The last 10 km at V = sqrt(2 beta g/rho): t = 2 H/V_0 (exp(h/(2 H)) - 1), by a separate sum."""
    scale, beta, ground = 8.0, 20.0, 1.2
    world, air = flat_world(gm=9.8e-3 * 1e14), thin_air(scale, ground, 200.0)
    state = state_at(world, 60.0, 0.3, 90.0, relative=False)
    loads, profile = flown(state, world, air, plain_shell(beta), Course(1e12, 0.0, 0.0))
    assert loads.status == SURFACE
    assert loads.end_km == pytest.approx(0.0, abs=1e-6)
    low = profile[profile[:, HEIGHT] < 10.0]
    heights = np.linspace(low[-1, HEIGHT], low[0, HEIGHT], 20_001)
    speed = 1e-3 * np.sqrt(2.0 * beta * 9.8 / (ground * np.exp(-heights / scale)))
    assert low[-1, TIME] - low[0, TIME] == pytest.approx(np.trapezoid(1.0 / speed, heights), rel=2e-3)
    assert low[-1, SPEED] == pytest.approx(1e-3 * math.sqrt(2.0 * beta * 9.8 / ground), rel=2e-3)


def test_stages_follow_one_another():
    """A parachute at Mach 0.8, let go at 1 bar: each begins where it is said to, and the fall is as slow as it says."""
    world, air, top = world_and_air("Venus")
    stages = [("mach", 0.8, 5.0, 0.6, 60.0), ("bar", 1.0, 0.4, 0.8, 60.0), ("km", 20.0, 0.1, 0.8, 60.0)]
    course = Course(9e6, 0.0, 0.0)
    loads, profile = flown(
        state_at(world, top, 11.4, 30.0), world, air, plain_shell(190.0, stages=stages), course
    )
    assert loads.status == REACHED
    begins = [profile[np.argmax(profile[:, STAGE] == k) - 1] for k in (1, 2, 3)]
    assert begins[0][SPEED] / sound_km_s(begins[0][HEIGHT], air) == pytest.approx(0.8, rel=1e-4)
    assert begins[1][PRESSURE] == pytest.approx(1e5, rel=1e-5)
    assert begins[2][HEIGHT] == pytest.approx(20.0, abs=1e-4)
    last = profile[-1]
    beta = 60.0 / (0.1 * 0.8)
    terminal = 1e-3 * math.sqrt(2.0 * beta * 8.87 / density_kg_m3(last[HEIGHT], air))
    assert last[SPEED] == pytest.approx(terminal, rel=0.01)
    without, _ = flown(
        state_at(world, top, 11.4, 30.0), world, air, plain_shell(190.0), Course(1e5, 0.0, 0.0)
    )
    assert begins[1][TIME] > without.end_s + 60.0
    assert (np.diff(profile[:, TIME]) > 0.0).all()
    assert (np.diff(profile[-50:, HEIGHT]) < 0.0).all()


def test_a_place_on_the_ground_goes_round_with_it():
    """In the fall the longitude under the probe stays, with the air's turning and no wind."""
    world, air, top = world_and_air("Earth")
    loads, profile = flown(
        state_at(world, top, 11.0, 40.0, latitude_deg=30.0),
        world,
        air,
        plain_shell(100.0),
        Course(1e5, 0.0, 0.0),
    )
    east = (
        np.degrees(np.arctan2(profile[:, X + 1], profile[:, X]))
        - np.degrees(world.spin_rad_s) * profile[:, TIME]
    )
    fallen = profile[:, HEIGHT] < 15.0
    assert np.ptp(east[fallen]) < 1e-3
    assert loads.end_s > 200.0


def test_height_is_the_other_modules_height():
    """Against the plain Newton iteration of targets.masses.rotation, over Jupiter."""
    from targets.masses.massive import mass_named
    from targets.masses.rotation import body_axes, place_over_ground

    world, _, _ = world_and_air("Jupiter")
    jupiter, rng = mass_named("Jupiter"), np.random.default_rng(3)
    axes = body_axes(jupiter, 0.0)[0]
    for _ in range(50):
        direction = rng.standard_normal(3)
        fixed = 71_000.0 * (1.0 + 0.01 * rng.random()) * direction / np.linalg.norm(direction)
        height, latitude, _ = place_over_ground(jupiter, fixed @ axes, 0.0)
        ours, _, up = height_over(*fixed, world)
        assert ours == pytest.approx(height[0], abs=1e-6)
        assert math.degrees(math.asin(up)) == pytest.approx(latitude[0], abs=1e-8)
