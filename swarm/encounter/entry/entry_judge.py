"""Entries judged as every encounter is: chances of quality, of data home, corrections, what stands against them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.encounter.cases import spare_km_s
from swarm.encounter.entry.entry_table import cases_of_entries
from swarm.encounter.entry.entry_worth import (
    EntryCases,
    EntryWorth,
    most_mbit,
    shell_settings,
    worth_of_entries,
)
from swarm.encounter.judging import Judged
from swarm.encounter.pass_judge import planned_corrections
from swarm.encounter.reasons import (
    AIR_DECEL,
    AIR_FLUX,
    AIR_LOAD,
    AIR_SKIP,
    LIFE,
    LOW_BEST,
    LOW_RETURN,
    LOW_SHARE,
    NOT_DEEP,
    OK,
    STORAGE,
    TOO_DEAR,
    UNHEARD,
)
from targets.base.constants import DAY_S
from targets.catalogue.reading import Catalogue

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]

# Reasons by what an edge of the corridor is called.
_OF_EDGES = {"skip": AIR_SKIP, "g": AIR_DECEL, "flux": AIR_FLUX, "load": AIR_LOAD}


def judge_of_entries(
    study: Study, opportunities: pa.Table, targets: Catalogue, *, qualities: tuple[float, ...]
) -> Judged:
    """Judge entries of one design; the answer for one does not depend on which others are in the table.

    Nothing is stored to be sent later: what is not heard on the way down is lost.

    opportunities : as widened by `entries`
    qualities     : q values for `chance_quality`, rising
    """
    cases = cases_of_entries(opportunities)
    worth = worth_of_entries(study, cases, qualities)
    spare = 1e3 * spare_km_s(study, cases.own_burn_m_s)
    before, kinds = planned_corrections(study, cases.before_s, opportunities)
    n, wanted = len(cases.body), shell_settings(study).data_mbit
    by_relay = np.nan_to_num(worth.relay_mbit) >= worth.direct_mbit
    heard_min = np.where(by_relay, np.nan_to_num(cases.relay_min), cases.direct_min)
    possible = np.array([most_mbit(*each) for each in zip(worth.relay_mbit, worth.direct_mbit, strict=True)])
    aged = _aged(study, opportunities)
    return Judged(
        chance_returned=np.where(aged == OK, worth.chance_returned, 0.0),
        chance_quality=worth.chance_quality,
        shown_chance=worth.corridor_chance,
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
        # what is not known along the path moves the date of the entry
        sigma_time_s=cases.ephemeris_sigma_km / cases.v_inf_km_s,
        detect_range_km=np.zeros(n),
        detect_h_before=np.zeros(n),
        data_mbit=np.minimum(possible, wanted),
        downlink_h=heard_min / 60.0,
        home_days=np.where(possible > 0.0, _down_days(opportunities), 0.0),
        relayed=(by_relay & (possible > 0.0)).astype(bool),
        corrections=np.array([len(each) for each in cases.before_s], dtype=np.int16),
        correction_before_s=before,
        correction_kind=kinds,
        reason=np.where(aged == OK, _reasons(cases, worth), aged).astype(np.int8),
    )


def _down_days(table: pa.Table) -> Floats:
    """(n,) from the interface until a probe is lost: by then what is heard of it is home."""
    days: Floats = 60.0 / DAY_S * table["descent_min"].to_numpy(zero_copy_only=False)
    return days


def _aged(study: Study, table: pa.Table) -> NDArray[np.int8]:
    """STORAGE or LIFE where a probe is let go, or enters, after longer than it lasts; OK elsewhere."""
    release, met = (np.array(table[f"{event}_jd_tdb"].to_numpy()) for event in ("release", "encounter"))
    stored = release - study.study.start_jd_tdb + study.survival.stored_before_days
    out = np.where(met - release > study.probe.cruise_life_days, LIFE, OK)
    return np.where(stored > study.probe.storage_limit_days, STORAGE, out).astype(np.int8)


def _reasons(cases: EntryCases, worth: EntryWorth) -> NDArray[np.int8]:
    """What stands against an entry: the first that applies."""
    out = np.full(len(cases.body), OK, dtype=np.int8)
    for k in range(len(out)):
        if worth.delivered_chance[k] < LOW_SHARE:
            out[k] = TOO_DEAR
        elif worth.corridor_chance[k] < LOW_SHARE:
            out[k] = _OF_EDGES.get(str(worth.limited_by[k]), TOO_DEAR)
        elif worth.chance_returned[k] < LOW_RETURN:
            out[k] = UNHEARD
        elif worth.best_quality[k] < LOW_BEST:
            out[k] = NOT_DEEP
    return out
