"""What the mothership must do for a refined plan, as one sentence for the answer."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.plan.tracking import WEEK_DAYS, week_hours
from swarm.study.schema import Study
from targets.base.constants import DAY_S

# Springs that point nearer to each other than this need no turn of the mothership between them. Own choice.
_SAME_ATTITUDE_DEG = 1.0


def mothership_duties(study: Study, refined: pa.Table, recoil: pa.Table, judged: pa.Table) -> str:
    """Releases, attitudes and recoil of the mothership, hours of tracking and of relay in the fullest week.

    refined, recoil, judged : tables of the run of these names; `recoil` may be empty where none was made
    """
    rows = refined.to_pylist()
    if not rows:
        return "the mothership releases nothing"
    springs = np.array([[row[f"spring_{axis}_m_s"] for axis in "xyz"] for row in rows])
    said = [f"{_counted(len(rows), 'release')} in {_counted(_attitudes(springs), 'attitude')}"]
    pushed = [math.hypot(*(row[f"recoil_{axis}_m_s"] for axis in "xyz")) for row in recoil.to_pylist()]
    if pushed:
        said.append(f"recoil of {max(pushed):.3f} m/s at most")
    said.append(f"tracking of its probes {max(weekly_tracking_hours(study, rows)):.1f} h in the fullest week")
    said.append(_relay(study, rows, judged))
    return f"what the mothership must do: {', '.join(said)}"


def _counted(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"


def _attitudes(springs: NDArray[np.float64]) -> int:
    """How many directions there are among (n, 3) springs."""
    units = springs / np.maximum(np.linalg.norm(springs, axis=1, keepdims=True), 1e-300)
    kept: list[NDArray[np.float64]] = []
    for unit in units:
        if all(float(unit @ other) < math.cos(math.radians(_SAME_ATTITUDE_DEG)) for other in kept):
            kept.append(unit)
    return len(kept)


def weekly_tracking_hours(study: Study, rows: Sequence[dict]) -> list[float]:
    """Hours of tracking in every week from the first release on: cruise passes, and more about each encounter.

    rows : with release_tdb_s and encounter_tdb_s
    """
    release, encounter = (
        np.array([row[f"{name}_tdb_s"] for row in rows]) for name in ("release", "encounter")
    )
    begin_s = float(release.min())
    release, encounter = (release - begin_s) / DAY_S, (encounter - begin_s) / DAY_S
    weeks = math.ceil((float(encounter.max()) + study.constraints.tracking_encounter_days) / WEEK_DAYS)
    begins = [np.full(len(rows), WEEK_DAYS * k) for k in range(weeks)]
    return [float(week_hours(study, begin, release, encounter).sum()) for begin in begins]


def _relay(study: Study, rows: Sequence[dict], judged: pa.Table) -> str:
    """Hours of listening to probes whose data come by the mothership, were all of them sending in one week."""
    relayed = set(judged.filter(judged["relayed"])["opportunity"].to_pylist())
    probes = sum(row["opportunity"] in relayed for row in rows)
    if not probes:
        return "no relay"
    # of several designs the one that is listened to longest: at most so many
    hours = 7.0 * max(own.probe.relay_hours_per_day for own in study.by_design.values()) * probes
    return f"relay for {_counted(probes, 'probe')}, at most {hours:.1f} h a week"
