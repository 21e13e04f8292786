"""Many bodies followed for decades until they hit a planet. Compiled.

The forces and the integrator are those of `forces`. Bodies that start close together go through common steps, for
which the planets' places are looked up once for all; whoever is near a planet, or needs a shorter step, goes through
that step alone. What becomes of a body does not depend on those beside it, but for the length of the common step. All
in km, km/s, s.

Nobody is left out beforehand. What planets can do to the angular momentum, the eccentricity vector and so the shell of
a body can be bounded for sure, but only over 8 years for a = 2.5 au, e = 0.1 (20 for 2.2 au, 0.02) before the bound
reaches Mars or runs away towards Jupiter; 50 and 100 years are asked for.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.reach.mothership.flybys import PLANETS
from swarm.refine.forces import (
    _EARTH,
    _EMB,
    _PER_C2,
    _STEPS_MAX,
    NAMES,
    OK,
    TOLERANCE,
    TOO_MANY_STEPS,
    PullingBodies,
    _chebyshev,
    _heliocentric,
    _places,
    _rates,
    _step,
    _sun,
)
from targets.base.constants import AU_KM, DAY_S, GM_SUN_KM3_S2
from targets.motion.order8 import E3, E5, A, B, C, next_factor

Floats = NDArray[np.float64]

# Whatever comes as low over the Earth's surface is down.
_AIR_KM = 100.0
# A century need not close within a metre: 1e-10 of distance and speed per step, where refinement takes 1e-13.
_CENTURY_TOLERANCE = 1e-10
# The common step: a share of a turn at the periapsis, in which nearly all keep to the tolerance, and at most 24 days
# (tests/benchmarks/test_refine_speed.py).
_STEPS_A_TURN, _STEP_MAX_S = 40.0, 24.0 * DAY_S
# What a step may take a body of its distance from the Sun before it is trusted to stay beyond half of it; and what is
# added to the bound of an acceleration for all that pulls but the Sun and the planet that is asked about.
_HALF_WAY, _MORE = 0.95, 1.1
# Bodies that are stepped together: their stages fit the fast part of the processor's memory. Part of no answer.
_BLOCK = 64


class Followed(NamedTuple):
    """What became of n bodies.

    hit    : (n,) int row of NAMES that was hit, or 0
    when_s : (n,) seconds from the begin until then, or inf
    status : (n,) int status of the integrator
    states : (n, 6) heliocentric states at the end, or where it was hit
    """

    hit: NDArray[np.int64]
    when_s: Floats
    status: NDArray[np.int64]
    states: Floats


class StagePlaces(NamedTuple):
    """Where bodies are at every stage of a step: places (12, bodies, 3), and the Sun's state (12, 6).

    About the centre of mass.
    """

    places: Floats
    suns: Floats


class Room(NamedTuple):
    """Room to work in for a block of m bodies: new and work (6, m), stages (12, 6, m), clear and error (m,); and what
    one body needs that goes alone."""

    new: Floats
    work: Floats
    stages: Floats
    clear: NDArray[np.bool_]
    error: Floats
    alone: tuple[Floats, Floats, Floats, Floats]


def follow_to_impact(
    tables: PullingBodies, states: Floats, begin_tdb_s: float, span_s: float, *, beta: float = 0.0
) -> Followed:
    """Follow (n, 6) states until they hit a planet or the span ends.

    An impact is a step's end inside half a sphere of influence, inbound, on a conic whose periapsis is below the
    surface. A common step is taken only by who surely stays out of all such spheres (`_clear_together`). Who goes alone
    takes no step longer than it takes to reach the next sphere at the sum of both speeds, so none is stepped over;
    inside one, a step is a quarter of its radius at most.
    """
    n = len(states)
    out = Followed(
        np.zeros(n, dtype=np.int64), np.full(n, np.inf), np.zeros(n, dtype=np.int64), states.copy()
    )
    if n:
        count = math.ceil(span_s / _common_step_s(states))
        _follow_all(begin_tdb_s, span_s, count, beta, tables, _planets(), _in_blocks(n), out)
    return out


def _in_blocks(n: int) -> NDArray[np.int64]:
    """Which body is in which place, (blocks, places), blocks as even as can be; -1 where a place is left over."""
    blocks = math.ceil(n / _BLOCK)
    places = np.arange(blocks * math.ceil(n / blocks))
    return np.where(places < n, places, -1).reshape(blocks, -1)


def _planets() -> tuple[Floats, Floats, Floats, Floats]:
    """Of the rows of NAMES: radius, half a sphere of influence, greatest speed, the Sun's greatest pull (km/s^2).

    Zeros where nothing can be hit.
    """
    radius, reach, speed, pull = (np.zeros(len(NAMES)) for _ in range(4))
    for planet in PLANETS:
        row = NAMES.index(planet.name)
        radius[row] = planet.radius_km + (_AIR_KM if planet.name == "Earth" else 0.0)
        reach[row] = 0.5 * planet.influence_km
        # no planet is faster than its mean speed by more than Mercury, 1.22 (e = 0.206)
        speed[row] = 1.25 * math.sqrt(GM_SUN_KM3_S2 / (planet.a_au * AU_KM))
        pull[row] = (
            GM_SUN_KM3_S2 / (0.79 * planet.a_au * AU_KM) ** 2
        )  # none comes nearer than Mercury, 0.794 a
    return radius, reach, speed, pull


def _common_step_s(states: Floats) -> float:
    """A share of the period of a circle at the periapsis, of the median body."""
    around = np.array([_periapsis_km(state, GM_SUN_KM3_S2) for state in states])
    turn_s = 2.0 * math.pi * math.sqrt(float(np.nanmedian(around)) ** 3 / GM_SUN_KM3_S2)
    return min(turn_s / _STEPS_A_TURN, _STEP_MAX_S)


# --- compiled -----------------------------------------------------------------------------------------------


@njit(cache=True)
def _periapsis_km(d, mu):
    """Periapsis of the conic through a six-number state about a centre."""
    r = math.sqrt(d[0] * d[0] + d[1] * d[1] + d[2] * d[2])
    v2 = d[3] * d[3] + d[4] * d[4] + d[5] * d[5]
    hx, hy, hz = d[1] * d[5] - d[2] * d[4], d[2] * d[3] - d[0] * d[5], d[0] * d[4] - d[1] * d[3]
    h2 = hx * hx + hy * hy + hz * hz
    e = math.sqrt(max(1.0 + (v2 - 2.0 * mu / r) * h2 / (mu * mu), 0.0))
    return h2 / (mu * (1.0 + e))


@njit(cache=True)
def _struck(y, t, tables, planets):
    """Row of the planet that a state is about to hit, or 0, and the longest step that meets none unseen."""
    radius, reach, speed, _ = planets
    own = math.sqrt(y[3] * y[3] + y[4] * y[4] + y[5] * y[5])
    d, free = np.empty(6), _STEP_MAX_S
    for body in range(2, tables.gm.size):
        if reach[body] == 0.0:
            continue
        px, py, pz = _heliocentric(body, t, tables)
        d[0], d[1], d[2] = y[0] - px, y[1] - py, y[2] - pz
        gap = math.sqrt(d[0] * d[0] + d[1] * d[1] + d[2] * d[2]) - reach[body]
        free = min(free, max(gap, 0.25 * reach[body]) / (own + speed[body]))
        if gap > 0.0:
            continue
        planet = _places(body, np.array([t]), tables)
        for i in range(3):
            d[3 + i] = y[3 + i] - planet[0, 3 + i]
        inbound = d[0] * d[3] + d[1] * d[4] + d[2] * d[5] < 0.0
        if inbound and _periapsis_km(d, tables.gm[body]) < radius[body]:
            return body, free
    return 0, free


@njit(cache=True)
def _follow_alone(y, t, end, beta, tables, planets, room):
    """Move y in place to `end` or to an impact, with steps of its own: (row hit or 0, when, status).

    Steps are taken about the centre of mass, as in `forces`.
    """
    stages, work, new, gradient = room
    if not math.isfinite(y.sum()):
        return 0, t, TOO_MANY_STEPS
    hit, free = _struck(y, t, tables, planets)
    h = min(end - t, free)
    about = y + _sun(t, tables)
    if hit == 0:
        _rates(t, about, beta, tables, stages[0], gradient)
    for _ in range(_STEPS_MAX):
        if hit > 0 or t >= end:
            return hit, t, OK
        last = h >= end - t
        h = min(h, end - t)
        error = _step(t, about, h, beta, tables, stages, work, gradient, new) * (
            TOLERANCE / _CENTURY_TOLERANCE
        )
        if not math.isfinite(error):
            break
        factor = next_factor(error)
        if error <= 1.0:
            about[:] = new
            stages[0] = stages[12]
            t = end if last else t + h
            y[:] = about - _sun(t, tables)
            hit, free = _struck(y, t, tables, planets)
        else:
            factor = min(factor, 0.9)
        h = min(h * factor, free)
    return 0, t, TOO_MANY_STEPS


@njit(cache=True)
def _look_up(t, h, tables, sky):
    """Places of all bodies about the centre of mass, and the Sun's state, at every stage of a step."""
    for s in range(12):
        at = t + C[s] * h if s > 0 else t
        sky.suns[s] = _sun(at, tables)
        ex, ey, ez = _chebyshev(_EMB, at, tables)
        for body in range(2, tables.gm.size):
            x, y, z = _chebyshev(body, at, tables)
            if body >= _EARTH:
                x, y, z = x + ex, y + ey, z + ez
            sky.places[s, body, 0], sky.places[s, body, 1], sky.places[s, body, 2] = x, y, z


@njit(cache=True, error_model="numpy")
def _rates_together(y, beta, tables, places, sun, out):
    """`_rates` for (6, n) states at one epoch, over all at a time; `places` and `sun` are of that epoch."""
    ax, ay, az = out[3], out[4], out[5]
    out[0], out[1], out[2] = y[3], y[4], y[5]
    relativity = tables.relativity * GM_SUN_KM3_S2 * _PER_C2
    for i in range(y.shape[1]):
        x, yy, z = y[0, i] - sun[0], y[1, i] - sun[1], y[2, i] - sun[2]
        vx, vy, vz = y[3, i] - sun[3], y[4, i] - sun[4], y[5, i] - sun[5]
        r2 = x * x + yy * yy + z * z
        r = math.sqrt(r2)
        pull, factor = (beta - GM_SUN_KM3_S2) / (r2 * r), relativity / (r2 * r)
        turn = 4.0 * factor * (x * vx + yy * vy + z * vz)
        pull += factor * (4.0 * GM_SUN_KM3_S2 / r - (vx * vx + vy * vy + vz * vz))
        ax[i] = pull * x + turn * vx
        ay[i] = pull * yy + turn * vy
        az[i] = pull * z + turn * vz
    for body in range(2, tables.gm.size):
        gm, px, py, pz = tables.gm[body], places[body, 0], places[body, 1], places[body, 2]
        for i in range(y.shape[1]):
            dx, dy, dz = y[0, i] - px, y[1, i] - py, y[2, i] - pz
            d2 = dx * dx + dy * dy + dz * dz
            near = gm / (d2 * math.sqrt(d2))
            ax[i] -= near * dx
            ay[i] -= near * dy
            az[i] -= near * dz


@njit(cache=True, error_model="numpy")
def _clear_together(y, new, h, gm, planets, sky, clear):
    """Whether each stays out of half a sphere of influence of every planet through a step from `y` to `new`.

    A way whose acceleration is at most a leaves its chord by at most a h^2 / 8: so the nearest point of the chord, in
    the frame of the planet, less that. The body's own acceleration is bounded from where it comes at most half as far
    from the Sun as at the nearer end, which no body does that is not faster there than its energy allows.
    """
    _, reach, speed, pull = planets
    fastest, most = 0.0, np.empty(clear.size)
    for i in range(clear.size):
        r0, r1 = _from_sun(y, i, sky.suns[0]), _from_sun(new, i, sky.suns[11])
        r, speed2 = min(r0, r1), y[3, i] ** 2 + y[4, i] ** 2 + y[5, i] ** 2
        most2 = speed2 - 2.0 * GM_SUN_KM3_S2 / r0 + 4.0 * GM_SUN_KM3_S2 / r
        most[i] = math.sqrt(most2)
        # written so that a NaN is not clear
        clear[i] = most[i] * h < _HALF_WAY * r
        fastest = max(fastest, most[i])
    for body in range(2, reach.size):
        if reach[body] == 0.0:
            continue
        start, end = sky.places[0, body], sky.places[11, body]
        if _all_beyond(y, start, reach[body] + (fastest + speed[body]) * h):
            continue
        pulled = _MORE * (pull[body] + gm[body] / reach[body] ** 2)
        for i in range(clear.size):
            r = min(_from_sun(y, i, sky.suns[0]), _from_sun(new, i, sky.suns[11]))
            bent = (pulled + _MORE * 4.0 * GM_SUN_KM3_S2 / (r * r)) * h * h / 8.0
            beyond = reach[body] + (most[i] + speed[body]) * h
            x, yy, z = y[0, i] - start[0], y[1, i] - start[1], y[2, i] - start[2]
            km2 = x * x + yy * yy + z * z
            dx, dy, dz = new[0, i] - end[0] - x, new[1, i] - end[1] - yy, new[2, i] - end[2] - z
            along = -(x * dx + yy * dy + z * dz) / (dx * dx + dy * dy + dz * dz)
            share = min(max(along, 0.0), 1.0)
            x, yy, z = x + share * dx, yy + share * dy, z + share * dz
            near = math.sqrt(x * x + yy * yy + z * z) <= bent + reach[body]
            # as for the block: what becomes of a body must not hang on those beside it
            clear[i] = clear[i] and not (near and km2 <= beyond * beyond)


@njit(cache=True, error_model="numpy")
def _all_beyond(y, place, km):
    """Whether no body of a block is within a distance of a place."""
    least = np.inf
    for i in range(y.shape[1]):
        dx, dy, dz = y[0, i] - place[0], y[1, i] - place[1], y[2, i] - place[2]
        least = min(least, dx * dx + dy * dy + dz * dz)
    return least > km * km


@njit(cache=True, error_model="numpy")
def _from_sun(y, i, sun):
    x, yy, z = y[0, i] - sun[0], y[1, i] - sun[1], y[2, i] - sun[2]
    return math.sqrt(x * x + yy * yy + z * z)


@njit(cache=True, error_model="numpy")
def _step_together(y, h, beta, tables, sky, stages, work, new, error):
    """`_step` for (6, n) states: `new` and each one's error."""
    _rates_together(y, beta, tables, sky.places[0], sky.suns[0], stages[0])
    for s in range(1, 12):
        work[:] = y
        for j in range(s):
            if A[s, j] != 0.0:
                _add(h * A[s, j], stages[j], work)
        _rates_together(work, beta, tables, sky.places[s], sky.suns[s], stages[s])
    new[:] = y
    for j in range(12):
        if B[j] != 0.0:
            _add(h * B[j], stages[j], new)
    error[:] = 0.0
    e3, e5 = work, np.empty_like(work)
    e3[:], e5[:] = 0.0, 0.0
    for j in range(12):
        _add(E3[j], stages[j], e3)
        _add(E5[j], stages[j], e5)
    for low in (0, 3):
        for i in range(error.size):
            third = e3[low, i] ** 2 + e3[low + 1, i] ** 2 + e3[low + 2, i] ** 2
            fifth = e5[low, i] ** 2 + e5[low + 1, i] ** 2 + e5[low + 2, i] ** 2
            scale = new[low, i] ** 2 + new[low + 1, i] ** 2 + new[low + 2, i] ** 2
            part = h * fifth / math.sqrt((fifth + 0.01 * third) * scale + 1e-300) / _CENTURY_TOLERANCE
            # written so that a NaN stays one
            error[i] = error[i] if part <= error[i] else part


@njit(cache=True, error_model="numpy")
def _add(factor, of, to):
    """to += factor * of, in place."""
    for c in range(of.shape[0]):
        for i in range(of.shape[1]):
            to[c, i] += factor * of[c, i]


@njit(cache=True)
def _follow_all(begin, span, count, beta, tables, planets, places, out):
    """All through common steps, a block of bodies after the other; who is where says `places`.

    Steps are taken about the centre of mass, as in `forces`; who goes alone is handed over about the Sun.
    """
    blocks, m = places.shape
    y = np.empty((blocks, 6, m))
    sun = _sun(begin, tables)
    for b in range(blocks):
        for i in range(m):
            # anybody's state in a place that is left over
            y[b, :, i] = out.states[max(places[b, i], 0)] + sun
    sky = StagePlaces(np.zeros((12, tables.gm.size, 3)), np.zeros((12, 6)))
    alone = (np.empty((13, 6)), np.empty(6), np.empty(6), np.zeros((3, 3)))
    clear = np.empty(m, dtype=np.bool_)
    room = Room(np.empty((6, m)), np.empty((6, m)), np.empty((12, 6, m)), clear, np.empty(m), alone)
    for k in range(count):
        t, end = begin + span * k / count, begin + span * (k + 1) / count
        _look_up(t, end - t, tables, sky)
        sun = _sun(end, tables)
        for b in range(blocks):
            _step_block((begin, t, end), y[b], beta, tables, planets, sky, sun, places[b], room, out)
    for b in range(blocks):
        for i in range(m):
            body = places[b, i]
            if body >= 0 and out.hit[body] == 0 and out.status[body] == OK:
                out.states[body] = y[b, :, i] - sun


@njit(cache=True)
def _step_block(times, y, beta, tables, planets, sky, sun_then, bodies, room, out):
    """One common step of a block; who is near a planet, or needs a shorter step, goes through it alone."""
    begin, t, end = times
    new, clear, error, own = room.new, room.clear, room.error, np.empty(6)
    _step_together(y, end - t, beta, tables, sky, room.stages, room.work, new, error)
    _clear_together(y, new, end - t, tables.gm, planets, sky, clear)
    for i in range(bodies.size):
        body = bodies[i]
        if body < 0 or out.hit[body] > 0 or out.status[body] != OK:
            continue
        if clear[i] and error[i] <= 1.0:
            y[:, i] = new[:, i]
            continue
        own[:] = y[:, i] - sky.suns[0]
        out.hit[body], when, out.status[body] = _follow_alone(own, t, end, beta, tables, planets, room.alone)
        if out.hit[body] > 0:
            out.when_s[body] = when - begin
        if out.hit[body] > 0 or out.status[body] != OK:
            out.states[body] = own
        y[:, i] = own + sun_then
