"""Whether what is released may meet the carrier, each other, or a planet: sampled, with the interval of the count.

Recontact is looked at over the days after each release, on dispersed trajectories, between looks by straight relative
motion. Impacts are looked for along the ballistic continuation of each probe after its encounter, corrections flown,
no passivation manoeuvre. Counts of so few samples bound a chance only roughly: the upper end of the interval is the
figure to read. Dispensers stay on the carrier, whose own disposal is not planned here. All in km, km/s, s.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
from numba import njit
from numpy.typing import NDArray
from scipy.stats import beta as beta_distribution

from swarm.delivery import errors_of
from swarm.mothership.mass import releases
from swarm.refine.dispersion import SPAWN_KEY, execution_errors, root_of, rows_through
from swarm.refine.nbody import (
    BODIES,
    NAMES,
    OK,
    STEP_MAX_S,
    TOO_MANY_STEPS,
    _heliocentric,
    _places,
    _rates,
    _step,
    make_field,
    propagate,
    span_with,
)
from swarm.refine.plan import Flown, Pool
from swarm.study import Study
from targets.constants import AU_KM, DAY_S, GM_SUN_KM3_S2, JULIAN_YEAR_S
from targets.errors import InputError

Floats = NDArray[np.float64]

_LOOK_S = DAY_S / 4.0
_CONFIDENCE = 0.95
_CARRIER = -1
# Second numbers of the spawn key after an opportunity.
_RECONTACT, _IMPACT = 1, 2
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


@dataclass(frozen=True)
class Chance:
    """Something that happened in `hits` of `samples` dispersed trajectories.

    kind  : "recontact" (closer than the study's limit), "impact" (on any planet), "earth" (on the Earth)
    other : the probe met, -1 the carrier; not used for impacts
    least_km : of all samples, for recontacts
    """

    kind: str
    probe: int
    other: int
    hits: int
    samples: int
    years: float
    least_km: float

    @property
    def interval(self) -> tuple[float, float]:
        """Clopper-Pearson interval of the chance, 95 %."""
        return binomial_interval(self.hits, self.samples)


def binomial_interval(hits: int, samples: int, *, confidence: float = _CONFIDENCE) -> tuple[float, float]:
    """Return the exact two-sided interval of Clopper and Pearson (1934), Biometrika 26:404."""
    if samples == 0:
        return 0.0, 1.0
    tail = 0.5 * (1.0 - confidence)
    low = float(beta_distribution.ppf(tail, hits, samples - hits + 1)) if hits else 0.0
    high = float(beta_distribution.ppf(1.0 - tail, hits + 1, samples - hits)) if hits < samples else 1.0
    return low, high


def others_of(study: Study, flown: Sequence[Flown], *, pool: Pool) -> list[Chance]:
    """Return all chances of a plan's probes, recontacts first."""
    if not flown:
        return []
    found = pool.map(_impacts, list(flown), shared=study)
    return recontacts(study, flown) + [chance for pair in found for chance in pair]


def safety_table(chances: Sequence[Chance]) -> pa.Table:
    """Return a row a chance, with its interval."""
    rows = [
        {
            "kind": one.kind,
            "probe": one.probe,
            "other": ""
            if one.kind != "recontact"
            else "mothership"
            if one.other == _CARRIER
            else f"probe {one.other}",
            "hits": one.hits,
            "samples": one.samples,
            "chance_low": one.interval[0],
            "chance_high": one.interval[1],
            "years": one.years,
            "least_km": one.least_km if math.isfinite(one.least_km) else None,
        }
        for one in chances
    ]
    kinds = {
        "kind": pa.string(),
        "probe": pa.int64(),
        "other": pa.string(),
        "hits": pa.int64(),
        "samples": pa.int64(),
    }
    names = ("kind", "probe", "other", "hits", "samples", "chance_low", "chance_high", "years", "least_km")
    return pa.Table.from_pylist(
        rows, schema=pa.schema([(name, kinds.get(name, pa.float64())) for name in names])
    )


def cautions(chances: Sequence[Chance], study: Study) -> list[str]:
    """Sentences: what happened in a sample, and what so few samples cannot tell."""
    said = []
    for one in chances:
        if one.hits:
            what = {
                "recontact": "comes within the recontact distance",
                "impact": "hits a planet",
                "earth": "hits the Earth",
            }
            low, high = one.interval
            said.append(
                f"probe {one.probe} {what[one.kind]} in {one.hits} of {one.samples} samples ({low:.1%} to {high:.1%})"
            )
    if any(one.kind == "impact" for one in chances):
        count = study.refine.impact_samples
        said.append(
            f"impacts on planets are sampled {count} times a probe: none seen means below "
            f"{binomial_interval(0, count)[1]:.1%} with 95 %, not that there are none"
        )
    return said


_WHAT = {
    "recontact": "comes within the recontact distance",
    "impact": "hits a planet",
    "earth": "hits the Earth",
}


# --- recontact ----------------------------------------------------------------------------------------------


def recontacts(study: Study, flown: Sequence[Flown]) -> list[Chance]:
    """Every probe against the carrier and the probes released in the days before it."""
    ordered = sorted(flown, key=_release_of)
    span_s = study.refine.recontact_days * DAY_S
    releases_s = [_release_of(one) for one in ordered]
    field = make_field(*span_with([releases_s[0], releases_s[-1] + span_s], margin_s=2.0 * DAY_S))
    out = []
    for k, one in enumerate(ordered):
        begin = releases_s[k]
        grid = _looks(one, begin + study.constraints.recontact_after_days * DAY_S, begin + span_s)
        own = _dispersed(study, field, one, grid)
        others = [(_CARRIER, _carrier_path(study, field, one, grid))]
        for earlier in ordered[:k]:
            if _release_of(earlier) + span_s > begin:
                others.append((earlier.made.arc.probe, _dispersed(study, field, earlier, grid)))
        for number, path in others:
            least = _least_distances(own - path)
            hits = int((least < study.constraints.recontact_km).sum())
            probe, years = one.made.arc.probe, span_s / JULIAN_YEAR_S
            out.append(Chance("recontact", probe, number, hits, len(least), years, float(least.min())))
    return out


def _release_of(one: Flown) -> float:
    return one.made.arc.release_tdb_s


def _looks(one: Flown, begin: float, end: float) -> Floats:
    grid = np.arange(begin, end, _LOOK_S)
    return np.unique(
        np.concatenate([grid, [end], [one.made.arc.burn_tdb_s] if one.made.arc.burn_tdb_s > begin else []])
    )


def _dispersed(study: Study, field: Any, one: Flown, grid: Floats) -> Floats:
    """(looks, samples, 3) positions of a probe's dispersed trajectories, its burn flown with its errors."""
    made, count = one.made, study.refine.recontact_samples
    random = _random(study, one, _RECONTACT)
    states = made.released + rows_through(random.standard_normal((count, 6)), root_of(one.full.released_cov))
    wrong = execution_errors(
        np.broadcast_to(made.burn_km_s, (count, 3)), random.standard_normal((count, 7)), errors_of(study)
    )
    out, now, burnt = np.empty((len(grid), count, 3)), made.arc.release_tdb_s, False
    for k, t in enumerate(grid):
        if not burnt and t >= made.arc.burn_tdb_s:
            states = propagate(field, states, now, made.arc.burn_tdb_s, beta=made.beta[0])
            states[:, 3:] += made.burn_km_s + wrong
            now, burnt = made.arc.burn_tdb_s, True
        states = propagate(field, states, now, float(t), beta=made.beta[int(burnt)])
        out[k], now = states[:, :3], float(t)
    return out


def _carrier_path(study: Study, field: Any, one: Flown, grid: Floats) -> Floats:
    """(looks, 1, 3) positions of the carrier with the recoil of this release."""
    arc, probe = one.made.arc, study.probe
    push = releases(arc.carrier_kg, [probe.wet_mass_kg], [1e3 * one.made.spring_km_s])
    # the probe's own change is what is known: the carrier's is opposite, by the masses
    recoil = -1e-3 * push.probe_change_m_s[0] * probe.wet_mass_kg / (arc.carrier_kg - probe.wet_mass_kg)
    state, now = (arc.carrier + np.concatenate([np.zeros(3), recoil]))[None], arc.release_tdb_s
    out = np.empty((len(grid), 1, 3))
    for k, t in enumerate(grid):
        state, now = propagate(field, state, now, float(t)), float(t)
        out[k] = state[:, :3]
    return out


def _least_distances(apart: Floats) -> Floats:
    """(samples,) least distance along straight pieces between (looks, samples, 3) separations."""
    a, d = apart[:-1], apart[1:] - apart[:-1]
    size = np.maximum(np.einsum("kni,kni->kn", d, d), 1e-300)
    u = np.clip(-np.einsum("kni,kni->kn", a, d) / size, 0.0, 1.0)
    return np.linalg.norm(a + u[..., None] * d, axis=2).min(axis=0)


def _random(study: Study, one: Flown, purpose: int) -> np.random.Generator:
    key = (SPAWN_KEY, one.made.arc.opportunity, purpose)
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(study.study.seed, spawn_key=key)))


# --- impacts ------------------------------------------------------------------------------------------------


def _impacts(one: Flown, study: Study) -> tuple[Chance, ...]:
    """One task: follow a probe's dispersed continuations for as long as is asked."""
    rules, made, probe = study.refine, one.made, one.made.arc.probe
    count, begin = rules.impact_samples, one.made.encounter_tdb_s
    years = max(rules.impact_years, rules.earth_years)
    spread = rows_through(_random(study, one, _IMPACT).standard_normal((count, 6)), root_of(one.full.encounter_cov))
    try:
        field = make_field(*span_with([begin, begin + years * JULIAN_YEAR_S]))
    except InputError:  # the kernel ends earlier: nothing was sampled, and the interval says so
        return tuple(Chance(kind, probe, 0, 0, 0, years, math.inf) for kind in ("impact", "earth"))
    hit, when, status = follow(
        field.tables, made.probe + spread, begin, years * JULIAN_YEAR_S, beta=made.beta[1]
    )
    followed = int((status == OK).sum())
    early = (hit > 0) & (when < rules.impact_years * JULIAN_YEAR_S)
    earth = (hit == NAMES.index("Earth")) & (when < rules.earth_years * JULIAN_YEAR_S)
    return (
        Chance("impact", probe, 0, int(early.sum()), followed, rules.impact_years, math.inf),
        Chance("earth", probe, 0, int(earth.sum()), followed, rules.earth_years, math.inf),
    )


def follow(
    tables: Any, states: Floats, begin_tdb_s: float, span_s: float, *, beta: float = 0.0
) -> tuple[NDArray[np.int64], Floats, NDArray[np.int64]]:
    """Follow (n, 6) states until they hit a planet or the span ends.

    Returns (n,) row of NAMES hit or 0, (n,) seconds until then, (n,) status of the integrator.

    An impact is a step's end inside half a sphere of influence, inbound, on a conic whose periapsis is below the
    surface; steps there are hours, so that no pass is without such a step.
    """
    radius, reach = np.zeros(len(NAMES)), np.zeros(len(NAMES))
    for (name, size_km), mean_au in zip(_RADIUS_KM.items(), _MEAN_AU, strict=True):
        row = NAMES.index(name)
        radius[row] = size_km
        reach[row] = 0.5 * mean_au * AU_KM * (BODIES[row][2] / GM_SUN_KM3_S2) ** 0.4
    hit, status = np.zeros(len(states), dtype=np.int64), np.zeros(len(states), dtype=np.int64)
    when = np.full(len(states), np.inf)
    _follow_many(
        np.ascontiguousarray(states), begin_tdb_s, span_s, beta, tables, radius, reach, hit, when, status
    )
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
def _struck(y, t, tables, radius, reach):
    """Row of the planet that a state is about to hit, or 0."""
    d = np.empty(6)
    for body in range(2, tables.gm.size):
        if reach[body] == 0.0:
            continue
        px, py, pz = _heliocentric(body, t, tables)
        d[0], d[1], d[2] = y[0] - px, y[1] - py, y[2] - pz
        if d[0] * d[0] + d[1] * d[1] + d[2] * d[2] > reach[body] ** 2:
            continue
        planet = _places(body, np.array([t]), tables)
        for i in range(3):
            d[3 + i] = y[3 + i] - planet[0, 3 + i]
        inbound = d[0] * d[3] + d[1] * d[4] + d[2] * d[5] < 0.0
        if inbound and _periapsis_km(d, tables.gm[body]) < radius[body]:
            return body
    return 0


@njit(cache=True)
def _follow_many(states, begin, span, beta, tables, radius, reach, hit, when, status):
    stages, work, new = np.empty((13, 6)), np.empty(6), np.empty(6)
    gradient = np.zeros((3, 3))
    for n in range(states.shape[0]):
        y = states[n].copy()
        done, h = 0.0, 0.5 * DAY_S
        _rates(begin, y, beta, tables, stages[0], gradient)
        status[n] = TOO_MANY_STEPS
        for _ in range(200_000):
            h = min(h, span - done)
            error = _step(begin + done, y, h, beta, tables, stages, work, gradient, new)
            if not math.isfinite(error):
                break
            factor = 5.0 if error == 0.0 else min(5.0, max(0.2, 0.9 * error ** (-0.125)))
            if error <= 1.0:
                y[:] = new
                stages[0] = stages[12]
                done += h
                hit[n] = _struck(y, begin + done, tables, radius, reach)
                if hit[n] > 0 or done >= span * (1.0 - 1e-12):
                    status[n] = OK
                    break
            else:
                factor = min(factor, 0.9)
            h = min(h * factor, STEP_MAX_S)
        if hit[n] > 0:
            when[n] = done
