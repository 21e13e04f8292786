"""What errs between release and encounter, one sigma per axis, and the common random numbers that samples use.

References
----------
[1] Gates, "A simplified model of midcourse maneuver execution errors", JPL TR 32-504, 1963.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.quality import pixel_angle_rad
from targets.base.constants import DAY_S

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]

# Room for every correction of a study: five after the burn, five before the encounter, two in sight of the target.
CORRECTIONS_MAX = 12
# Normal numbers per sample: two for the start, three for the target; per correction two for what is not known and
# seven for its execution.
START_NORMALS, CORRECTION_NORMALS = 5, 9


class Errors(NamedTuple):
    """One-sigma errors per axis, and the times of the corrections, of a study."""

    fixed_km_s: float
    proportional: float
    pointing_rad: float
    spring_km_s: float
    mothership_km: float
    mothership_km_s: float
    probe_km: float
    probe_km_s: float
    sight_rad: float
    after_burn_s: Floats
    before_s: Floats
    last_before_s: float
    turnaround_s: float
    last_min_s: float


def errors_of(study: Study) -> Errors:
    """Collect what delivery reads, in km and s.

    The direction of the spring is not known before the release is planned: its error along (share of the speed) and
    across (direction) are averaged over the axes.
    """
    probe, delivery, known = study.probe, study.delivery, study.knowledge
    spring_km_s = 1e-3 * probe.spring_m_s
    along = delivery.spring_fraction * spring_km_s
    across = math.radians(delivery.spring_direction_deg) * spring_km_s
    return Errors(
        1e-3 * probe.execution_fixed_m_s,
        probe.execution_proportional,
        1e-3 * probe.execution_pointing_mrad,
        math.sqrt((along**2 + 2.0 * across**2) / 3.0),
        known.mothership_position_km,
        1e-3 * known.mothership_velocity_m_s,
        known.probe_position_km,
        1e-3 * known.probe_velocity_m_s,
        probe.centroid_px * pixel_angle_rad(probe),
        np.array(delivery.corrections_after_burn_days, dtype=float) * DAY_S,
        np.array(delivery.corrections_before_days, dtype=float) * DAY_S,
        delivery.last_before_days * DAY_S,
        3600.0 * delivery.turnaround_hours,
        3600.0 * delivery.last_min_hours,
    )


class Normals(NamedTuple):
    """Common random numbers of a study: the same for every opportunity."""

    start: Floats  # (samples, START_NORMALS)
    corrections: Floats  # (CORRECTIONS_MAX, samples, CORRECTION_NORMALS)


# First number of the spawn key of everything random in delivery; other stages use other numbers.
SPAWN_KEY = 4


def normals_of(study: Study) -> Normals:
    """The numbers of a study's seed; nobody writes into them."""
    return _drawn(study.study.seed, study.delivery.samples)


@lru_cache(maxsize=2)
def _drawn(seed: int, count: int) -> Normals:
    """Kept: a study is judged in many small parts, each of which would draw the same again."""
    random = np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=(SPAWN_KEY,))))
    start = random.standard_normal((count, START_NORMALS))
    return Normals(start, random.standard_normal((CORRECTIONS_MAX, count, CORRECTION_NORMALS)))
