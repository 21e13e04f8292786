"""Arrivals that the mothership steers: it aims for the probe, lets it go, and is back on its own path some days later.

    carrier : a probe without a tank; the mothership burns for it, out and back
    spin    : let go off the rim of a mothership that spins about the way it comes, v = omega r at the clock angle; the
              mothership burns for what that leaves

The probe burns nothing: its row has a burn of 0 at the release, and what it was given stands beside it (`aimed_`). For
each row alone the mothership is charged

    propellant = m (exp((out + back)/(g0 Isp)) - 1),   m its mass with all that it still holds

which adds up: an upper bound, since two rows may share a move. An entry is asked for at a time, too: there the way
back makes good the time as well as the aim, as what is heard of the probe rests on where the mothership then is. That
it fails to divert is a chance of `divert_failure`, and then it goes where it aimed, as badly known as a probe without
corrections: what hits of that counts as its chance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.keeping_time import fixed_aim
from swarm.reach.approach.entry_rows import EntryRows
from swarm.reach.approach.field import OK, move_to
from swarm.reach.approach.influence import influence_at
from swarm.reach.approach.rows import LowPasses
from swarm.reach.arcs.bplane import axes_of
from swarm.study.schema import Study
from swarm.study.sections.approach import ApproachSettings
from targets.base.constants import DAY_S, STANDARD_GRAVITY_M_S2

Floats = NDArray[np.float64]
Rows = LowPasses | EntryRows
PROBE, CARRIER, SPIN = "probe", "carrier", "spin"


@dataclass(frozen=True, eq=False)
class SteeredBy:
    """Who steers an approach, and with what.

    rim_km_s   : speed of the rim that probes leave from; 0 where nothing spins
    own_aim_km : (2,) where the mothership goes by itself where that is not its path as given: of two-body legs
    """

    steer: str
    divert_s: float
    rim_km_s: float
    mass_kg: float
    isp_s: float
    divert_failure: float
    tank_kg: float
    own_aim_km: Floats


@dataclass(frozen=True, eq=False)
class Steered:
    """n rows; zeros where the probe steers.

    aimed_km_s   : (n, 3) velocity that the probe is given: the mothership's burn, and the rim's speed
    out_m_s, back_m_s : what the mothership burns to aim, and to be back on its own path
    aim_km       : (n, 2) where it goes until it diverts; course_days so long it does
    in_time      : (n,) whether it has diverted an hour before closest approach
    """

    aimed_km_s: Floats
    out_m_s: Floats
    back_m_s: Floats
    propellant_kg: Floats
    course_days: Floats
    aim_km: Floats
    in_time: NDArray[np.bool_]

    def take(self, index: NDArray) -> Steered:
        return Steered(*(getattr(self, field.name)[index] for field in fields(Steered)))


def steered_by(study: Study, ask: ApproachSettings, own_aim_km: Floats | None = None) -> SteeredBy:
    """Who steers an approach of a study."""
    ship = study.mothership
    rim_m_s = (ship.spin_rpm or 0.0) * 2.0 * math.pi / 60.0 * (ship.spin_radius_m or 0.0)
    return SteeredBy(
        ask.steer,
        ask.divert_after_days * DAY_S,
        1e-3 * rim_m_s if ask.steer == SPIN else 0.0,
        ship.mass_kg,
        ship.isp_s,
        ship.divert_failure,
        math.inf if ship.propellant_kg is None else ship.propellant_kg,
        np.full(2, np.nan) if own_aim_km is None else own_aim_km,
    )


def of_probes(n: int) -> Steered:
    """Of n rows that probes steer themselves."""
    none = np.zeros(n)
    return Steered(np.zeros((n, 3)), none, none, none, none, np.zeros((n, 2)), np.ones(n, dtype=bool))


@dataclass(frozen=True, eq=False)
class Flyable:
    """Which of some rows can be flown.

    rows          : (n,) which; steered (n,) what the mothership does for each
    late          : how many others it would have to divert for after it has arrived
    dear          : how many others need more than the burn limit, or than its tank holds
    least_ship_kg : least propellant that it needs for one that is not late; infinite where the probe steers
    """

    rows: NDArray[np.int64]
    steered: Steered
    late: int
    dear: int
    least_ship_kg: float


def flyable(rows: Rows, by: SteeredBy | None, *, burn_limit_m_s: float) -> Flyable:
    """The rows that are met by a burn within the limit of who gives it; by: None where the probe does."""
    met = np.flatnonzero(rows.shots.status == OK)
    if by is None:
        kept = 1e3 * np.linalg.norm(rows.shots.burn_km_s[met], axis=1) <= burn_limit_m_s
        return Flyable(met[kept], of_probes(int(kept.sum())), 0, int((~kept).sum()), math.inf)
    asked = steered(rows, met, by)
    held = asked.propellant_kg <= by.tank_kg
    kept = asked.in_time & held
    least = float(asked.propellant_kg[asked.in_time].min(initial=np.inf))
    late, dear = int((~asked.in_time).sum()), int((asked.in_time & ~held).sum())
    return Flyable(met[kept], asked.take(kept), late, dear, least)


def steered(rows: Rows, which: NDArray[np.int64], by: SteeredBy) -> Steered:
    """What each of some rows that were met asks of the mothership."""
    n = len(which)
    shots = rows.shots
    given, rim = shots.burn_km_s[which], _rim(rows, which, by)
    own = (
        shots.unburned_km[which]
        if math.isfinite(rows.passage.distance_km)
        else np.tile(by.own_aim_km, (n, 1))
    )
    aim = shots.b_km[which] - np.einsum("nij,nj->ni", shots.by_state[which][:, :2, 3:], rim)
    out = 1e3 * np.linalg.norm(given - rim, axis=1)
    in_time = rows.burn_s[which] + by.divert_s < _met_s(rows)[which] - 3600.0
    ways = [way_back_km_s(rows, int(k), by, own[j] - aim[j]) for j, k in enumerate(which)]
    back = 1e3 * np.linalg.norm(np.array(ways).reshape(n, 3), axis=1)
    burnt = by.mass_kg * np.expm1((out + back) / (STANDARD_GRAVITY_M_S2 * by.isp_s))
    return Steered(
        given, out, back, burnt, np.full(n, by.divert_s / DAY_S), aim, in_time & np.isfinite(burnt)
    )


def _met_s(rows: Rows) -> Floats:
    return rows.shots.entry_s if isinstance(rows, EntryRows) else rows.shots.closest_s


def _rim(rows: Rows, which: NDArray[np.int64], by: SteeredBy) -> Floats:
    """(n, 3) speed of the rim at each row's clock angle, across the way in."""
    if by.rim_km_s == 0.0:
        return np.zeros((len(which), 3))
    clock = np.radians(rows.clock_deg[which])
    axes = np.array([axes_of(*(float(c) for c in rows.shots.s[k])) for k in which]).reshape(-1, 2, 3)
    return by.rim_km_s * (np.cos(clock)[:, None] * axes[:, 0] + np.sin(clock)[:, None] * axes[:, 1])


def way_back_km_s(rows: Rows, k: int, by: SteeredBy, way_km: Floats) -> Floats:
    """(3,) what brings the mothership back when it diverts, by a way in the B-plane; NaN where that is too late.

    And, where the probe was to arrive at a time, to its own time.
    """
    burn_s, shots = float(rows.burn_s[k]), rows.shots
    then_s = burn_s + by.divert_s
    if then_s >= float(_met_s(rows)[k]):
        return np.full(3, np.nan)
    state = rows.path[k].copy()
    state[3:] += shots.burn_km_s[k]
    there = influence_at(
        state, burn_s, np.array([then_s]), by_start=_goals_by_state(rows, k), field=rows.field
    )[0]
    if not np.isfinite(there).all():
        return np.full(3, np.nan)
    way = way_km
    if isinstance(rows, EntryRows):
        away = _moved(rows.path[k], burn_s, then_s, rows) - _moved(state, burn_s, then_s, rows)
        way = np.append(way_km, there[2] @ away)
    back: Floats = np.linalg.pinv(there[:, 3:]) @ way
    return back


def _goals_by_state(rows: Rows, k: int) -> Floats:
    """(2 or 3, 6) d(B.T, B.R, and of an entry time along the asymptote) by the state at the burn."""
    shots = rows.shots
    if not isinstance(rows, EntryRows):
        return shots.by_state[k]
    return fixed_aim(
        shots.by_state[k], shots.b_km[k], v_inf_km_s=float(shots.v_inf_km_s[k]),
        radius_km=float(np.linalg.norm(shots.relative[k, :3])), mu_km3_s2=rows.passage.body.gm_km3_s2,
    )  # fmt: skip


def _moved(state: Floats, begin_s: float, end_s: float, rows: Rows) -> Floats:
    """(6,) a state as flown in the field; NaN where it could not be."""
    y = state.copy()
    return y if move_to(y, begin_s, end_s, rows.field) == OK else np.full(6, np.nan)
