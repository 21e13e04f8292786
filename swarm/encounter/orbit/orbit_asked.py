"""What an approach that stops at a body asks for: arrivals, the field and the bodies that its orbits feel."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.orbit.orbit_judging import (
    INSERTION_DAYS_MAX,
    ORBIT_IMPACT_CHANCE,
    SPIRAL_DAYS_MAX,
    Arrived,
)
from swarm.encounter.orbit.surroundings import Surroundings, surroundings_of
from swarm.encounter.pass_judging import JudgedPasses, PassRules, judge_passes
from swarm.reach.approach.goals import aim_of, frame_of
from swarm.reach.approach.passage import Passage
from swarm.reach.approach.rows import Asked, LowPasses
from swarm.reach.approach.scene import Scene
from swarm.reach.arcs.bplane import periapsis_km
from swarm.study.approach_relations import impact_limit
from swarm.study.lowest import lowest_km
from targets.base.constants import DAY_S
from targets.gravity.harmonic_field import GravityField, gravity_of
from targets.masses.massive import Mass
from targets.masses.where import Ephemeris

if TYPE_CHECKING:
    from swarm.study.schema import Study
    from swarm.study.sections.approach import ApproachSettings

Floats = NDArray[np.float64]

# Spirals are aimed so far beside the mothership's own way past: tenths of a m/s some weeks before, and kilometres from
# it after a day. Own choice.
BESIDE_KM = 500.0
# An orbit let go is followed so long for where it ends. Own choice.
FOLLOWED_DAYS = 365.0


def never_there(study: Study, ask: ApproachSettings) -> str:
    """ "", or why no orbit about a body is wanted that nothing may hit: what stays there comes down there."""
    limit = impact_limit(study, ask)
    if limit is None or limit >= ORBIT_IMPACT_CHANCE:
        return ""
    return (
        f"impact chance at most {limit:g} (protection.impact_chance_max or approach.impact_chance_max); the least of "
        f"an orbit about {ask.body} is {ORBIT_IMPACT_CHANCE:g}: it comes down there, and disposal is not computed"
    )


def field_of_body(study: Study, body: Mass) -> GravityField:
    """The gravity of a body as the study gives it, or as it ships. Raises InputError where the file is another's."""
    name = study.massive.gravity.get(body.name) if study.massive is not None else None
    if study.massive is None or name is None:
        return gravity_of(body)
    return gravity_of(body, study.base / name, degree=study.massive.gravity_degree)


def surroundings_about(
    study: Study, ask: ApproachSettings, body: Mass, closest_tdb_s: float, *, ephemeris: Ephemeris,
    followed_days: float = 0.0,
) -> Surroundings:  # fmt: skip
    """What pulls on orbits after an arrival, from before it until the longest way, the science and more are over."""
    way = SPIRAL_DAYS_MAX if ask.capture == "spiral" else INSERTION_DAYS_MAX
    days = way + ask.science_days + followed_days
    span = closest_tdb_s - 5.0 * DAY_S, closest_tdb_s + days * DAY_S
    field = field_of_body(study, body)
    return surroundings_of(body, field, span, ground_km=lowest_km(ask), ephemeris=ephemeris)


def arrivals_asked(scene: Scene, own: Study, ask: ApproachSettings, passage: Passage) -> Asked:
    """Arrivals at every date of release and clock angle, and by impulses at every height.

    To a spiral the height and the side by which it comes are no matter: it comes near where the mothership passes,
    which little thrust can reach, in a ring about it, so that neither it nor its sisters are met again. Where a
    two-body leg meets the body itself, it comes over the highest periapsis.
    """
    heights = ask.periapsis_km or (lowest_km(ask),)
    rows = scene.rows(
        ask, passage, checkout_days=own.probe.checkout_days,
        heights_km=heights if ask.capture == "impulsive" else (max(heights),),
    )  # fmt: skip
    way_km = _own_way_km(passage)
    if ask.capture == "impulsive" or not np.isfinite(way_km).all():
        return rows
    return _beside(rows, way_km, passage)


def _beside(rows: Asked, way_km: Floats, passage: Passage) -> Asked:
    """The rows with aims on the ring about a point of the B-plane, by their clock angles; none under its height."""
    turned = np.radians(rows.clock_deg)
    aims = way_km + BESIDE_KM * np.column_stack([np.cos(turned), np.sin(turned)])
    v_inf, body = float(np.linalg.norm(passage.v_inf_km_s)), passage.body
    least = periapsis_km(np.hypot(*aims.T), v_inf, mu_km3_s2=body.gm_km3_s2) - body.radius_km
    clocks = np.degrees(np.arctan2(aims[:, 1], aims[:, 0])) % 360.0
    return replace(rows, altitude_km=np.maximum(least, rows.altitude_km), clock_deg=clocks)


def _own_way_km(passage: Passage) -> Floats:
    """(2,) B.T and B.R by which the mothership passes; NaN where no path or no excess speed is known."""
    frame = frame_of(passage.relative, passage.body.gm_km3_s2)
    if not (math.isfinite(passage.distance_km) and math.isfinite(frame.v_inf)):
        return np.full(2, np.nan)
    return np.array(aim_of(passage.relative, frame))


def arrived(own: Study, ask: ApproachSettings, rows: LowPasses) -> tuple[JudgedPasses, list[Arrived]]:
    """The rows that were met, as passes and as arrivals, in one order."""
    judged = judge_passes(own, rows, PassRules(ask.ephemeris_sigma_km, lowest_km(ask), None))
    met = [
        Arrived(
            rows.shots.relative[k], float(rows.shots.closest_s[k]), float(rows.shots.v_inf_km_s[k]),
            float(rows.release_s[k]), float(judged.burn_m_s[j]), float(judged.worth.dv99_needed_m_s[j]),
            float(judged.worth.sigma_altitude_km[j]),
        )
        for j, k in enumerate(judged.rows)
    ]  # fmt: skip
    return judged, met
