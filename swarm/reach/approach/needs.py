"""What a low pass would take at a passage: the least burn for a height, by the date of the burn."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from swarm.reach.approach.about import field_about, index_of
from swarm.reach.approach.field import OK
from swarm.reach.approach.passage import Passage, States
from swarm.reach.approach.shoot import REASONS, shoot
from targets.base.constants import DAY_S
from targets.masses.massive import planet_of
from targets.masses.where import Ephemeris

CLOCKS_DEG = np.arange(0.0, 360.0, 30.0)
# Room about the mothership's own closest approach in which the probe's may lie.
WINDOW_S = 2.0 * DAY_S

# A leg to a planet's centre knows nothing of its pull, which shortens the way from a distance R at v to infinity by
# mu/v^3 (ln(2 R v^2/mu) - 1): within so many mu/v^3 for any sphere of influence (the logarithm is of less than 100).
_EARLIER = 4.0


def window_s(passage: Passage) -> float:
    """How far from the mothership's own closest approach, as known, the probe's may lie."""
    if math.isfinite(passage.distance_km):
        return WINDOW_S
    speed = float(np.linalg.norm(passage.v_inf_km_s))
    return WINDOW_S + _EARLIER * passage.body.gm_km3_s2 / speed**3


@dataclass(frozen=True)
class Need:
    """A burn so many days before closest approach; NaN, and why, where none was found."""

    days_before: float
    burn_m_s: float
    why_not: str


def low_pass_needs(
    passage: Passage,
    states: States,
    *,
    altitude_km: float,
    days_before: Sequence[float],
    first_tdb_s: float,
    ephemeris: Ephemeris,
) -> list[Need]:
    """The least burn over all clock angles, for each date of the burn not before `first_tdb_s`."""
    planet = planet_of(passage.body)
    days = [day for day in days_before if passage.closest_tdb_s - day * DAY_S >= first_tdb_s]
    if not days:
        return []
    met = passage.closest_tdb_s
    room = window_s(passage)
    covered = (met - max(days) * DAY_S - 1.0, met + room + DAY_S)
    field = field_about(planet, *covered, ephemeris)
    n = len(CLOCKS_DEG)
    needs = []
    for day in days:
        begin = met - day * DAY_S
        at = np.array([begin])
        state = (states(at) - ephemeris.about_sun(planet, at))[0]
        goals = np.column_stack([np.full(n, passage.body.radius_km + altitude_km), np.radians(CLOCKS_DEG)])
        shots = shoot(
            np.tile(state, (n, 1)), np.full(n, begin), targets=np.full(n, index_of(passage.body)),
            gm_km3_s2=np.full(n, passage.body.gm_km3_s2),
            windows_s=np.tile([max(begin, met - room), met + room], (n, 1)),
            gates_km=np.full(n, passage.body.influence_km), goals=goals, field=field, covered_s=covered,
        )  # fmt: skip
        good = shots.status == OK
        if good.any():
            burn = float(np.linalg.norm(shots.burn_km_s[good], axis=1).min()) * 1000.0
            needs.append(Need(day, burn, ""))
        else:
            needs.append(Need(day, float("nan"), REASONS[int(shots.status[0])]))
    return needs
