"""Rows of orbits as the tables `orbits` and `altitudes` hold them, and what is read of those again."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.encounter.orbit.insertion import Insertion
from swarm.encounter.orbit.mean_life import ENDS, IMPACT, Life, MeanOrbit
from swarm.encounter.orbit.orbit_judging import JudgedOrbit, SeenInBand
from swarm.run.tables.declaration import Column
from swarm.run.tables.orbiting import ALTITUDE_COLUMNS, ORBIT_COLUMNS
from targets.base.constants import DAY_S
from targets.base.timescale import jd_from_tdb_s

if TYPE_CHECKING:
    from swarm.study.sections.science import Where
    from targets.catalogue.bodies import Catalogue

_MONTH_DAYS = 30.0
SCIENCE, LET_GO = "science", "let-go"


@dataclass(frozen=True, eq=False)
class OrbitRow:
    """An orbit that can be flown, with what it sees of each band that is asked for."""

    judged: JudgedOrbit
    bands: tuple[SeenInBand, ...]
    ground_km: float
    insertion_success: float


def orbit_columns(rows: Sequence[OrbitRow]) -> dict[str, Any]:
    """Columns of `orbits`, but the opportunity's number."""
    return _columns(ORBIT_COLUMNS[1:], [_orbit(row) for row in rows])


def altitudes_table(lives: Mapping[int, Sequence[Life]]) -> pa.Table:
    """Histories of orbits by the number of their opportunity: in their science, and after it where followed."""
    rows = [
        {
            "opportunity": number, "jd_tdb": float(jd_from_tdb_s(life.tdb_s[k])), "phase": phase,
            "lowest_km": life.lowest_km[k], "highest_km": life.highest_km[k],
            "latitude_deg": life.lowest_latitude_deg[k], "longitude_e_deg": life.lowest_longitude_e_deg[k],
            "e_cos": life.e_cos[k], "e_sin": life.e_sin[k], "inclination_deg": life.inclination_deg[k],
            "spent_m_s": life.spent_m_s[k],
        }
        for number, own in lives.items()
        for phase, life in zip((SCIENCE, LET_GO), own, strict=False)
        for k in range(len(life.tdb_s))
    ]  # fmt: skip
    return pa.table(_columns(ALTITUDE_COLUMNS, rows))


def mean_orbit_of(row: Mapping[str, Any]) -> MeanOrbit:
    """The mean orbit with which a row of `orbits` begins."""
    j, e = (np.array([row[f"mean_{which}_{axis}"] for axis in "xyz"]) for which in "je")
    return MeanOrbit(float(row["mean_a_km"]), j, e)


def orbit_fits(where: Where, opportunities: pa.Table, targets: Catalogue) -> NDArray[np.bool_]:
    """(n,) orbits that are what a science row asks for, in its band of latitudes; False of rows of other kinds."""
    n = opportunities.num_rows
    if "band_hours" not in opportunities.column_names:
        return np.zeros(n, dtype=bool)
    names = ("target", "band_south_deg", "band_north_deg", "band_hours", "band_sigma", "band_pixel_m")
    columns = [opportunities[name].to_pylist() for name in names]
    return np.array([_fits(where, *row) for row in zip(*columns, strict=True)], dtype=bool)


def band_of(where: Where) -> tuple[float, float]:
    """The latitudes that a science row asks for, all unless it says."""
    south, north = where.latitude_deg or (-90.0, 90.0)
    return float(south), float(north)


def _fits(
    where: Where, target: str, south: list[float] | None, north: list[float], hours: list[float],
    sigma: list[float], pixel_m: list[float],
) -> bool:  # fmt: skip
    if south is None or where.body not in (None, target):
        return False
    own = [k for k, band in enumerate(zip(south, north, strict=True)) if band == band_of(where)]
    if not own:
        return False
    k = own[0]
    # without a wish an orbit that is never low in the band is of no use to a row either
    if not pixel_m[k] > 0.0:
        return False
    return (
        (where.hours_below_min is None or hours[k] >= where.hours_below_min)
        and (where.count_sigma_min is None or sigma[k] >= where.count_sigma_min)
        and (where.resolution_m_max is None or pixel_m[k] <= where.resolution_m_max)
    )


def _orbit(row: OrbitRow) -> dict[str, Any]:
    made = row.judged
    assert made.life is not None
    assert made.seen is not None
    life, seen = made.life, made.seen
    months = life.days / _MONTH_DAYS
    lowest = float(life.lowest_km.min())
    hit = life.end == IMPACT
    return {
        **_way_in(made),
        **{
            name: getattr(made, name)
            for name in ("periapsis_km", "apoapsis_km", "inclination_deg", "argp_deg", "period_h", "left_m_s")
        },
        "hours_below": seen.hours,
        "passes_below": seen.passes,
        "least_km": lowest,
        "clearance_km": max(lowest - row.ground_km, 0.0),
        "decay_days": life.days if hit else math.nan,
        "maintain_m_s_per_month": made.upkeep_m_s / months if months > 0.0 else math.nan,
        "maintain_m_s": made.upkeep_m_s,
        "science_days": life.days,
        "ended": ENDS[life.end],
        "count_sigma": max((band.seen.count_sigma for band in row.bands), default=seen.count_sigma),
        "resolution_km": 1e-3 * made.pixel_m,
        "impact_jd_tdb": float(jd_from_tdb_s(life.tdb_s[-1])) if hit else math.nan,
        "hours_by_latitude": seen.hours_by_latitude.tolist(),
        "band_south_deg": [band.south_deg for band in row.bands],
        "band_north_deg": [band.north_deg for band in row.bands],
        "band_hours": [band.seen.hours for band in row.bands],
        "band_passes": [band.seen.passes for band in row.bands],
        "band_sigma": [band.seen.count_sigma for band in row.bands],
        "band_pixel_m": [0.0 if math.isnan(band.pixel_m) else band.pixel_m for band in row.bands],
        "begin_tdb_s": made.begin_tdb_s,
        "mean_a_km": life.a_km,
        **{f"mean_j_{axis}": life.elements[0, k] for k, axis in enumerate("xyz")},
        **{f"mean_e_{axis}": life.elements[0, 3 + k] for k, axis in enumerate("xyz")},
        "later_m_s": made.arrival.total_m_s + made.upkeep_m_s,
        "insertion_success": row.insertion_success,
        "harmless_chance": made.harmless,
    }


def _way_in(made: JudgedOrbit) -> dict[str, Any]:
    days = (made.begin_tdb_s - made.met.tdb_s) / DAY_S
    if isinstance(made.arrival, Insertion):
        burns = made.arrival
        return {
            "capture": "impulsive", "insertion_m_s": burns.impulsive_m_s, "finite_loss_m_s": burns.loss_m_s,
            "burns": len(burns.burns_m_s), "burn_s": max(burns.burn_s), "burn_parts_m_s": list(burns.burns_m_s),
            "burn_lengths_s": list(burns.burn_s), "excess_m_s": 0.0, "spiral_m_s": 0.0, "spiral_days": days,
        }  # fmt: skip
    return {
        "capture": "spiral", "insertion_m_s": 0.0, "finite_loss_m_s": 0.0, "burns": 0, "burn_s": 0.0,
        "burn_parts_m_s": [], "burn_lengths_s": [], "excess_m_s": made.arrival.excess_m_s,
        "spiral_m_s": made.arrival.total_m_s, "spiral_days": days,
    }  # fmt: skip


def _columns(declared: Sequence[Column], rows: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    return {
        column.name: pa.array([_plain(row[column.name]) for row in rows], type=column.type)
        for column in declared
    }


def _plain(value: Any) -> Any:
    return value.item() if isinstance(value, np.generic) else value
