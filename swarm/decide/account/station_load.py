"""When encounters crowd: hours a day that probes ask of the ground, against what its antennas give."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.plan.data import column
from swarm.plan.tracking import WEEK_DAYS

if TYPE_CHECKING:
    from swarm.study.schema import Study

_COLUMNS = ("from_jd_tdb", "until_jd_tdb", "encounters", "cruising", "asked_h_d", "there_h_d", "short_h_d")


def station_load(study: Study, opportunities: pa.Table, plan: NDArray[np.int64]) -> pa.Table:
    """Return the spans in which two probes or more are about their encounters, or the antennas do not suffice.

    About its encounter a probe asks for constraints.tracking_encounter_hours_per_day, before that for its cruise
    passes, spread evenly; nothing before its release.
    """
    flown = opportunities.take(plan[plan >= 0])
    limits, stations = study.constraints, study.stations
    release, encounter = (column(flown, f"{name}_jd_tdb") for name in ("release", "encounter"))
    near = np.maximum(encounter - limits.tracking_encounter_days, release)
    done = encounter + limits.tracking_encounter_days
    edges = np.unique(np.concatenate([release, near, done]))
    there = stations.antennas * stations.hours_per_day
    rows = []
    for begin, end in itertools.pairwise(edges):
        about = int(((near <= begin) & (end <= done)).sum())
        cruising = int(((release <= begin) & (end <= near)).sum())
        asked = (
            about * limits.tracking_encounter_hours_per_day
            + cruising * limits.tracking_cruise_hours_per_week / WEEK_DAYS
        )
        if about >= 2 or asked > there:
            rows.append((begin, end, about, cruising, asked, there, max(asked - there, 0.0)))
    types = [pa.int64() if name in ("encounters", "cruising") else pa.float64() for name in _COLUMNS]
    return pa.table(
        [pa.array([row[k] for row in rows], kind) for k, kind in enumerate(types)], names=list(_COLUMNS)
    )


def short_days(table: pa.Table) -> float:
    """Days on which more is asked than the antennas give."""
    days = column(table, "until_jd_tdb") - column(table, "from_jd_tdb")
    return float(days[column(table, "short_h_d") > 0.0].sum())
