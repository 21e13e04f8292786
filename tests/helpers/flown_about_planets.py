"""Motion about a planet a second time: scipy's integrator, a plain right-hand side, nothing of the field's code."""

import numpy as np
from scipy.integrate import solve_ivp

from targets.base.constants import GM_SUN_KM3_S2
from targets.ephemeris import spice
from targets.masses.massive import moons_of
from targets.masses.rotation import body_axes, place_over_ground
from targets.masses.where import Ephemeris


def oblate_km_s2(r, gm, j2, j4, radius, pole):
    """Pull of J2 and J4 as the slope of the potential, by central differences of it."""

    def potential(p):
        d = np.linalg.norm(p)
        s = p @ pole / d
        p2, p4 = (3 * s**2 - 1) / 2, (35 * s**4 - 30 * s**2 + 3) / 8
        return -gm / d * (j2 * (radius / d) ** 2 * p2 + j4 * (radius / d) ** 4 * p4)

    h = 1e-4 * np.linalg.norm(r)
    return np.array([(potential(r + h * e) - potential(r - h * e)) / (2 * h) for e in np.eye(3)])


def rates_about(planet, middle_s):
    """Right-hand side (t, y) of motion about a planet's centre; Sun, Earth, Jupiter and Saturn pull from afar.

    Moons are asked for at every call.
    """
    ephemeris = Ephemeris()
    middle = np.array([middle_s])
    pole = body_axes(planet, middle)[0, 2]
    poles = {moon.name: body_axes(moon, middle)[0, 2] for moon in moons_of(planet)}
    others = ((3, 403_503.235625), (5, 126_712_764.1), (6, 37_940_584.8418))
    far = [(0.0, None)] + [(gm, n) for n, gm in others if planet.number // 100 != n]

    def rates(t, y):
        at = np.array([t])
        centre = ephemeris.about_sun(planet, at)[0, :3]
        a = -planet.gm_km3_s2 * y[:3] / np.linalg.norm(y[:3]) ** 3
        a = a + oblate_km_s2(y[:3], planet.gm_km3_s2, planet.j2, planet.j4, planet.j_radius_km or 1.0, pole)
        for name, states in ephemeris.moons_about_planet(planet, at).items():
            moon = next(m for m in moons_of(planet) if m.name == name)
            d = y[:3] - states[0, :3]
            a = a - moon.gm_km3_s2 * (
                d / np.linalg.norm(d) ** 3 + states[0, :3] / np.linalg.norm(states[0, :3]) ** 3
            )
            if moon.j2:
                a = a + oblate_km_s2(d, moon.gm_km3_s2, moon.j2, 0.0, moon.j_radius_km, poles[name])
        for gm, number in far:
            p = -centre if number is None else spice.sample(number, at)[0, :3] - centre
            gm = GM_SUN_KM3_S2 if number is None else gm
            d = y[:3] - p
            a = a - gm * (d / np.linalg.norm(d) ** 3 + p / np.linalg.norm(p) ** 3)
        return np.concatenate([y[3:], a])

    return rates


def closest_approach(state, begin_s, end_s, planet, body):
    """Distance, epoch and relative state of the closest approach to `body` after `begin_s`, from an own integration."""
    ephemeris, rates = Ephemeris(), rates_about(planet, 0.5 * (begin_s + end_s))

    def relative(t, y):
        at = np.array([t])
        return y if body is planet else y - ephemeris.about_planet(body, at)[0]

    def turn(t, y):
        state = relative(t, y)
        return state[:3] @ state[3:]

    turn.direction, turn.terminal = 1.0, True
    flown = solve_ivp(rates, (begin_s, end_s), state, method="DOP853", rtol=1e-11, atol=1e-8, events=turn)
    met = relative(flown.t_events[0][0], flown.y_events[0][0])
    return float(np.linalg.norm(met[:3])), float(flown.t_events[0][0]), met


def interface_crossing(state, begin_s, end_s, planet, height_km):
    """Epoch and state (6,) at which a height over a planet's spheroid is met on the way in."""

    def above(t, y):
        return place_over_ground(planet, y[:3], t)[0][0] - height_km

    above.direction, above.terminal = -1.0, True
    rates = rates_about(planet, 0.5 * (begin_s + end_s))
    flown = solve_ivp(rates, (begin_s, end_s), state, method="DOP853", rtol=1e-11, atol=1e-8, events=above)
    return float(flown.t_events[0][0]), flown.y_events[0][0]
