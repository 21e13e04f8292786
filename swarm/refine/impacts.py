"""What hits a planet later: each probe's ballistic continuation after its encounter, each loose part from its release.

Sampled over the dispersion, corrections flown, no passivation manoeuvre. Counts of samples bound a chance only from
above where none hits: the upper end of the interval is the figure to read. The carrier's own disposal is not planned
here. All in km, km/s, s.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.refine.chance import Chance
from swarm.refine.dispersion import root_of, rows_through
from swarm.refine.nbody import (
    BODIES,
    NAMES,
    OK,
    TOLERANCE,
    TOO_MANY_STEPS,
    _heliocentric,
    _places,
    _rates,
    _step,
    make_field,
    span_with,
)
from swarm.refine.plan import Flown
from swarm.refine.released import IMPACT, PART_IMPACT, has_part, part_beta, part_states, random_of
from swarm.study import Study
from targets.constants import AU_KM, DAY_S, GM_SUN_KM3_S2, JULIAN_YEAR_S
from targets.errors import InputError

Floats = NDArray[np.float64]

# Equatorial radii, km (IAU Working Group on Cartographic Coordinates 2015, from memory), Earth with 100 km of air.
_RADIUS_KM = {
    "Mercury": 2440.5,
    "Venus": 6051.8,
    "Earth": 6478.1,
    "Mars": 3396.2,
    "Jupiter": 71492.0,
    "Saturn": 60268.0,
    "Uranus": 25559.0,
    "Neptune": 24764.0,
}
_MEAN_AU = (0.387, 0.723, 1.0, 1.524, 5.203, 9.537, 19.19, 30.07)
# A century need not close within a metre: 1e-10 of distance and speed per step, where refinement takes 1e-13.
_LOOSER = TOLERANCE / 1e-10
_FOLLOW_STEP_MAX_S = 32.0 * DAY_S


def impacts_of(one: Flown, study: Study) -> list[Chance]:
    """One task: a probe's dispersed continuations, and its loose part's, followed for as long as is asked."""
    made, count = one.made, study.refine.impact_samples
    normals = random_of(study, one, IMPACT).standard_normal((count, 6))
    states = made.probe + rows_through(normals, root_of(one.full.encounter_cov))
    out = _counted(study, one, states, made.encounter_tdb_s, beta=made.beta[1], part=False)
    if has_part(study):
        states = part_states(study, one, random_of(study, one, PART_IMPACT), count, carrier_errors=True)
        out += _counted(study, one, states, made.arc.release_tdb_s, beta=part_beta(study), part=True)
    return out


def _counted(
    study: Study, one: Flown, states: Floats, begin: float, *, beta: float, part: bool
) -> list[Chance]:
    rules, probe = study.refine, one.made.arc.probe
    asked = {"impact": rules.impact_years, "earth": rules.earth_years}
    span_s = max(asked.values()) * JULIAN_YEAR_S
    try:
        field = make_field(*span_with([begin, begin + span_s]))
    except InputError:  # the kernel ends earlier: nothing was sampled, and the interval says so
        return [Chance(kind, probe, part, "", 0, 0, years, math.inf) for kind, years in asked.items()]
    hit, when, status = follow(field.tables, states, begin, span_s, beta=beta)
    struck = {"impact": hit > 0, "earth": hit == NAMES.index("Earth")}
    followed = int((status == OK).sum())
    return [
        Chance(
            kind, probe, part, "", int((struck[kind] & (when < years * JULIAN_YEAR_S)).sum()), followed, years, math.inf
        )
        for kind, years in asked.items()
    ]


def follow(
    tables: Any, states: Floats, begin_tdb_s: float, span_s: float, *, beta: float = 0.0
) -> tuple[NDArray[np.int64], Floats, NDArray[np.int64]]:
    """Follow (n, 6) states until they hit a planet or the span ends.

    Returns (n,) row of NAMES hit or 0, (n,) seconds until then, (n,) status of the integrator.

    An impact is a step's end inside half a sphere of influence, inbound, on a conic whose periapsis is below the
    surface. No step is longer than it takes to reach the next such sphere at the sum of both speeds, so none is
    stepped over; inside one, a step is a quarter of its radius at most.
    """
    radius, reach, speed = np.zeros(len(NAMES)), np.zeros(len(NAMES)), np.zeros(len(NAMES))
    for (name, size_km), mean_au in zip(_RADIUS_KM.items(), _MEAN_AU, strict=True):
        row = NAMES.index(name)
        radius[row] = size_km
        reach[row] = 0.5 * mean_au * AU_KM * (BODIES[row][2] / GM_SUN_KM3_S2) ** 0.4
        # no planet is faster than its mean speed by more than Mercury, 1.22 (e = 0.206)
        speed[row] = 1.25 * math.sqrt(GM_SUN_KM3_S2 / (mean_au * AU_KM))
    hit, status = np.zeros(len(states), dtype=np.int64), np.zeros(len(states), dtype=np.int64)
    when = np.full(len(states), np.inf)
    planets = (radius, reach, speed)
    _follow_many(np.ascontiguousarray(states), (begin_tdb_s, span_s), beta, tables, planets, hit, when, status)
    return hit, when, status


@njit(cache=True)
def _periapsis_km(d, mu):
    """Periapsis of a planetocentric conic through a six-number state."""
    r = math.sqrt(d[0] * d[0] + d[1] * d[1] + d[2] * d[2])
    v2 = d[3] * d[3] + d[4] * d[4] + d[5] * d[5]
    hx, hy, hz = d[1] * d[5] - d[2] * d[4], d[2] * d[3] - d[0] * d[5], d[0] * d[4] - d[1] * d[3]
    h2 = hx * hx + hy * hy + hz * hz
    e = math.sqrt(max(1.0 + (v2 - 2.0 * mu / r) * h2 / (mu * mu), 0.0))
    return h2 / (mu * (1.0 + e))


@njit(cache=True)
def _struck(y, t, tables, planets):
    """Row of the planet that a state is about to hit, or 0, and the longest step that meets none unseen."""
    radius, reach, speed = planets
    own = math.sqrt(y[3] * y[3] + y[4] * y[4] + y[5] * y[5])
    d, free = np.empty(6), _FOLLOW_STEP_MAX_S
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
def _follow_many(states, span_tdb_s, beta, tables, planets, hit, when, status):
    begin, span = span_tdb_s
    stages, work, new = np.empty((13, 6)), np.empty(6), np.empty(6)
    gradient = np.zeros((3, 3))
    for n in range(states.shape[0]):
        y = states[n].copy()
        done = 0.0
        _rates(begin, y, beta, tables, stages[0], gradient)
        status[n] = TOO_MANY_STEPS
        _, free = _struck(y, begin, tables, planets)
        h = min(0.5 * DAY_S, free)
        for _ in range(200_000):
            h = min(h, span - done)
            error = _step(begin + done, y, h, beta, tables, stages, work, gradient, new) * _LOOSER
            if not math.isfinite(error):
                break
            factor = 5.0 if error == 0.0 else min(5.0, max(0.2, 0.9 * error ** (-0.125)))
            if error <= 1.0:
                y[:] = new
                stages[0] = stages[12]
                done += h
                hit[n], free = _struck(y, begin + done, tables, planets)
                if hit[n] > 0 or done >= span * (1.0 - 1e-12):
                    status[n] = OK
                    break
            else:
                factor = min(factor, 0.9)
            h = min(h * factor, free)
        if hit[n] > 0:
            when[n] = done
