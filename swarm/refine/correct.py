"""From a tabulated opportunity to a full-force arc that hits its aim point, or the reason why it does not.

    release   the probe leaves the mothership's path with its spring (its share of the push: the mothership recoils)
    coast     until check-out is over
    burn      impulsive; what the same burn does at constant thrust is reported
    arrival   at the aim point (B.T, B.R about the target), time free

The spring points along the tabulated burn, turned into the release cone about the Sun where that asks for it: what the
spring gives the burn need not. First Newton with the smallest change of the burn; then, since time is free, the
smallest burn that still arrives (each step the least burn of the linear problem), kept where it converges near the
tabulated date.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.propellant import burnt_fraction, carried_m_s, seconds_of
from swarm.reach.arcs.bplane import b_plane_axes, b_vector_km
from swarm.reach.mothership.flybys import PLANETS
from swarm.reach.mothership.mass import releases
from swarm.refine.nbody import (
    Field,
    Lost,
    Outside,
    closest_pass,
    moved,
    moved_with_transition,
    place,
    pressure_km3_s2,
)
from swarm.run.kinds import FLYBY
from swarm.study.schema import Study
from swarm.study.whole_study import ONE_DESIGN
from targets.base.constants import DAY_S, STANDARD_GRAVITY_M_S2

Floats = NDArray[np.float64]

# A burn that leaves more than this to the aim point is not converged.
MISS_MAX_KM = 1e-3
_ITERATIONS = 25
_STEP_MAX_KM_S = 0.03
# How far the arrival may move for a smaller burn (own choice): the light and the link were judged for the date.
_SHIFT_MAX_S = 5.0 * DAY_S
_KICKS = 32


@dataclass(frozen=True, eq=False)
class Arc:
    """One probe of a plan as tabulated; km, km/s, TDB s, ICRF.

    mothership      : (6,) at the release, before the spring
    target_state : (6,) of the target at `target_epoch_s`
    aim_km       : (2,) B.T, B.R
    design, kind : of the probe and of the encounter
    """

    plan: int
    probe: int
    opportunity: int
    target: str
    target_index: int
    release_tdb_s: float
    burn_tdb_s: float
    encounter_tdb_s: float
    mothership: Floats
    mothership_kg: float
    burn_km_s: Floats
    target_epoch_s: float
    target_state: Floats
    aim_km: Floats
    design: str = ONE_DESIGN
    kind: str = FLYBY


@dataclass(frozen=True, eq=False)
class Refined:
    """A converged arc.

    released      : (6,) after the spring
    before_burn   : (6,); after the burn its velocity is larger by burn_km_s
    probe, target : (6,) at closest approach
    b_km          : (2,) B.T, B.R reached
    beta          : (2,) solar pressure before and after the burn, km^3/s^2
    burn_s, lead_s: how long the burn takes at constant thrust, and how long before the impulse's date it begins
    finite_miss_km: how far the same burn at constant thrust passes from the aim point
    """

    arc: Arc
    spring_km_s: Floats
    released: Floats
    before_burn: Floats
    burn_km_s: Floats
    encounter_tdb_s: float
    probe: Floats
    target: Floats
    b_km: Floats
    beta: tuple[float, float]
    mass_kg: tuple[float, float]
    burn_s: float
    lead_s: float
    finite_miss_km: float
    iterations: int

    @property
    def after_burn(self) -> Floats:
        return np.concatenate([self.before_burn[:3], self.before_burn[3:] + self.burn_km_s])

    @property
    def v_rel_km_s(self) -> Floats:
        return self.probe[3:] - self.target[3:]

    @property
    def miss_km(self) -> float:
        return float(np.linalg.norm(self.b_km - self.arc.aim_km))


@dataclass(frozen=True)
class NotRefined:
    """An arc that was left out, and why."""

    arc: Arc
    reason: str


def refine_arc(study: Study, field: Field, arc: Arc) -> Refined | NotRefined:
    """Refine one arc with the probe that flies it; what goes wrong becomes a sentence."""
    try:
        target = moved(field, arc.target_state, arc.target_epoch_s, arc.encounter_tdb_s)
        if planet := inside_influence(field, target, arc.encounter_tdb_s):
            return NotRefined(arc, f"the target is inside the sphere of influence of {planet}")
        return _refine(study.of_design(arc.design), field, arc, target)
    except Lost as problem:
        return NotRefined(arc, str(problem))


def inside_influence(field: Field, state: Floats, tdb_s: float) -> str | None:
    """Return the planet whose sphere of influence, a (GM/GM_sun)^(2/5), a state is in."""
    for planet in PLANETS:
        gap_km = float(np.linalg.norm(state[:3] - place(field, planet.name, tdb_s)[0, :3]))
        if gap_km < planet.influence_km:
            return planet.name
    return None


def spring_direction(burn: Floats, to_sun: Floats, limits_deg: tuple[float, float]) -> Floats:
    """Return the unit vector nearest to the burn whose angle to the Sun is within the release cone's limits."""
    along, sun = burn / np.linalg.norm(burn), to_sun / np.linalg.norm(to_sun)
    angle = math.acos(min(max(float(along @ sun), -1.0), 1.0))
    wanted = min(max(angle, math.radians(limits_deg[0])), math.radians(limits_deg[1]))
    if wanted == angle:
        return along
    side = along - (along @ sun) * sun
    if np.linalg.norm(side) < 1e-9:
        side = np.cross(sun, [0.0, 0.0, 1.0])
    return math.cos(wanted) * sun + math.sin(wanted) * side / np.linalg.norm(side)


def _refine(study: Study, field: Field, arc: Arc, target: Floats) -> Refined | NotRefined:
    probe, cone = study.probe, study.constraints
    limits = (cone.release_sun_angle_min_deg, cone.release_sun_angle_max_deg)
    direction = spring_direction(arc.burn_km_s, -arc.mothership[:3], limits)
    push = releases(arc.mothership_kg, [probe.wet_mass_kg], [probe.spring_m_s * direction])
    spring = 1e-3 * push.probe_change_m_s[0]
    released = arc.mothership + np.concatenate([np.zeros(3), spring])
    wet = probe.wet_mass_kg
    beta = pressure_km3_s2(probe.solar_area_m2, wet, probe.reflectivity)
    before = moved(field, released, arc.release_tdb_s, arc.burn_tdb_s, beta=beta)
    shooter = _Shooter(study, field, arc, before)
    try:
        first = shooter.converge(arc.burn_km_s - spring, arc.encounter_tdb_s, target, least=False)
    except Outside:
        return NotRefined(arc, f"no burn was found: the encounter's date runs away, {shooter.left}")
    if first is None:
        return NotRefined(arc, f"no burn was found: {shooter.left} after {_ITERATIONS} steps")
    least = shooter.converge_least(first)
    best = first
    if least is not None and abs(least.tdb_s - arc.encounter_tdb_s) < _SHIFT_MAX_S:
        best = min(first, least, key=_size)
    carried = carried_m_s(study)
    if 1e3 * _size(best) > carried:
        burn = f"the only burn found takes {1e3 * _size(best):.0f} m/s"
        return NotRefined(arc, f"{burn}, more than the {carried:.0f} m/s the probe carries")
    made = Refined(
        arc, spring, released, before, best.burn, best.tdb_s, best.probe, best.target, best.b_km,
        (beta, best.beta), (wet, mass_after_kg(study, best.burn)), 0.0, 0.0, math.nan, best.iterations,
    )  # fmt: skip
    return _with_finite_burn(study, field, made)


@dataclass(frozen=True, eq=False)
class _Pass:
    burn: Floats
    tdb_s: float
    probe: Floats
    target: Floats
    b_km: Floats
    beta: float
    iterations: int


def mass_after_kg(study: Study, burn_km_s: Floats) -> float:
    """Mass of a probe after a burn of its full tanks, by the rocket equation."""
    burnt = burnt_fraction(1e3 * float(np.linalg.norm(burn_km_s)), study.probe.isp_s)
    return study.probe.wet_mass_kg / (1.0 + float(burnt))


def length_and_lead_s(study: Study, mass_kg: tuple[float, float], burn_km_s: Floats) -> tuple[float, float]:
    """How long a burn takes at constant thrust, and how long before the date of its impulse it begins.

    mass_kg : before and after it
    """
    size_m_s = 1e3 * float(np.linalg.norm(burn_km_s))
    exhaust_m_s = STANDARD_GRAVITY_M_S2 * study.probe.isp_s
    wet, dry = mass_kg
    burn_s = seconds_of(study, wet - dry)
    # the impulse stands at the mean time of the velocity gained, later than half the burn since the probe gets lighter
    return burn_s, burn_s * (wet / (wet - dry) - exhaust_m_s / size_m_s)


def _size(flown_by: _Pass) -> float:
    return float(np.linalg.norm(flown_by.burn))


class _Shooter:
    """Newton's iteration on the burn, from one state before it.

    Light pushes what is left after each burn that is tried: the mass is that of the message, not the table's.
    """

    def __init__(self, study: Study, field: Field, arc: Arc, before: Floats) -> None:
        self._study, self._field, self._arc, self._before = study, field, arc, before
        self.left_km = math.inf

    @property
    def left(self) -> str:
        """How near the aim point it came."""
        return (
            f"{self.left_km:.3g} km from the aim point"
            if math.isfinite(self.left_km)
            else "far from the target"
        )

    def converge(self, burn: Floats, tdb_s: float, target: Floats, *, least: bool) -> _Pass | None:
        """Iterate a burn until it hits the aim point; with `least` until it is also the smallest that does."""
        for count in range(1, _ITERATIONS + 1):
            here, to_b = self._shoot(burn, tdb_s, target, count)
            short = self._arc.aim_km - here.b_km
            self.left_km = float(np.linalg.norm(short))
            inverse = np.linalg.pinv(to_b)
            change = inverse @ (short + to_b @ burn) - burn if least else inverse @ short
            size = float(np.linalg.norm(change))
            # least burn: a millimetre per second of direction is worth nothing more
            if self.left_km < MISS_MAX_KM and (not least or size < 1e-6):
                return here
            burn = burn + change * min(1.0, _STEP_MAX_KM_S / max(size, 1e-30))
            tdb_s, target = here.tdb_s, here.target
        return None

    def converge_least(self, first: _Pass) -> _Pass | None:
        """The smallest burn near a pass, None where there is none: its date may run away along a flat valley."""
        try:
            return self.converge(first.burn, first.tdb_s, first.target, least=True)
        except Lost:
            return None

    def _shoot(self, burn: Floats, tdb_s: float, target: Floats, count: int) -> tuple[_Pass, Floats]:
        """Fly a burn; return the pass and d(B.T, B.R)/d burn, (2, 3)."""
        start = self._before + np.concatenate([np.zeros(3), burn])
        kind = self._study.probe
        beta = pressure_km3_s2(kind.solar_area_m2, mass_after_kg(self._study, burn), kind.reflectivity)
        probe, transition = moved_with_transition(self._field, start, self._arc.burn_tdb_s, tdb_s, beta=beta)
        axes = b_plane_axes(probe[3:] - target[3:])[0]
        t, probe, target = closest_pass(self._field, probe, target, tdb_s, beta=beta)
        relative = probe - target
        b_km = b_vector_km(relative[:3], relative[3:])[0]
        return _Pass(burn, t, probe, target, b_km, beta, count), axes[1:] @ transition[:3, 3:]


def _with_finite_burn(study: Study, field: Field, made: Refined) -> Refined:
    """Add how long the burn takes at constant thrust about the impulse's date, and where it leads then."""
    exhaust_m_s = STANDARD_GRAVITY_M_S2 * study.probe.isp_s
    wet, dry = made.mass_kg
    burn_s, lead_s = length_and_lead_s(study, made.mass_kg, made.burn_km_s)
    begun = made.arc.burn_tdb_s - lead_s
    state, t = moved(field, made.released, made.arc.release_tdb_s, begun, beta=made.beta[0]), begun
    masses = np.linspace(wet, dry, _KICKS + 1)
    direction = made.burn_km_s / np.linalg.norm(made.burn_km_s)
    for k in range(_KICKS):
        middle = begun + (k + 0.5) / _KICKS * burn_s
        state = moved(field, state, t, middle, beta=made.beta[0])
        state[3:] += 1e-3 * exhaust_m_s * math.log(masses[k] / masses[k + 1]) * direction
        t = middle
    probe = moved(field, state, t, made.encounter_tdb_s, beta=made.beta[1])
    _, probe, target = closest_pass(field, probe, made.target, made.encounter_tdb_s, beta=made.beta[1])
    relative = probe - target
    off = b_vector_km(relative[:3], relative[3:])[0] - made.arc.aim_km
    return replace(made, burn_s=burn_s, lead_s=lead_s, finite_miss_km=float(np.linalg.norm(off)))
