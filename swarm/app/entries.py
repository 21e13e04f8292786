"""`swarm corridor`: what the [[approach]] rows of entries come to, as lines for people."""

from __future__ import annotations

import math
from collections import Counter

import numpy as np

from swarm.encounter.entry.corridor import EDGE_REASONS, Corridor
from swarm.encounter.entry.entry_cautions import cautions_of_entries
from swarm.encounter.entry.entry_judging import JudgedEntries, judge_entries
from swarm.encounter.entry.entry_limits import IN_CORRIDOR, limits_of_entries, seen_entries
from swarm.encounter.entry.entry_screen import in_one, nothing_in_the_corridor
from swarm.encounter.entry.setting import Setting, setting_at
from swarm.encounter.pass_left_out import DIVERT, SAID, TANK, leaves_nothing
from swarm.reach.approach.entry_rows import EntryRows
from swarm.reach.approach.entry_shoot import ENTRY_REASONS
from swarm.reach.approach.rows import left_out
from swarm.reach.approach.scene import Scene, approaches_of, scene_of
from swarm.study.entry_relations import entering_designs
from swarm.study.kind_names import ENTRY
from swarm.study.schema import Study
from swarm.study.sections.approach import ApproachSettings
from swarm.study.sections.designs import DesignSettings
from targets.base.constants import DAY_S
from targets.base.errors import NothingFeasible
from targets.base.timescale import iso_of_tdb_s

_HEAD = (
    f"{'days':>5} {'angle':>6} {'min':>5} {'clock':>5} {'burn m/s':>8} {'dv99':>6} {'lat':>6} {'solar h':>7} "
    f"{'Sun':>4} {'sigma':>6} {'P(in)':>6} {'g':>5} {'W/cm2':>7} {'J/cm2':>7} {'bar':>6} {'down min':>8} "
    f"{'heard min':>9} {'relay Mbit':>10} {'Earth Mbit':>10} {'quality':>7}  limited by"
)


def corridor_lines(study: Study) -> list[str]:
    """A block an approach and passage and design: the corridor, its rows, what limits them, cautions.

    Raises InputError where nothing asks for entries, NothingFeasible where no row of any approach is in its corridor.
    """
    asks = approaches_of(study, ENTRY)
    blocks, nothing = [], []
    with scene_of(study) as scene:
        for ask in asks:
            lines, why = _approach(scene, ask)
            if why is not None:
                nothing.append(why)
                lines.append(f"   {leaves_nothing(ask.name, why)}")
            blocks.append(lines)
    if len(nothing) == len(asks):
        raise in_one(nothing)
    return [line for k, block in enumerate(blocks) for line in (*[""] * min(k, 1), *block)]


def _approach(scene: Scene, ask: ApproachSettings) -> tuple[list[str], NothingFeasible | None]:
    """The block of an approach, and why it has no row in its corridor, if so."""
    lines: list[str] = []
    inside, told = 0, []
    for number, passage in scene.asked(ask):
        for design in entering_designs(scene.study, ask):
            setting = setting_at(scene, ask, design, passage)
            corridor = setting.corridor()
            rows = scene.entries(ask, passage, checkout_days=design.checkout_days)
            judged = judge_entries(rows, setting, corridor)
            lines += [
                f"{ask.name}: {ask.body}, passage {number}, {iso_of_tdb_s(passage.closest_tdb_s)}, {design.name}"
            ]
            said = (_entered(judged), *_edges(corridor), *_counted(rows, judged, design), _HEAD)
            lines += [
                f"   {line}" for line in (*said, *_best(rows, judged, design), *_least(rows, judged, setting))
            ]
            inside += int(_good(judged, design).sum())
            told.append((design.name, corridor))
            if setting.place is None:
                lines.append("   the mothership's way past is not known where legs end: nothing is relayed")
    nothing = None if inside else nothing_in_the_corridor(ask, told)
    return [*lines, *_cautions(ask, setting, judged)], nothing


def _good(judged: JudgedEntries, design: DesignSettings) -> np.ndarray:
    return (judged.worth.corridor_chance >= IN_CORRIDOR) & _cheap(judged, design)


def _cheap(judged: JudgedEntries, design: DesignSettings) -> np.ndarray:
    """Rows that the probe's tank or, where it steers, the mothership's is enough for."""
    own: np.ndarray = judged.cases.own_burn_m_s <= design.burn_limit_m_s
    return own


def _entered(judged: JudgedEntries) -> str:
    if not len(judged.rows):
        return "no row met the interface"
    low, high = judged.flown.v_entry_relative_km_s.min(), judged.flown.v_entry_relative_km_s.max()
    return f"enters at {judged.flown.v_entry_inertial_km_s[0]:.3f} km/s, against the air {low:.3f} to {high:.3f} km/s"


def _edges(corridor: Corridor) -> list[str]:
    said = []
    for name, edges, codes in (
        ("shallow", corridor.shallow_deg[1], corridor.shallow_reason[1]),
        ("steep", corridor.steep_deg[1], corridor.steep_reason[1]),
    ):
        reasons = "; ".join(EDGE_REASONS[code] for code in dict.fromkeys(int(code) for code in codes))
        if np.isfinite(edges).any():
            said.append(
                f"{name} edge {np.nanmin(edges):.2f} to {np.nanmax(edges):.2f} deg round the clock: {reasons}"
            )
        else:
            said.append(f"{name} edge: none, {reasons}")
    return said


def _counted(rows: EntryRows, judged: JudgedEntries, design: DesignSettings) -> list[str]:
    """What became of every row that was asked for: none is dropped without a word."""
    parts = [
        f"{len(rows.burn_s) + rows.early + rows.late} rows asked for",
        f"{int(_good(judged, design).sum())} in the corridor",
    ]
    parts += left_out(rows.early, rows.late, rows.shots.status, ENTRY_REASONS)
    if dear := int((~_cheap(judged, design)).sum()):
        parts.append(f"{dear} need more than burn_limit_m_s = {design.burn_limit_m_s:g}")
    for count, code in ((judged.able.late, DIVERT), (judged.able.dear, TANK)):
        if count:
            parts.append(f"{count} {SAID[code]}")
    outside = int(((judged.worth.corridor_chance < IN_CORRIDOR) & _cheap(judged, design)).sum())
    if outside:
        parts.append(f"{outside} inside with less than {IN_CORRIDOR:g}")
    why = Counter(str(name) for name in judged.worth.limited_by)
    return [
        "; ".join(parts),
        "limited by: " + ", ".join(f"{name} {count}" for name, count in sorted(why.items())),
    ]


def _best(rows: EntryRows, judged: JudgedEntries, design: DesignSettings) -> list[str]:
    """One line a release, angle and arrival: the clock angle of the best quality, then the likeliest, then cheapest."""
    days = ((rows.passage.closest_tdb_s - rows.release_s) / DAY_S).round(6)[judged.rows]
    angles, offsets = rows.angle_deg[judged.rows], rows.offset_s[judged.rows]
    flyable = _cheap(judged, design)
    lines = []
    for key in dict.fromkeys(zip(days, angles, offsets, strict=True)):
        own = np.flatnonzero(flyable & (days == key[0]) & (angles == key[1]) & (offsets == key[2]))
        if not len(own):
            continue
        j = own[
            np.lexsort(
                (
                    judged.flown.burn_m_s[own],
                    -judged.worth.corridor_chance[own],
                    -judged.worth.mean_quality[own].round(6),
                )
            )[0]
        ]
        lines.append(_line(judged, int(j), (*key, float(rows.clock_deg[judged.rows[j]]))))
    return lines


def _line(judged: JudgedEntries, j: int, key: tuple[float, float, float, float]) -> str:
    day, angle, offset, clock = key
    down, worth = judged.flown, judged.worth
    flux = down.flux_convective_w_cm2[j] + down.flux_radiative_w_cm2[j]
    return (
        f"{day:5g} {angle:6g} {offset / 60.0:5.0f} {clock:5.0f} {down.burn_m_s[j]:8.3g} "
        f"{worth.dv99_needed_m_s[j]:6.3g} {down.latitude_deg[j]:6.1f} {down.local_solar_h[j]:7.2f} "
        f"{down.sun_elevation_deg[j]:4.0f} {worth.angle_sigma_deg[j]:6.2g} {worth.corridor_chance[j]:6.3f} "
        f"{down.peak_g[j]:5.0f} {flux:7.0f} {down.heat_load_j_cm2[j]:7.0f} {down.reached_bar[j]:6.3g} "
        f"{down.descent_min[j]:8.1f} {_or_dash(down.relay_min[j], '.1f'):>9} "
        f"{_or_dash(worth.relay_mbit[j], '.3g'):>10} {worth.direct_mbit[j]:10.3g} "
        f"{worth.mean_quality[j]:7.3f}  {worth.limited_by[j]}"
    )


def _or_dash(value: float, how: str) -> str:
    return "-" if math.isnan(value) else format(value, how)


def _least(rows: EntryRows, judged: JudgedEntries, setting: Setting) -> list[str]:
    seen = seen_entries(rows, judged, setting.burn_limit_m_s)
    return limits_of_entries(seen, limit=setting.dear_at, channels=setting.study.mothership.relay_channels)


def _cautions(ask: ApproachSettings, setting: Setting, judged: JudgedEntries) -> list[str]:
    said = cautions_of_entries(setting, judged)
    if ask.steer == "carrier" and len(judged.rows):
        ship, given = setting.study.mothership, judged.able.steered
        said.append(
            f"the mothership aims, and is on an impact course for {ask.divert_after_days:g} d after each release: it "
            f"follows the probe in with a chance of up to {judged.ship_chance.max():.2g} a probe (does not divert: "
            f"{ship.divert_failure:g}); {given.propellant_kg.min():.3g} to {given.propellant_kg.max():.3g} kg of its "
            f"propellant a probe, {given.back_m_s.min():.3g} to {given.back_m_s.max():.3g} m/s of it to be back on its "
            "own path in time"
        )
    known = setting.atmosphere.source
    return [f"   atmosphere: {known}", *(f"   caution: {each}" for each in said)]
