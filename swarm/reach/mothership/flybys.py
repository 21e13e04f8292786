"""The mothership's flybys of planets: closed forms of the hyperbola, and the record of one flyby."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from targets.base.constants import AU_KM, GM_SUN_KM3_S2
from targets.base.timescale import iso_of_tdb_s
from targets.ephemeris.planets import BODIES


@dataclass(frozen=True)
class Planet:
    """A planet the mothership may meet.

    row       : in targets.ephemeris.planets.BODIES: the Earth itself, the system barycentre of the others (a few
                hundred kilometres off Jupiter's and Saturn's centres)
    radius_km : equatorial, IAU Working Group on Cartographic Coordinates and Rotational Elements 2015
                (Archinal et al. 2018, Celest. Mech. Dyn. Astron. 130:22), as in the public PCK pck00011
    a_au      : semi-major axis at J2000 (Standish, "Keplerian elements for approximate positions of the major
                planets", JPL, table 1)
    """

    name: str
    number: int
    row: int
    radius_km: float
    a_au: float

    @property
    def spice_id(self) -> int:
        return BODIES[self.row][0]

    @property
    def gm_km3_s2(self) -> float:
        return BODIES[self.row][2]

    @property
    def influence_km(self) -> float:
        """Radius of the sphere of influence, a (m/M)^(2/5)."""
        return self.a_au * AU_KM * (self.gm_km3_s2 / GM_SUN_KM3_S2) ** 0.4


PLANETS = (
    Planet("Mercury", 1, 0, 2440.53, 0.387_099_27),
    Planet("Venus", 2, 1, 6051.8, 0.723_335_66),
    Planet("Earth", 3, 8, 6378.1366, 1.000_002_61),
    Planet("Mars", 4, 3, 3396.19, 1.523_710_34),
    Planet("Jupiter", 5, 4, 71492.0, 5.202_887_00),
    Planet("Saturn", 6, 5, 60268.0, 9.536_675_94),
    Planet("Uranus", 7, 6, 25559.0, 19.189_164_64),
    Planet("Neptune", 8, 7, 24764.0, 30.069_922_76),
)


def planet_named(text: str) -> Planet:
    """The planet of a name, its number from the Sun (1-8) or SPICE's number (199-899). Raises ValueError."""
    wanted = text.strip().lower()
    for planet in PLANETS:
        if wanted in (planet.name.lower(), str(planet.number), f"{planet.number}99"):
            return planet
    raise ValueError(f"one of {', '.join(planet.name for planet in PLANETS)}, or a number 1-8 or 199-899")


# --- the hyperbola ------------------------------------------------------------------------------------------


def turn_rad(v_in_km_s: np.ndarray, v_out_km_s: np.ndarray) -> float:
    """Angle between two velocities, well conditioned near 0 and 180 degrees."""
    return math.atan2(
        float(np.linalg.norm(np.cross(v_in_km_s, v_out_km_s))), float(np.dot(v_in_km_s, v_out_km_s))
    )


def half_turn_rad(periapsis_km: float, v_inf_km_s: float, gm_km3_s2: float) -> float:
    """Angle between an asymptote and the velocity at periapsis: sin = 1/e, e = 1 + r_p v_inf^2 / GM."""
    return math.asin(1.0 / (1.0 + periapsis_km * v_inf_km_s**2 / gm_km3_s2))


def impact_parameter_km(periapsis_km: float, v_inf_km_s: float, gm_km3_s2: float) -> float:
    """|B| = r_p sqrt(1 + 2 GM / (r_p v_inf^2))."""
    return periapsis_km * math.sqrt(1.0 + 2.0 * gm_km3_s2 / (periapsis_km * v_inf_km_s**2))


def periapsis_speed_km_s(periapsis_km: float, v_inf_km_s: float, gm_km3_s2: float) -> float:
    return math.sqrt(v_inf_km_s**2 + 2.0 * gm_km3_s2 / periapsis_km)


def periapsis_for_turn_km(turn: float, v_in_km_s: float, v_out_km_s: float, gm_km3_s2: float) -> float:
    """Common periapsis of an incoming and an outgoing hyperbola that turn by `turn` radians between them.

    Equal speeds: r_p = GM/v^2 (1/sin(turn/2) - 1). Infinite for no turn, zero for half a circle.
    """
    if turn <= 0.0:
        return math.inf
    nearest_km, farthest_km = 1e-6, 1e18

    def excess(log_r: float) -> float:
        r = math.exp(log_r)
        return half_turn_rad(r, v_in_km_s, gm_km3_s2) + half_turn_rad(r, v_out_km_s, gm_km3_s2) - turn

    low, high = math.log(nearest_km), math.log(farthest_km)
    if excess(low) <= 0.0:
        return 0.0
    if excess(high) >= 0.0:
        return math.inf
    return math.exp(brentq(excess, low, high, xtol=1e-14, rtol=1e-15))


def turned(v_inf_in_km_s: np.ndarray, normal: np.ndarray, turn: float) -> np.ndarray:
    """(3,) outgoing excess velocity: the incoming one turned by `turn` radians about the unit normal across it."""
    return v_inf_in_km_s * math.cos(turn) + np.cross(normal, v_inf_in_km_s) * math.sin(turn)


def manoeuvre_km_s(
    v_in_km_s: np.ndarray, v_out_km_s: np.ndarray, *, least_periapsis_km: float, gm_km3_s2: float
) -> float:
    """Impulse that makes a meeting with these excess velocities flyable.

    Where the turn is within reach: the speed change at the common periapsis. Where it is not: fly by at the
    least periapsis and make up the rest of the turn and the speed afterwards, far from the planet.
    """
    speed_in, speed_out = float(np.linalg.norm(v_in_km_s)), float(np.linalg.norm(v_out_km_s))
    turn = turn_rad(v_in_km_s, v_out_km_s)
    periapsis = periapsis_for_turn_km(turn, speed_in, speed_out, gm_km3_s2)
    if math.isinf(periapsis):
        return abs(speed_out - speed_in)
    if periapsis >= least_periapsis_km:
        at_periapsis = (periapsis_speed_km_s(periapsis, v, gm_km3_s2) for v in (speed_out, speed_in))
        return abs(next(at_periapsis) - next(at_periapsis))
    # the incoming speed may be the slower one and turn enough without the outgoing one
    lacking = max(0.0, turn - 2.0 * half_turn_rad(least_periapsis_km, speed_in, gm_km3_s2))
    return math.sqrt(max(speed_in**2 + speed_out**2 - 2.0 * speed_in * speed_out * math.cos(lacking), 0.0))


def asymptotes_km_s(state: np.ndarray, gm_km3_s2: float) -> tuple[np.ndarray, np.ndarray]:
    """Incoming and outgoing excess velocity (3,) of a (6,) planetocentric state; NaN where it is bound."""
    r, v = state[:3], state[3:]
    distance = float(np.linalg.norm(r))
    speed2 = float(v @ v) - 2.0 * gm_km3_s2 / distance
    h = np.cross(r, v)
    to_periapsis = np.cross(v, h) / gm_km3_s2 - r / distance
    e = float(np.linalg.norm(to_periapsis))
    if speed2 <= 0.0 or e <= 1.0:
        return np.full(3, np.nan), np.full(3, np.nan)
    p = to_periapsis / e
    q = np.cross(h / np.linalg.norm(h), p)
    cosine, sine = -1.0 / e, math.sqrt(1.0 - 1.0 / e**2)
    speed = math.sqrt(speed2)
    return speed * (sine * q - cosine * p), speed * (cosine * p + sine * q)


# --- the record ---------------------------------------------------------------------------------------------

MEETING, PASSAGE = "meeting", "passage"


@dataclass(frozen=True, eq=False)
class Flyby:
    """One passage of a planet; between enter and leave no probe is on an arc.

    kind            : MEETING of two-body legs (periapsis follows from the turn they need) or PASSAGE through the
                      sphere of influence of a path that is followed as given (periapsis is where it goes)
    enter_tdb_s, closest_tdb_s, leave_tdb_s : epochs
    altitude_km     : at periapsis, above the equatorial radius; infinite for a meeting that needs no turn
    speed_km_s      : at periapsis, relative to the planet, before any manoeuvre (at infinity where there is no turn)
    v_inf_in_km_s, v_inf_out_km_s : (3,) ICRF excess velocities; NaN where the mothership is bound to the planet
    turn_deg        : angle between them
    altitude_min_km, mismatch_max_m_s : what the study allows
    manoeuvre_m_s   : impulse that would make a meeting flyable; 0 for a passage
    """

    body: str
    kind: str
    enter_tdb_s: float
    closest_tdb_s: float
    leave_tdb_s: float
    altitude_km: float
    speed_km_s: float
    v_inf_in_km_s: np.ndarray
    v_inf_out_km_s: np.ndarray
    turn_deg: float
    altitude_min_km: float
    mismatch_max_m_s: float
    manoeuvre_m_s: float

    @property
    def mismatch_m_s(self) -> float:
        """|v_inf out| - |v_inf in|: what an unpowered flyby cannot give."""
        sizes = np.linalg.norm(self.v_inf_out_km_s), np.linalg.norm(self.v_inf_in_km_s)
        return 1000.0 * float(sizes[0] - sizes[1])

    @property
    def high_enough(self) -> bool:
        return self.altitude_km >= self.altitude_min_km

    @property
    def powered(self) -> bool:
        """Whether the speeds differ by more than the study takes for an unpowered flyby."""
        return self.kind == MEETING and abs(self.mismatch_m_s) > self.mismatch_max_m_s

    def noted(self) -> dict[str, object]:
        """Its fields as the manifest keeps them: JSON has no arrays, and no numbers that are not finite (null)."""
        return {name: _plain(value) for name, value in vars(self).items()}

    def sentence(self) -> str:
        """What a person needs to know about it, in one line."""
        date = iso_of_tdb_s(self.closest_tdb_s)
        if self.kind == PASSAGE:
            text = f"{date}: passes {self.body} at {self.altitude_km:.0f} km altitude and {self.speed_km_s:.3f} km/s"
            return text + ("" if self.high_enough else f", {self._too_low()}")
        speeds = " in, ".join(f"{np.linalg.norm(v):.3f}" for v in (self.v_inf_in_km_s, self.v_inf_out_km_s))
        text = f"{date}: meets {self.body}, v_inf {speeds} out km/s, turn {self.turn_deg:.2f} deg, "
        text += f"periapsis altitude {self.altitude_km:.0f} km"
        if not self.high_enough:
            text += f", {self._too_low()}"
        if self.powered:
            text += f"; speeds differ by {self.mismatch_m_s:+.0f} m/s, more than {self.mismatch_max_m_s:g}"
        if self.powered or not self.high_enough:
            text += f": not flyable without a manoeuvre of {self.manoeuvre_m_s:.0f} m/s"
        return text

    def _too_low(self) -> str:
        where = "under the surface" if self.altitude_km < 0.0 else "too low"
        return f"{where} (at least {self.altitude_min_km:g} km asked)"


def meeting(
    planet: Planet,
    v_inf_in_km_s: np.ndarray,
    v_inf_out_km_s: np.ndarray,
    *,
    at_tdb_s: float,
    clear_s: float,
    altitude_min_km: float,
    mismatch_max_m_s: float,
) -> Flyby:
    """The flyby that joins two legs which meet a planet at one date."""
    gm = planet.gm_km3_s2
    speed_in, speed_out = float(np.linalg.norm(v_inf_in_km_s)), float(np.linalg.norm(v_inf_out_km_s))
    turn = turn_rad(v_inf_in_km_s, v_inf_out_km_s)
    periapsis = periapsis_for_turn_km(turn, speed_in, speed_out, gm)
    closest = max(periapsis, 1.0)  # a path through the very centre has no finite speed there
    impulse = manoeuvre_km_s(
        v_inf_in_km_s, v_inf_out_km_s, least_periapsis_km=planet.radius_km + altitude_min_km, gm_km3_s2=gm
    )
    return Flyby(
        body=planet.name,
        kind=MEETING,
        enter_tdb_s=at_tdb_s - clear_s,
        closest_tdb_s=at_tdb_s,
        leave_tdb_s=at_tdb_s + clear_s,
        altitude_km=periapsis - planet.radius_km,
        speed_km_s=periapsis_speed_km_s(closest, speed_in, gm),
        v_inf_in_km_s=v_inf_in_km_s,
        v_inf_out_km_s=v_inf_out_km_s,
        turn_deg=math.degrees(turn),
        altitude_min_km=altitude_min_km,
        mismatch_max_m_s=mismatch_max_m_s,
        manoeuvre_m_s=1000.0 * impulse,
    )


def passage(
    planet: Planet,
    state: np.ndarray,
    *,
    enter_tdb_s: float,
    closest_tdb_s: float,
    leave_tdb_s: float,
    altitude_min_km: float,
) -> Flyby:
    """The flyby whose closest approach has the (6,) planetocentric state."""
    v_in, v_out = asymptotes_km_s(state, planet.gm_km3_s2)
    turn = turn_rad(v_in, v_out) if np.isfinite(v_in).all() else math.nan
    return Flyby(
        body=planet.name,
        kind=PASSAGE,
        enter_tdb_s=enter_tdb_s,
        closest_tdb_s=closest_tdb_s,
        leave_tdb_s=leave_tdb_s,
        altitude_km=float(np.linalg.norm(state[:3])) - planet.radius_km,
        speed_km_s=float(np.linalg.norm(state[3:])),
        v_inf_in_km_s=v_in,
        v_inf_out_km_s=v_out,
        turn_deg=math.degrees(turn),
        altitude_min_km=altitude_min_km,
        mismatch_max_m_s=math.inf,
        manoeuvre_m_s=0.0,
    )


def _plain(value: object) -> object:
    """A text, or finite numbers and lists of them; None in place of a number that is not finite."""
    if isinstance(value, np.ndarray):
        return [_plain(number) for number in value.tolist()]
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    return value
