"""What a burn of the mothership does to the burns of its probes, to first order.

A burn dv of the mothership at t_k moves it, and every probe released later, by M_k dv at the encounter, with M_k the
derivative of the place by the velocity at t_k, across the relative velocity (along it a miss costs nothing). A probe
whose burn b met its target, M_b b = B, then needs the least b' with M_b b' = B - M_k dv. So b' is linear in dv, and its
length convex. Rows with a burn somewhat above the limit, the near misses, may come below it, and others leave.

Where the mothership is to return, its later burns are linear in the first one, too: the second is K dv with
K = -M(2, 3)^-1 M(1, 3), the third takes what is left of the velocity.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swarm.reach.arcs.transition import position_by_velocity, transition_matrix
from swarm.reach.found import Screening
from swarm.reach.mothership.burned import HALFWAY, return_of
from swarm.reach.mothership.path import Path
from swarm.reach.mothership.sources import Mothership
from swarm.study.schema import Study
from targets.base.errors import InputError
from targets.base.timescale import tdb_s_from_jd
from targets.catalogue.nearest_miss import can_serve

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Rows:
    """Rows of a screen as the map sees them.

    body, release_s, encounter_s : (n,) target number, TDB seconds
    burn_m_s                     : (n, 3) what the probe burns without a burn of the mothership
    across                       : (n, 2, 3) unit vectors across the relative velocity
    by_probe                     : (n, 3, 3) place at the encounter by the probe's burn, s
    worth                        : (n,) what the target may bring
    """

    body: Ints
    release_s: Floats
    encounter_s: Floats
    burn_m_s: Floats
    across: Floats
    by_probe: Floats
    worth: Floats


@dataclass(frozen=True)
class Detour:
    """Burns that follow from the first: dv at `at_s`, `second` dv at `second_s`, `third` dv at `back_s`.

    Infinite dates where it does not return; `third` is nothing where it returns to a passage.
    """

    at_s: float
    second_s: float = math.inf
    back_s: float = math.inf
    second: Floats | None = None
    third: Floats | None = None

    def sums_m_s(self, burns_m_s: Floats) -> Floats:
        """(m,) all that is burnt where the first is each of (m, 3)."""
        total = np.linalg.norm(burns_m_s, axis=1)
        for later in (self.second, self.third):
            if later is not None:
                total = total + np.linalg.norm(burns_m_s @ later.T, axis=1)
        return np.asarray(total)


@dataclass(frozen=True)
class BurnMap:
    """(n, 3) burns of the probes without a burn of the mothership, (n, 3, 3) their change by it; NaN: a row is lost."""

    burn_m_s: Floats
    change: Floats
    detour: Detour


def rows_of(study: Study, ship: Mothership, screening: Screening) -> Rows:
    """The rows of a screen of the study."""
    table = screening.opportunities
    values = {
        name: table[name].to_numpy()
        for name in table.column_names
        if name not in ("target", "kind", "design")
    }
    v_rel = np.column_stack([values[f"v_rel_{axis}_km_s"] for axis in "xyz"])
    burn_m_s = np.column_stack([values[f"burn_{axis}_m_s"] for axis in "xyz"])
    burn_s, encounter_s = values["burn_tdb_s"], values["encounter_tdb_s"]
    states = states_on(ship.legs, burn_s)
    states[:, 3:] += 1e-3 * burn_m_s
    return Rows(
        body=values["target_index"].astype(np.int64),
        release_s=tdb_s_from_jd(values["release_jd_tdb"]),
        encounter_s=encounter_s,
        burn_m_s=burn_m_s,
        across=across_of(v_rel),
        by_probe=position_by_velocity(states, encounter_s - burn_s),
        worth=target_worth(study, screening)[values["target_index"].astype(np.int64)],
    )


def states_on(legs: tuple[Path, ...], tdb_s: Floats) -> Floats:
    """(n, 6) states of the mothership's path, on the leg that holds each epoch; NaN where none does."""
    states = np.full((len(tdb_s), 6), np.nan)
    for leg in legs:
        on_leg = (tdb_s >= leg.epochs_tdb_s[0] - 1.0) & (tdb_s <= leg.epochs_tdb_s[-1] + 1.0)
        if on_leg.any():
            states[on_leg] = leg.at(tdb_s[on_leg])
    return states


def across_of(v_rel_km_s: Floats) -> Floats:
    """(n, 2, 3) two unit vectors across each relative velocity."""
    z = v_rel_km_s / np.linalg.norm(v_rel_km_s, axis=1, keepdims=True)
    least = np.eye(3)[np.argmin(np.abs(z), axis=1)]
    x = np.cross(z, least)
    x /= np.linalg.norm(x, axis=1, keepdims=True)
    return np.stack([x, np.cross(z, x)], axis=1)


def detour_of(ship: Mothership, date_jd_tdb: float, return_by_jd_tdb: float | None) -> Detour | None:
    """What follows from a burn on a date; None where the mothership is on no leg then or could not go on."""
    at_s = float(tdb_s_from_jd(date_jd_tdb))
    on_leg = [k for k, leg in enumerate(ship.legs) if leg.start_tdb_s <= at_s <= leg.epochs_tdb_s[-1]]
    if not on_leg:
        return None
    if return_by_jd_tdb is None:
        return Detour(at_s) if on_leg[-1] == len(ship.legs) - 1 else None
    leg = ship.legs[on_leg[-1]]
    try:
        back_s, _, number = return_of(ship.flybys, leg, float(tdb_s_from_jd(return_by_jd_tdb)), "return_by")
    except InputError:
        return None
    second_s = at_s + HALFWAY * (back_s - at_s)
    first, later = (_along(leg, begin, back_s) for begin in (at_s, second_s))
    second: Floats = -np.linalg.solve(later[:3], first[:3]).astype(np.float64)
    third = None if number is not None else -(first[3:] + later[3:] @ second)
    return Detour(at_s, second_s, back_s, second, third)


def _along(leg: Path, begin_s: float, end_s: float) -> Floats:
    """(6, 3) place and velocity at the end of a stretch of a leg by the velocity at its beginning."""
    state = leg.at(begin_s)[0]
    return np.asarray(transition_matrix(state[:3], state[3:], end_s - begin_s)[:, 3:])


def burn_map(rows: Rows, ship: Mothership, detour: Detour) -> BurnMap:
    """What burns of the mothership do to the rows.

    Rows that are over before the burn stay as they are, as those released after its return do; those released before a
    burn and met after it are lost: no arc spans a burn of the mothership. With M the place across the relative velocity
    by the probe's burn (2, 3), what moves the encounter is met again by -M^+ across by_ship dv.
    """
    moved = np.zeros((len(rows.body), 3, 3))
    away = (rows.release_s >= detour.at_s) & (rows.release_s < detour.back_s)
    moved[away] = _moved_by(ship, detour.at_s, rows.encounter_s[away])
    turned = away & (rows.release_s >= detour.second_s)
    if detour.second is not None:
        moved[turned] += _moved_by(ship, detour.second_s, rows.encounter_s[turned]) @ detour.second
    inverse = np.linalg.pinv(rows.across @ rows.by_probe)
    burns = rows.burn_m_s.copy()
    for cut_s in (detour.at_s, detour.second_s, detour.back_s):
        burns[(rows.release_s < cut_s) & (rows.encounter_s > cut_s)] = np.nan
    return BurnMap(burns, -inverse @ (rows.across @ moved), detour)


def _moved_by(ship: Mothership, at_s: float, encounter_s: Floats) -> Floats:
    """(n, 3, 3) the mothership's place at the encounters by its velocity at an epoch."""
    states = np.repeat(states_on(ship.legs, np.array([at_s])), len(encounter_s), axis=0)
    return position_by_velocity(states, np.maximum(encounter_s - at_s, 1.0))


def screened_worth(study: Study, screening: Screening) -> float:
    """What a screen's rows are worth, as `Tally` counts."""
    table, limit_m_s = screening.opportunities, study.probe.burn_limit_m_s
    least = np.full(len(screening.targets), np.inf)
    np.minimum.at(least, np.array(table["target_index"].to_numpy()), table["burn_m_s"].to_numpy())
    kept = np.where(least <= limit_m_s, 1.0 - 0.5 * np.minimum(least, limit_m_s) / limit_m_s, 0.0)
    return float((target_worth(study, screening) * kept).sum())


def target_worth(study: Study, screening: Screening) -> Floats:
    """(targets,) the share of science that each may bring."""
    weights = np.array([row.weight / row.baseline for row in study.science.rows])
    serves = np.column_stack([can_serve(screening.targets, row.where) for row in study.science.rows])
    return np.asarray(serves @ weights, dtype=np.float64)


class Tally:
    """What burns of the probes are worth: a target the share of science it may bring, more where less is burnt for it.

    Half of it at the limit, nothing above; each target counts once.
    """

    def __init__(self, rows: Rows, limit_m_s: float) -> None:
        self._order = np.argsort(rows.body, kind="stable")
        self._starts = np.flatnonzero(np.diff(rows.body[self._order], prepend=-1))
        self._worth = rows.worth[self._order][self._starts]
        self._limit_m_s = limit_m_s
        self.none = self._of(rows.burn_m_s[self._order])

    def gains(self, mapped: BurnMap, burns_m_s: Floats) -> Floats:
        """(m,) by how much each burn of the mothership adds to the worth, by the map; below 0 where it takes away."""
        base, change = mapped.burn_m_s[self._order], mapped.change[self._order]
        return np.array([self._of(base + change @ dv) - self.none for dv in burns_m_s])

    def _of(self, burns_m_s: Floats) -> float:
        if not len(self._starts):
            return 0.0
        least = np.fmin.reduceat(np.linalg.norm(burns_m_s, axis=1), self._starts)
        kept = np.where(least <= self._limit_m_s, 1.0 - 0.5 * least / self._limit_m_s, 0.0)
        return float((self._worth * kept).sum())
