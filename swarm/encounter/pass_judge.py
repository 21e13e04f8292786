"""Low passes judged as every encounter is: chances of quality, of data home, corrections, what stands against them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.encounter.cases import Camera, camera_of, spare_km_s
from swarm.encounter.corrections import AFTER_BURN, BEFORE_ENCOUNTER
from swarm.encounter.downlink import chance_of, downlink_of, sample_earth, send_home
from swarm.encounter.error_model import CORRECTIONS_MAX
from swarm.encounter.judging import Judged
from swarm.encounter.pass_table import cases_of_table
from swarm.encounter.pass_worth import PassCases, PassWorth, worth_of
from swarm.encounter.reasons import (
    DARK,
    HITS,
    LOW_BEST,
    LOW_RETURN,
    LOW_SHARE,
    OK,
    TOO_DEAR,
    TOO_HIGH,
    WHY_NOT_HOME,
)
from targets.base.constants import DAY_S
from targets.base.timescale import tdb_s_from_jd
from targets.catalogue.reading import Catalogue
from targets.ephemeris import spice
from targets.masses.massive import mass_named, planet_of

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]


def judge_low_passes(
    study: Study, opportunities: pa.Table, targets: Catalogue, *, qualities: tuple[float, ...]
) -> Judged:
    """Judge low passes of one design; the answer for one does not depend on which others are in the table.

    opportunities : as widened by `passes`
    qualities     : q values for `chance_quality`, rising
    """
    cases = cases_of_table(opportunities)
    worth = worth_of(study, cases, qualities)
    spare = 1e3 * spare_km_s(study, cases.planned_m_s)
    home = send_home_of(study, opportunities)
    before, kinds = planned_corrections(study, cases.before_s, opportunities)
    n = len(cases.body)
    return Judged(
        chance_returned=home["chance"],
        chance_quality=worth.chance_quality,
        shown_chance=worth.shown_chance,
        chance_low_quality=worth.low_chance,
        expected_quality=worth.expected_quality,
        best_quality=worth.best_quality,
        seen_chance=worth.delivered_chance,
        dv99_m_s=np.minimum(worth.dv99_needed_m_s, spare),
        dv99_needed_m_s=worth.dv99_needed_m_s,
        sight_limit_m_s=np.zeros(n),
        delivered_chance=worth.delivered_chance,
        aim_t_km=cases.b_km[:, 0].copy(),
        aim_r_km=cases.b_km[:, 1].copy(),
        aim_km=np.hypot(*cases.b_km.T),
        delivery_cov_km2=worth.delivery_cov_km2,
        start_cov_km2=worth.start_cov_km2,
        before_cov_km2=worth.before_cov_km2,
        # what is not known along the path moves the date of the pass, not its shape
        sigma_time_s=cases.ephemeris_sigma_km / cases.v_inf_km_s,
        detect_range_km=np.zeros(n),
        detect_h_before=np.zeros(n),
        data_mbit=home["data_mbit"],
        downlink_h=home["hours"],
        home_days=home["days"],
        relayed=home["relayed"].astype(bool),
        corrections=np.array([len(each) for each in cases.before_s], dtype=np.int16),
        correction_before_s=before,
        correction_kind=kinds,
        reason=_reasons(cases, worth, home),
    )


def planned_corrections(
    study: Study, before_s: tuple[Floats, ...], table: pa.Table
) -> tuple[Floats, NDArray[np.int8]]:
    """Dates before the encounter, (n, CORRECTIONS_MAX), and whether they follow the burn or precede the encounter."""
    n = table.num_rows
    before, kinds = np.zeros((n, CORRECTIONS_MAX)), np.zeros((n, CORRECTIONS_MAX), dtype=np.int8)
    arc_s = DAY_S * (
        np.array(table["encounter_jd_tdb"].to_numpy()) - np.array(table["burn_jd_tdb"].to_numpy())
    )
    for k, dates in enumerate(before_s):
        before[k, : len(dates)] = dates
        since_burn = (arc_s[k] - dates)[:, None] - np.array(
            study.delivery.corrections_after_burn_days
        ) * DAY_S
        after_burn = (np.abs(since_burn) < 60.0).any(axis=1)
        kinds[k, : len(dates)] = np.where(after_burn, AFTER_BURN, BEFORE_ENCOUNTER)
    return before, kinds


def send_home_of(study: Study, table: pa.Table, waits_s: Floats | None = None) -> dict[str, Floats]:
    """What comes home of each pass, by the link and the power that flybys have.

    waits_s : (n,) after the pass nothing is sent for so long; not at all unless given. `days` count from then on.

    For the link a probe is as far from its planet's system as the body was at the pass, and moves with the system: what
    it is off by after weeks, some 0.05 au, is a hundredth of the range to the Earth from Jupiter on. The mothership
    recedes as fast as the two part at the pass, which is never slower than what the planet leaves of it: the relay is
    not made better than it is.
    """
    downlink, camera = downlink_of(study), camera_of(study)
    waits = np.zeros(table.num_rows) if waits_s is None else waits_s
    met_s, start_jd = np.array(table["encounter_tdb_s"].to_numpy()) + waits, study.study.start_jd_tdb
    last_s = max(float(tdb_s_from_jd(study.study.end_jd_tdb)), float(met_s.max(initial=0.0)))
    earth, grid = sample_earth(float(tdb_s_from_jd(start_jd)), last_s + study.probe.downlink_max_days * DAY_S)
    states = _planet_states(table, met_s)
    out = {name: np.zeros(len(met_s)) for name in ("chance", "data_mbit", "hours", "days", "relayed", "why")}
    columns = [
        table[name].to_numpy()
        for name in ("release_jd_tdb", "encounter_jd_tdb", "mothership_range_km", "parting_km_s")
    ]
    wanted = _wanted_mbit(camera, downlink.data_min_mbit)
    for k, (release, met, range_km, parting) in enumerate(zip(*columns, strict=True)):
        stored = float(release - start_jd + study.survival.stored_before_days)
        age, apart = float(met - release + waits[k] / DAY_S), float(range_km + waits[k] * parting)
        possible, hours, days, relayed, why = send_home(
            states[k], float(met_s[k]), (stored, age), (apart, float(parting)), wanted, earth, grid, downlink,
        )  # fmt: skip
        out["chance"][k] = chance_of(possible, downlink.data_min_mbit, downlink)
        out["data_mbit"][k], out["hours"][k], out["days"][k] = min(possible, wanted), hours, days
        out["relayed"][k], out["why"][k] = relayed > 0.5 * possible, why
    return out


def _wanted_mbit(camera: Camera, least_mbit: float) -> float:
    """All kept images, whole: the ground fills the frame."""
    return max(1e-6 * camera.bits_per_square * camera.pixels**2, least_mbit)


def _planet_states(table: pa.Table, tdb_s: Floats) -> Floats:
    """(n, 6) heliocentric states: with the bodies' systems, and as far from them as the bodies were."""
    out = np.zeros((table.num_rows, 6))
    systems = np.array([planet_of(mass_named(name)).number // 100 for name in table["target"].to_pylist()])
    place = np.column_stack([table[f"target_{axis}_km"].to_numpy() for axis in "xyz"])
    met_s = np.array(table["encounter_tdb_s"].to_numpy())
    for number in np.unique(systems):
        own = systems == number
        out[own] = spice.sample(int(number), tdb_s[own])
        out[own, :3] += place[own] - spice.sample(int(number), met_s[own])[:, :3]
    return out


def why_not_home(why: float) -> int:
    """The reason by what `send_home` says."""
    return WHY_NOT_HOME[int(why)]


def _reasons(cases: PassCases, worth: PassWorth, home: dict[str, Floats]) -> NDArray[np.int8]:
    """What stands against a pass: the first that applies, as for flybys."""
    out = np.full(len(cases.body), OK, dtype=np.int8)
    for k in range(len(out)):
        if home["chance"][k] < LOW_RETURN:
            out[k] = why_not_home(home["why"][k])
        elif worth.best_quality[k] < LOW_BEST:
            out[k] = DARK if cases.sun_elevation_deg[k] <= 0.0 else TOO_HIGH
        elif worth.delivered_chance[k] < LOW_SHARE:
            out[k] = TOO_DEAR
        elif worth.shown_chance[k] < LOW_SHARE:
            out[k] = HITS
    return out
