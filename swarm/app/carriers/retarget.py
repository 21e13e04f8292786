"""Small burns of a mothership that bring more into reach: proposed by a linear map, to be screened as any other.

A burn dv of the mothership at t_k moves it, and every probe released later, by M_k dv at the encounter, with M_k the
derivative of the place by the velocity at t_k, across the relative velocity (along it a miss costs nothing). A probe
whose burn b met its target, M_b b = B, then needs the least b' with M_b b' = B - M_k dv. So b' is linear in dv, and its
length convex. Rows with a burn somewhat above the limit, the near misses, may come below it, and others leave.

Proposals are burns on a fixed set of directions and sizes at each date, in order of the worth of what is then within
the limit, a target counting more the less is burnt for it. The map only proposes: each is screened, judged and searched
as a mothership of its own, beside the one that does not burn.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import tomli_w
from numpy.typing import NDArray

from swarm.app.carriers.listed import Carrier, checked
from swarm.reach.arcs.transition import position_by_velocity
from swarm.reach.mothership.path import legs_of_table
from swarm.reach.opportunities import screen_together
from swarm.run.folder import Run
from swarm.run.workers import Pool
from swarm.study.schema import Study
from swarm.study.sections.choices import RetargetSettings
from swarm.study.toml_file import parse_toml
from targets.base.constants import STANDARD_GRAVITY_M_S2
from targets.base.timescale import iso_tdb, tdb_s_from_jd
from targets.catalogue.bodies import Catalogue
from targets.catalogue.nearest_miss import can_serve

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Directions and sizes (shares of the budget) that are looked at on each date: own choice. Neighbours of 800 points
# over a sphere are some 7 degrees apart; of 200, one of three cases of brute force was found to 69 % only.
_DIRECTIONS, _SIZES = 800, (0.1, 0.2, 0.35, 0.5, 0.7, 1.0)
# Rows up to this much above the burn limit are near misses: what a whole budget gives back where both burns have the
# same time to work; one of the mothership, longer before, gives back more.
_LEVER = 3.0
# Two proposals of one date nearer than this share of the budget are one.
_APART = 0.3


@dataclass(frozen=True)
class Rows:
    """Rows of the screen as the map sees them.

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


def ship_propellant_kg(mass_kg: float, burn_m_s: float, isp_s: float) -> float:
    """Propellant of a burn of a mothership that weighs `mass_kg` before it: m (1 - exp(-dv / (g0 Isp)))."""
    return mass_kg * -math.expm1(-burn_m_s / (STANDARD_GRAVITY_M_S2 * isp_s))


def proposed(
    carrier: Carrier, run: Run, asked: RetargetSettings, catalogue: Catalogue, *, pool: Pool, first: int
) -> list[Carrier]:
    """The burns to be screened, the most promising first, as motherships numbered from `first`.

    None where there is no budget, or where by the map no burn brings anything into reach.
    """
    if asked.budget_m_s == 0.0 or asked.isp_s is None:
        return []
    study = carrier.study
    rows = rows_of(study, run, catalogue, lever_m_s=_LEVER * asked.budget_m_s, pool=pool)
    found: list[tuple[float, float, Floats]] = []  # gain, date, burn
    for date in asked.dates:
        maps = ship_map(rows, run, date)
        if maps is None:
            continue
        burns = asked.budget_m_s * spread_burns()
        worth = worths(rows, maps, burns, study.probe.burn_limit_m_s)
        found += [(gain, date, burn) for gain, burn in zip(worth, burns, strict=True) if gain > 0.0]
    found.sort(key=lambda each: -each[0])
    chosen = _apart(found, asked)
    return [_burning(carrier, first + k, date, burn, asked) for k, (_, date, burn) in enumerate(chosen)]


def spread_burns() -> Floats:
    """(m, 3) burns of at most 1 on a spiral over the sphere (golden angle), each direction in every size."""
    k = np.arange(_DIRECTIONS)
    z = 1.0 - (2.0 * k + 1.0) / _DIRECTIONS
    turn = math.pi * (3.0 - math.sqrt(5.0)) * k
    unit = np.column_stack([np.sqrt(1.0 - z**2) * np.cos(turn), np.sqrt(1.0 - z**2) * np.sin(turn), z])
    return np.concatenate([size * unit for size in _SIZES])


def _apart(
    found: list[tuple[float, float, Floats]], asked: RetargetSettings
) -> list[tuple[float, float, Floats]]:
    """The best, no two of one date close together."""
    chosen: list[tuple[float, float, Floats]] = []
    for each in found:
        near = _APART * asked.budget_m_s
        if all(each[1] != other[1] or np.linalg.norm(each[2] - other[2]) > near for other in chosen):
            chosen.append(each)
            if len(chosen) == asked.candidates:
                break
    return chosen


# --- the linear map -----------------------------------------------------------------------------------------


def rows_of(study: Study, run: Run, catalogue: Catalogue, *, lever_m_s: float, pool: Pool) -> Rows:
    """The rows within `lever_m_s` above the burn limit, screened anew with that much more."""
    limit_m_s = study.probe.burn_limit_m_s + lever_m_s
    wider = study.with_keys("probe", burn_limit_m_s=limit_m_s)
    (screening,) = screen_together((wider,), catalogue, pool=pool)
    table = screening.opportunities
    values = {
        name: table[name].to_numpy()
        for name in table.column_names
        if name not in ("target", "kind", "design")
    }
    v_rel = np.column_stack([values[f"v_rel_{axis}_km_s"] for axis in "xyz"])
    burn_m_s = np.column_stack([values[f"burn_{axis}_m_s"] for axis in "xyz"])
    burn_s, encounter_s = values["burn_tdb_s"], values["encounter_tdb_s"]
    states = states_on(run, burn_s)
    states[:, 3:] += 1e-3 * burn_m_s
    weights = np.array([row.weight / row.baseline for row in study.science.rows])
    serves = np.column_stack([can_serve(screening.targets, row.where) for row in study.science.rows])
    return Rows(
        body=values["target_index"].astype(np.int64),
        release_s=tdb_s_from_jd(values["release_jd_tdb"]),
        encounter_s=encounter_s,
        burn_m_s=burn_m_s,
        across=across_of(v_rel),
        by_probe=position_by_velocity(states, encounter_s - burn_s),
        worth=(serves @ weights)[values["target_index"].astype(np.int64)],
    )


def states_on(run: Run, tdb_s: Floats) -> Floats:
    """(n, 6) states of the mothership's path, on the leg that holds each epoch."""
    states = np.full((len(tdb_s), 6), np.nan)
    for leg in legs_of_table(run.read_table("mothership")):
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


def ship_map(rows: Rows, run: Run, date_jd_tdb: float) -> tuple[Floats, Floats] | None:
    """What a burn of the mothership on a date does to the rows: (n, 3) probe burns, and (n, 3, 3) their change by dv.

    None where the mothership is on no leg then. Rows that are over before the date stay as they are; those released
    before and met after it are lost (NaN): no arc spans a burn of the mothership. With M the place across
    the relative velocity by the probe's burn (2, 3), what moves the encounter is met again by -M^+ across by_ship dv.
    """
    at_s = float(tdb_s_from_jd(date_jd_tdb))
    state = states_on(run, np.array([at_s]))
    if not np.isfinite(state).all():
        return None
    n = len(rows.body)
    by_ship = position_by_velocity(np.repeat(state, n, axis=0), np.maximum(rows.encounter_s - at_s, 1.0))
    inverse = np.linalg.pinv(rows.across @ rows.by_probe)
    change = -inverse @ (rows.across @ by_ship)
    change[rows.release_s < at_s] = 0.0
    burns = rows.burn_m_s.copy()
    burns[(rows.release_s < at_s) & (rows.encounter_s > at_s)] = np.nan
    return burns, change


def worths(rows: Rows, maps: tuple[Floats, Floats], burns_m_s: Floats, limit_m_s: float) -> Floats:
    """(m,) by how much each burn of the mothership adds to what is in reach, by the map; below 0 where it takes away.

    A target is worth the share of science it may bring, more where a probe burns less for it: half at the limit.
    """
    base, change = maps
    order = np.argsort(rows.body, kind="stable")
    starts = np.flatnonzero(np.diff(rows.body[order], prepend=-1))
    worth = rows.worth[order][starts]

    def summed(burns: Floats) -> float:
        size = np.linalg.norm(burns, axis=1)[order]
        least = np.fmin.reduceat(size, starts)
        return float((worth * np.where(least <= limit_m_s, 1.0 - 0.5 * least / limit_m_s, 0.0)).sum())

    if not len(rows.body):
        return np.zeros(len(burns_m_s))
    none = summed(rows.burn_m_s)
    return np.array([summed(base + change @ dv) - none for dv in burns_m_s])


# --- as motherships -----------------------------------------------------------------------------------------


def _burning(
    carrier: Carrier, number: int, date: float, burn_m_s: Floats, asked: RetargetSettings
) -> Carrier:
    """The mothership with a burn more: a study of one path as any other."""
    entry: dict[str, Any] = {"date": date} | {
        f"{axis}_m_s": round(float(value), 6) for axis, value in zip("xyz", burn_m_s, strict=True)
    }
    data = parse_toml(carrier.text, file=carrier.study.base / "study.toml")
    data["mothership"]["burns"] = [*data["mothership"].get("burns", []), entry]
    size = float(np.linalg.norm([entry[f"{axis}_m_s"] for axis in "xyz"]))
    label = f"{carrier.label}, burn of {size:.2f} m/s on {iso_tdb(date)[:10]}"
    return Carrier(
        number,
        label,
        carrier.changes | {"mothership.burns": [entry]},
        tomli_w.dumps(data),
        checked(data, file=label, base=carrier.study.base),
        burn_m_s=size,
        burn_kg=ship_propellant_kg(carrier.study.mothership.mass_kg, size, asked.isp_s or math.inf),
    )
