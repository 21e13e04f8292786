"""What the rows of an approach of entries come to: flown down, and delivered into their corridor."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.entry.corridor import Corridor
from swarm.encounter.entry.entry_flown import EntriesFlown, fly_entries
from swarm.encounter.entry.entry_worth import EntryCases, EntryWorth, worth_of_entries
from swarm.encounter.entry.setting import Setting
from swarm.encounter.pass_impact import impact_radius_km
from swarm.encounter.steering import Flyable, flyable
from swarm.reach.approach.entry_rows import EntryRows
from swarm.reach.approach.influence import influence_at
from swarm.reach.approach.ring_chance import ring_chance
from targets.base.constants import DAY_S

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class JudgedEntries:
    """The n rows that were met and need no more than a burn limit, or the mothership's tank, of those shot.

    able        : which they are, and what the mothership does for them
    ship_chance : (n,) chance that the mothership follows the probe in
    """

    able: Flyable
    flown: EntriesFlown
    cases: EntryCases
    worth: EntryWorth
    ship_chance: Floats

    @property
    def rows(self) -> Ints:
        return self.able.rows


def judge_entries(
    rows: EntryRows,
    setting: Setting,
    corridor: Corridor,
    qualities: tuple[float, ...] = (),
    *,
    burn_limit_m_s: float = math.inf,
) -> JudgedEntries:
    """Judge every row of one passage and design; the answer for one does not depend on which others there are."""
    able = flyable(rows, setting.steered_by, burn_limit_m_s=burn_limit_m_s)
    down = fly_entries(rows, setting, corridor, able.rows)
    cases = _cases(rows, setting, able, down)
    alone = setting.study.of_design(setting.design.name)
    worth = worth_of_entries(alone, cases, qualities)
    return JudgedEntries(able, down, cases, worth, _follows(setting, able, cases, worth))


def _follows(setting: Setting, able: Flyable, cases: EntryCases, worth: EntryWorth) -> Floats:
    """(n,) chance that the mothership fails to divert and comes down to the interface: known as its probe at first."""
    by = setting.steered_by
    if by is None or not len(able.rows):
        return np.zeros(len(able.rows))
    body = setting.passage.body
    discs = impact_radius_km(body, cases.v_inf_km_s, terrain_km=setting.interface.height_km)
    return by.divert_failure * ring_chance(able.steered.aim_km, worth.start_cov_km2, 0.0, discs)


def _cases(rows: EntryRows, setting: Setting, able: Flyable, down: EntriesFlown) -> EntryCases:
    shots, good, n = rows.shots, able.rows, len(able.rows)
    dates = [_correction_dates(setting, float(rows.burn_s[k]), float(shots.entry_s[k])) for k in good]
    return EntryCases(
        body=(setting.passage.body.name,) * n,
        v_inf_km_s=shots.v_inf_km_s[good],
        v_entry_km_s=down.v_entry_inertial_km_s,
        angle_deg=down.angle_inertial_deg,
        radius_km=np.linalg.norm(shots.relative[good, :3], axis=1),
        interface_km=np.full(n, setting.interface.height_km),
        ephemeris_sigma_km=np.full(n, setting.ask.ephemeris_sigma_km),
        checkout_s=(rows.burn_s - rows.release_s)[good],
        b_km=shots.b_km[good],
        burn_km_s=shots.burn_km_s[good],
        own_burn_m_s=1e3 * np.linalg.norm(shots.burn_km_s[good] - able.steered.aimed_km_s, axis=1),
        by_burn=np.ascontiguousarray(shots.by_state[good, :2]),
        before_s=tuple(float(shots.entry_s[k]) - at for k, at in zip(good, dates, strict=True)),
        by_corrections=tuple(_influences(rows, int(k), at) for k, at in zip(good, dates, strict=True)),
        edges_deg=down.corridor_edges_deg,
        bar_full=np.full(n, setting.ask.bar_full),
        **{
            name: getattr(down, name)
            for name in ("shallow_limit", "steep_limit", "lost", "reached_bar", "relay_min", "relay_mbit", "relay_db",
                         "direct_min", "direct_mbit", "direct_db")
        },
    )  # fmt: skip


def _correction_dates(setting: Setting, burn_s: float, met_s: float) -> Floats:
    """Corrections of a probe that steers; one that the mothership aims has none."""
    if setting.ask.steer != "probe":
        return np.array([])
    delivery = setting.study.delivery
    after = burn_s + np.array(delivery.corrections_after_burn_days) * DAY_S
    last_s = met_s - delivery.last_before_days * DAY_S
    before = met_s - np.array([*delivery.corrections_before_days, delivery.last_before_days]) * DAY_S
    dates = np.unique(np.concatenate([after, before]))
    return dates[(dates > burn_s + 3600.0) & (dates <= last_s + 1.0)]


def _influences(rows: EntryRows, k: int, dates: Floats) -> Floats:
    state = rows.path[k].copy()
    state[3:] += rows.shots.burn_km_s[k]
    by_start = np.ascontiguousarray(rows.shots.by_state[k, :2])
    return influence_at(state, float(rows.burn_s[k]), dates, by_start=by_start, field=rows.field)
