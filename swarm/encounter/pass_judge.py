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
    spare = 1e3 * spare_km_s(study, cases.own_burn_m_s)
    home = _send_home(study, opportunities)
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


def _send_home(study: Study, table: pa.Table) -> dict[str, Floats]:
    """What comes home of each pass, by the link and the power that flybys have.

    For the link a probe is where its planet is after the pass: what it is off by then, some 0.05 au after weeks, is a
    hundredth of the range to the Earth from Jupiter on. The mothership recedes as fast as the two part at the pass,
    which is never slower than what the planet leaves of it: the relay is not made better than it is.
    """
    downlink, camera = downlink_of(study), camera_of(study)
    last_s = float(tdb_s_from_jd(study.study.end_jd_tdb)) + study.probe.downlink_max_days * DAY_S
    earth, grid = sample_earth(float(tdb_s_from_jd(study.study.start_jd_tdb)), last_s)
    met_s, start_jd = np.array(table["encounter_tdb_s"].to_numpy()), study.study.start_jd_tdb
    states = _planet_states(table["target"].to_pylist(), met_s)
    out = {name: np.zeros(len(met_s)) for name in ("chance", "data_mbit", "hours", "days", "relayed", "why")}
    columns = [
        table[name].to_numpy()
        for name in ("release_jd_tdb", "encounter_jd_tdb", "mothership_range_km", "parting_km_s")
    ]
    wanted = _wanted_mbit(camera, downlink.data_min_mbit)
    for k, (release, met, range_km, parting) in enumerate(zip(*columns, strict=True)):
        stored = float(release - start_jd + study.survival.stored_before_days)
        possible, hours, days, relayed, why = send_home(
            states[k], float(met_s[k]), (stored, float(met - release)), (float(range_km), float(parting)),
            wanted, earth, grid, downlink,
        )  # fmt: skip
        out["chance"][k] = chance_of(possible, downlink.data_min_mbit, downlink)
        out["data_mbit"][k], out["hours"][k], out["days"][k] = min(possible, wanted), hours, days
        out["relayed"][k], out["why"][k] = relayed > 0.5 * possible, why
    return out


def _wanted_mbit(camera: Camera, least_mbit: float) -> float:
    """All kept images, whole: the ground fills the frame."""
    return max(1e-6 * camera.bits_per_square * camera.pixels**2, least_mbit)


def _planet_states(bodies: list[str], tdb_s: Floats) -> Floats:
    """(n, 6) heliocentric states of the systems that the bodies belong to."""
    out = np.zeros((len(bodies), 6))
    systems = np.array([planet_of(mass_named(name)).number // 100 for name in bodies])
    for number in np.unique(systems):
        out[systems == number] = spice.sample(int(number), tdb_s[systems == number])
    return out


def _reasons(cases: PassCases, worth: PassWorth, home: dict[str, Floats]) -> NDArray[np.int8]:
    """What stands against a pass: the first that applies, as for flybys."""
    out = np.full(len(cases.body), OK, dtype=np.int8)
    for k in range(len(out)):
        if home["chance"][k] < LOW_RETURN:
            out[k] = WHY_NOT_HOME[int(home["why"][k])]
        elif worth.best_quality[k] < LOW_BEST:
            out[k] = DARK if cases.sun_elevation_deg[k] <= 0.0 else TOO_HIGH
        elif worth.delivered_chance[k] < LOW_SHARE:
            out[k] = TOO_DEAR
        elif worth.shown_chance[k] < LOW_SHARE:
            out[k] = HITS
    return out
