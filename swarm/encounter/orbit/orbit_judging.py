"""What the rows of an approach that stops at a body come to: speed, days, life, what is seen until it ends, chances."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.instruments import ground_pixel_m, pixel_score
from swarm.encounter.orbit.insertion import IncomingPath, Insertion, Thruster, insert
from swarm.encounter.orbit.mean_life import Life, MeanOrbit, Upkeep, live
from swarm.encounter.orbit.orbit_science import Band, Counter, Seen, what_is_seen
from swarm.encounter.orbit.spiral import Spiral, Well, spiral_in
from swarm.encounter.orbit.surroundings import Surroundings, turn_s_of
from swarm.encounter.pass_instruments import FULL_M, WORST_M
from swarm.encounter.quality import pixel_angle_rad
from targets.base.constants import AU_KM, DAY_S
from targets.masses.massive import Mass
from targets.masses.rotation import body_axes

if TYPE_CHECKING:
    from swarm.study.schema import Study
    from swarm.study.sections.approach import ApproachSettings
    from swarm.study.sections.science import Where

Floats = NDArray[np.float64]

SOLAR_W_M2 = 1361.0  # at 1 au: Kopp & Lean 2011, Geophys. Res. Lett. 38:L01706
# What stays in orbit comes down in the end, and nothing here takes it away: the upper bound.
ORBIT_IMPACT_CHANCE = 1.0
# A plane is turned no further than this at insertion; what asks for more is left to another clock angle. Own choice.
TURN_LIMIT_RAD = math.radians(20.0)


@dataclass(frozen=True, eq=False)
class Arrived:
    """An arrival that a burn was found for: (6,) at closest approach about the body, its epoch, v_inf, and its costs.

    burn_m_s, dv99_m_s : of the release burn, of the corrections
    sigma_altitude_km  : 1 sigma of the height delivered
    """

    relative: Floats
    tdb_s: float
    v_inf_km_s: float
    release_tdb_s: float
    burn_m_s: float
    dv99_m_s: float
    sigma_altitude_km: float


@dataclass(frozen=True, eq=False)
class JudgedOrbit:
    """One row. `refused`: "" or why it cannot be flown, with what would do; what follows is then None or NaN.

    spent_m_s     : burn, corrections and arrival together; left_m_s: for upkeep
    harmless      : chance that the height delivered is above the ground
    quality       : of what is asked of the ground, 0 to 1; chance: it works and is not hit early
    """

    met: Arrived
    periapsis_km: float
    apoapsis_km: float
    inclination_deg: float
    argp_deg: float
    period_h: float
    arrival: Insertion | Spiral
    begin_tdb_s: float
    spent_m_s: float
    left_m_s: float
    refused: str
    life: Life | None = None
    seen: Seen | None = None
    pixel_m: float = math.nan
    quality: float = 0.0
    harmless: float = 0.0
    chance: float = 0.0

    @property
    def upkeep_m_s(self) -> float:
        return float(self.life.spent_m_s[-1]) if self.life is not None else math.nan

    def chance_quality(self, least: float) -> float:
        """P(it works, nothing is hit, and the quality is at least this)."""
        return self.chance if self.quality >= least else 0.0


def thruster_of(study: Study, sun_km: float) -> Thruster:
    """The thruster of the probe, with the thrust that its panels feed at a distance from the Sun."""
    probe = study.probe
    thrust = probe.thrust_n
    if probe.thrust_power_w > 0.0:
        panels = probe.panel_area_m2 * probe.panel_efficiency * probe.panel_factor
        power = SOLAR_W_M2 * panels * (AU_KM / sun_km) ** 2 - probe.idle_w
        thrust *= min(1.0, max(power, 0.0) / probe.thrust_power_w) ** probe.power_exponent
    return Thruster(probe.wet_mass_kg, probe.isp_s, max(thrust, 1e-12))


def judge_orbits(
    study: Study, ask: ApproachSettings, where: Where | None, arrivals: list[Arrived], body: Mass, around: Surroundings,
    *, sun_km: float,
) -> list[JudgedOrbit]:  # fmt: skip
    """Every arrival in every orbit asked for: of one design, each row by itself.

    An arrival is at the height of one of `ask.periapsis_km`; of spirals the shape of the arrival is no matter.
    """
    found = []
    thruster = thruster_of(study, sun_km)
    for met in arrivals:
        for orbit in _orbits(ask, met, body):
            found.append(_judge(study, ask, where, met, orbit, thruster, body, around))
    return found


@dataclass(frozen=True)
class _Orbit:
    """Asked for, heights over the equatorial radius; `turned_rad` of the plane at insertion, `pole` (3,) then."""

    periapsis_km: float
    apoapsis_km: float
    inclination_deg: float
    turned_rad: float
    pole: Floats
    along: Floats


def _orbits(ask: ApproachSettings, met: Arrived, body: Mass) -> list[_Orbit]:
    """The orbits that an arrival leads to; those whose plane would be turned too far are left to other arrivals."""
    r, v = met.relative[:3], met.relative[3:]
    up, pole = r / np.linalg.norm(r), np.cross(r, v)
    pole = pole / np.linalg.norm(pole)
    axes = body_axes(body, np.array([met.tdb_s]))[0]
    height = float(np.linalg.norm(r)) - body.radius_km
    own = min(ask.periapsis_km or (), key=lambda asked: abs(asked - height))
    apoapses = [high for high in ask.apoapsis_km or (own,) if high >= own]
    natural = math.degrees(math.acos(float(np.clip(pole @ axes[2], -1.0, 1.0))))
    if ask.capture == "spiral":
        return [
            _Orbit(own, high, inclination, 0.0, *_set_up(axes, inclination, argp))
            for high, inclination, argp in itertools.product(
                apoapses, ask.inclination_deg or (90.0,), ask.argp_deg
            )
        ]
    planes = [(natural, 0.0, pole)]
    if ask.inclination_deg is not None:
        planes = [
            plane for each in ask.inclination_deg if (plane := _turned(pole, up, axes[2], each)) is not None
        ]
    return [
        _Orbit(own, high, inclination, turned, to, up)
        for high, (inclination, turned, to) in itertools.product(apoapses, planes)
    ]


def _turned(
    pole: Floats, up: Floats, north: Floats, inclination_deg: float
) -> tuple[float, float, Floats] | None:
    """The plane through periapsis of an inclination that is nearest to the arrival's; None where none is near."""
    across = np.cross(up, pole)
    # pole' = cos x pole + sin x across; its part along the north is that of the inclination
    size, phase = math.hypot(pole @ north, across @ north), math.atan2(across @ north, pole @ north)
    wanted = math.cos(math.radians(inclination_deg))
    if abs(wanted) > size:
        return None
    swing = math.acos(wanted / size)
    angles = [(phase + sign * swing + math.pi) % (2.0 * math.pi) - math.pi for sign in (1.0, -1.0)]
    turned = min(angles, key=abs)
    if abs(turned) > TURN_LIMIT_RAD:
        return None
    return inclination_deg, abs(turned), math.cos(turned) * pole + math.sin(turned) * across


def _set_up(axes: Floats, inclination_deg: float, argp_deg: float) -> tuple[Floats, Floats]:
    """Pole and direction of periapsis of an orbit whose node is at the prime meridian; ICRF."""
    i, w = math.radians(inclination_deg), math.radians(argp_deg)
    node, pole = np.array([1.0, 0.0, 0.0]), np.array([0.0, -math.sin(i), math.cos(i)])
    return axes.T @ pole, axes.T @ (math.cos(w) * node + math.sin(w) * np.cross(pole, node))


def _judge(
    study: Study, ask: ApproachSettings, where: Where | None, met: Arrived, orbit: _Orbit, thruster: Thruster,
    body: Mass, around: Surroundings,
) -> JudgedOrbit:  # fmt: skip
    arrival, days, refused = _arrive(study, ask, met, orbit, thruster, body, around)
    spent = met.burn_m_s + met.dv99_m_s + arrival.total_m_s
    left = study.probe.burn_limit_m_s - spent
    if not refused and left < 0.0:
        refused = (
            f"{spent:.0f} m/s in all (release {met.burn_m_s:.0f}, corrections {met.dv99_m_s:.0f}, arrival "
            f"{arrival.total_m_s:.0f}), the tank holds {study.probe.burn_limit_m_s:g} (burn_limit_m_s)"
        )
    low, high = body.radius_km + orbit.periapsis_km, body.radius_km + orbit.apoapsis_km
    a, e = 0.5 * (low + high), (high - low) / (high + low)
    period_h = 2.0 * math.pi * math.sqrt(a**3 / around.field.gm_km3_s2) / 3600.0
    begin = met.tdb_s + days * DAY_S
    argp = _argp_deg(orbit, body, begin)
    made = JudgedOrbit(
        met, orbit.periapsis_km, orbit.apoapsis_km, orbit.inclination_deg, argp, period_h, arrival, begin, spent, left,
        refused,
    )  # fmt: skip
    if refused:
        return made
    start = MeanOrbit(a, orbit.pole * math.sqrt(1.0 - e * e), e * orbit.along)
    return _lived(study, ask, where, made, start, body, around)


def _arrive(
    study: Study,
    ask: ApproachSettings,
    met: Arrived,
    orbit: _Orbit,
    thruster: Thruster,
    body: Mass,
    around: Surroundings,
) -> tuple[Insertion | Spiral, float, str]:
    mu, low, high = (
        around.field.gm_km3_s2,
        body.radius_km + orbit.periapsis_km,
        body.radius_km + orbit.apoapsis_km,
    )
    if ask.capture == "impulsive":
        path = IncomingPath(mu, met.v_inf_km_s, low, body.influence_km)
        insertion = insert(path, high, thruster, burns=ask.insertion_burns, turned_rad=orbit.turned_rad)
        return insertion, insertion.days, insertion.refused
    spiral = spiral_in(
        Well(mu, body.radius_km), thruster, v_inf_km_s=met.v_inf_km_s, from_km=ask.spiral_from_km, periapsis_km=low,
        apoapsis_km=high, duty=study.probe.duty,
    )  # fmt: skip
    held = study.probe.burn_limit_m_s - met.burn_m_s - met.dv99_m_s
    refused = ""
    if spiral.excess_m_s > held:
        refused = (
            f"arrives with {spiral.excess_m_s:.0f} m/s of excess speed, the tank then holds {held:.0f}: a slower "
            "arrival, or more propellant (burn_limit_m_s)"
        )
    return spiral, spiral.days, refused


def _argp_deg(orbit: _Orbit, body: Mass, tdb_s: float) -> float:
    """From the ascending node on the body's equator, 0 to 360."""
    north = body_axes(body, np.array([tdb_s]))[0, 2]
    node = np.cross(north, orbit.pole)
    return math.degrees(
        math.atan2(float(orbit.along @ np.cross(orbit.pole, node)), float(orbit.along @ node))
    ) % 360.0  # fmt: skip


def _lived(
    study: Study, ask: ApproachSettings, where: Where | None, made: JudgedOrbit, start: MeanOrbit, body: Mass,
    around: Surroundings,
) -> JudgedOrbit:  # fmt: skip
    low, high = ask.altitude_range_km or (-math.inf, math.inf)
    upkeep = Upkeep(low, high, made.left_m_s if ask.maintain else 0.0)
    life = live(start, made.begin_tdb_s, ask.science_days, around, turn_s=turn_s_of(body), upkeep=upkeep)
    south, north = (where.latitude_deg if where is not None else None) or (-90.0, 90.0)
    seen = what_is_seen(life, Band(ask.below_km, south, north), around, counter=_counter(study))
    pixel = math.nan
    if math.isfinite(seen.lowest_km):
        pixel = float(ground_pixel_m(max(seen.lowest_km, 1e-3), pixel_rad=pixel_angle_rad(study.probe)))
    margin = made.periapsis_km - around.ground_km
    sigma = made.met.sigma_altitude_km
    spiral = isinstance(made.arrival, Spiral)  # comes down by turns: each is measured
    harmless = 1.0 if spiral or not sigma > 0.0 else 0.5 * math.erfc(-margin / (sigma * math.sqrt(2.0)))
    return JudgedOrbit(
        made.met, made.periapsis_km, made.apoapsis_km, made.inclination_deg, made.argp_deg, made.period_h, made.arrival,
        made.begin_tdb_s, made.spent_m_s, made.left_m_s, "", life, seen, pixel, quality_of(where, seen, pixel),
        harmless, ask.insertion_success * harmless,
    )  # fmt: skip


def _counter(study: Study) -> Counter | None:
    own = [each for each in getattr(study.probe, "instruments", ()) if each.kind == "counter"]
    return Counter(own[0].radius_km, own[0].contrast, own[0].counts_per_s) if own else None


def quality_of(where: Where | None, seen: Seen, pixel_m: float) -> float:
    """What is got of what a row asks of the ground, the product of the shares; without a wish, the pixel's score."""
    asked = where is not None and any((where.hours_below_min, where.count_sigma_min, where.resolution_m_max))
    if where is None or not asked:
        return 0.0 if math.isnan(pixel_m) else float(pixel_score(pixel_m, full_m=FULL_M, worst_m=WORST_M))
    quality = 1.0
    if where.hours_below_min is not None:
        quality *= min(1.0, seen.hours / where.hours_below_min)
    if where.count_sigma_min is not None:
        quality *= min(1.0, seen.count_sigma / where.count_sigma_min)
    if where.resolution_m_max is not None:
        least = where.resolution_m_max
        worst = least * WORST_M / FULL_M
        quality *= 0.0 if math.isnan(pixel_m) else float(pixel_score(pixel_m, full_m=least, worst_m=worst))
    return quality


def follow(row: JudgedOrbit, days: float, body: Mass, around: Surroundings) -> Life:
    """The orbit let go when its science ends: until it meets the ground, or so many days are over."""
    assert row.life is not None
    last = row.life.elements[-1]
    orbit = MeanOrbit(row.life.a_km, last[:3].copy(), last[3:].copy())
    return live(orbit, float(row.life.tdb_s[-1]), days, around, turn_s=turn_s_of(body))
