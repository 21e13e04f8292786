"""Hours of ground stations: at the cruise rate from release on, about the encounter at the encounter's rate instead.

The one home of these hours: in a week, week by week, and of a whole plan. Nothing is counted before the release, also
where the time about the encounter is longer than the flight.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.plan.data import column

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

WEEK_DAYS = 7.0


def week_hours(study: Study, week_begin: NDArray, release: NDArray, encounter: NDArray) -> Floats:
    """Return each probe's hours in the week that begins at `week_begin`; all in days on one scale, (n,)."""
    limits = study.constraints
    around = limits.tracking_encounter_days
    near = np.maximum(encounter - around, release)
    cruise = _overlap_days(week_begin, release, near) * limits.tracking_cruise_hours_per_week / WEEK_DAYS
    about = _overlap_days(week_begin, near, encounter + around) * limits.tracking_encounter_hours_per_day
    return cruise + about


def _overlap_days(week_begin: NDArray, begin: NDArray, end: NDArray) -> NDArray:
    return np.maximum(np.minimum(week_begin + WEEK_DAYS, end) - np.maximum(week_begin, begin), 0.0)


def weekly_hours(study: Study, opportunities: pa.Table) -> tuple[Ints, Floats]:
    """Return each probe's first week of tracking, counted from study.start, and its hours week by week, (n, w)."""
    around = study.constraints.tracking_encounter_days
    release, encounter = (
        column(opportunities, f"{name}_jd_tdb") - study.study.start_jd_tdb
        for name in ("release", "encounter")
    )
    release, encounter = (np.where(np.isfinite(days), days, 0.0) for days in (release, encounter))
    week = np.floor(release / WEEK_DAYS).astype(np.int64)
    weeks = int((np.floor((encounter + around) / WEEK_DAYS) - week).max(initial=-1)) + 1
    hours = np.zeros((len(week), max(weeks, 0)))
    for k in range(hours.shape[1]):
        hours[:, k] = week_hours(study, WEEK_DAYS * (week + k), release, encounter)
    return week, hours


def plan_hours(study: Study, opportunities: pa.Table, plan: Ints) -> float:
    """Return the hours that all probes of a plan ask for."""
    limits, used = study.constraints, plan[plan >= 0]
    flight = column(opportunities, "encounter_jd_tdb")[used] - column(opportunities, "release_jd_tdb")[used]
    near_days = np.minimum(limits.tracking_encounter_days, flight)
    cruise_h = (flight - near_days) / WEEK_DAYS * limits.tracking_cruise_hours_per_week
    near_h = (near_days + limits.tracking_encounter_days) * limits.tracking_encounter_hours_per_day
    return float((cruise_h + near_h).sum())
