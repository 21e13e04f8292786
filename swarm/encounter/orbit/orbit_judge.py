"""Orbits judged as every encounter is: chances of quality, of data home, corrections, what stands against them.

An orbit is arrived at as a pass is: its delivery is that of a pass. It counts where insertion works, the height
delivered is over the ground, and the probe lives until its science ends. The quality is that of the ground pixel at its
least height; hours and counts in a band of latitudes are what science rows ask for.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.encounter.instruments import pixel_score
from swarm.encounter.judging import Judged
from swarm.encounter.pass_instruments import FULL_M, WORST_M
from swarm.encounter.pass_judge import judge_low_passes, send_home_of, why_not_home
from swarm.encounter.policies import LOW_QUALITY
from swarm.encounter.reasons import HITS, LOW_BEST, LOW_RETURN, LOW_SHARE, OK, TOO_DEAR, TOO_HIGH
from targets.base.constants import DAY_S

if TYPE_CHECKING:
    from swarm.study.schema import Study
    from targets.catalogue.reading import Catalogue

Floats = NDArray[np.float64]


def judge_orbits_of_table(
    study: Study, opportunities: pa.Table, targets: Catalogue, *, qualities: tuple[float, ...]
) -> Judged:
    """Judge orbits of one design; the answer for one does not depend on which others are in the table.

    opportunities : as widened by `passes` and `orbits`
    qualities     : q values for `chance_quality`, rising
    """
    arrival = judge_low_passes(study, opportunities, targets, qualities=qualities)
    pixel_m = 1e3 * _held(opportunities, "resolution_km")
    # never low: no pixel, and the worst score, which is 0
    sharp = pixel_score(np.nan_to_num(pixel_m, nan=WORST_M), full_m=FULL_M, worst_m=WORST_M)
    quality = np.asarray(sharp, dtype=float)
    works = _held(opportunities, "insertion_success") * _held(opportunities, "harmless_chance")
    chance = arrival.delivered_chance * works
    good = quality[:, None] >= np.asarray(qualities, dtype=float)
    home = _home(study, opportunities)
    return replace(
        arrival,
        chance_returned=home["chance"],
        chance_quality=np.where(good & (pixel_m > 0.0)[:, None], chance[:, None], 0.0),
        shown_chance=chance,
        chance_low_quality=np.where(quality < LOW_QUALITY, chance, 0.0),
        expected_quality=chance * quality,
        best_quality=quality,
        data_mbit=home["data_mbit"],
        downlink_h=home["hours"],
        home_days=home["days"],
        relayed=home["relayed"].astype(bool),
        reason=_reasons(quality, arrival.delivered_chance, works, home),
    )


def _home(study: Study, table: pa.Table) -> dict[str, Floats]:
    """What comes home of an orbit: sent from its begin on, by a probe that lives until its science ends.

    `days` counts from the arrival, as the hardware's chance does: to the end of the science at least. What is not sent
    before the orbit meets the ground does not come home.
    """
    way_s = _held(table, "begin_tdb_s") - _held(table, "encounter_tdb_s")
    home = send_home_of(study, table, way_s)
    science_days = _held(table, "science_days")
    lost = np.isfinite(_held(table, "impact_jd_tdb")) & (home["days"] > science_days)
    home["chance"] = np.where(lost, 0.0, home["chance"])
    home["days"] = way_s / DAY_S + np.maximum(home["days"], science_days)
    return home


def _reasons(quality: Floats, delivered: Floats, works: Floats, home: dict[str, Floats]) -> NDArray[np.int8]:
    """What stands against an orbit: the first that applies."""
    out = np.full(len(quality), OK, dtype=np.int8)
    for k in range(len(out)):
        if home["chance"][k] < LOW_RETURN:
            out[k] = why_not_home(home["why"][k])
        elif quality[k] < LOW_BEST:
            out[k] = TOO_HIGH
        elif delivered[k] < LOW_SHARE:
            out[k] = TOO_DEAR
        elif works[k] < LOW_SHARE:
            out[k] = HITS
    return out


def _held(table: pa.Table, name: str) -> Floats:
    return np.array(table[name].to_numpy(zero_copy_only=False), dtype=float)
