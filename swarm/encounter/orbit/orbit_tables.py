"""Rows of orbits as the tables `orbits` and `altitudes` hold them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pyarrow as pa

from swarm.encounter.orbit.insertion import Insertion
from swarm.encounter.orbit.mean_life import IMPACT, Life
from swarm.encounter.orbit.orbit_judging import JudgedOrbit
from swarm.run.tables.declaration import Table
from swarm.run.tables.orbiting import TABLES
from targets.base.constants import DAY_S
from targets.base.timescale import jd_from_tdb_s

ORBITS, ALTITUDES = TABLES
_MONTH_DAYS = 30.0


def orbits_table(
    rows: Mapping[int, JudgedOrbit], ground_km: float, afterwards: Mapping[int, Life]
) -> pa.Table:  # fmt: skip
    """The rows that can be flown, by the number of their opportunity; `afterwards`: lives of those followed further."""
    flown = [
        _orbit(number, row, ground_km, afterwards.get(number))
        for number, row in rows.items()
        if row.life is not None
    ]
    return _table(ORBITS, flown)


def altitudes_table(lives: Mapping[int, Life]) -> pa.Table:
    """Histories of orbits, by the number of their opportunity."""
    rows = [
        {
            "opportunity": number, "jd_tdb": float(jd_from_tdb_s(life.tdb_s[k])), "lowest_km": life.lowest_km[k],
            "highest_km": life.highest_km[k], "latitude_deg": life.lowest_latitude_deg[k], "e_cos": life.e_cos[k],
            "e_sin": life.e_sin[k], "inclination_deg": life.inclination_deg[k], "spent_m_s": life.spent_m_s[k],
        }
        for number, life in lives.items()
        for k in range(len(life.tdb_s))
    ]  # fmt: skip
    return _table(ALTITUDES, rows)


def _orbit(number: int, row: JudgedOrbit, ground_km: float, after: Life | None) -> dict[str, Any]:
    assert row.life is not None
    assert row.seen is not None
    impulsive = row.arrival if isinstance(row.arrival, Insertion) else None
    last = row.life if row.life.end == IMPACT else after
    ended = last is not None and last.end == IMPACT
    months = row.life.days / _MONTH_DAYS
    lowest = float(row.life.lowest_km.min())
    return {
        "opportunity": number,
        "capture": "impulsive" if impulsive else "spiral",
        "insertion_m_s": impulsive.impulsive_m_s if impulsive else 0.0,
        "finite_loss_m_s": impulsive.loss_m_s if impulsive else 0.0,
        "burns": len(impulsive.burns_m_s) if impulsive else 0,
        "burn_s": max(impulsive.burn_s) if impulsive else 0.0,
        "spiral_m_s": 0.0 if impulsive else row.arrival.total_m_s,
        "spiral_days": (row.begin_tdb_s - row.met.tdb_s) / DAY_S,
        "periapsis_km": row.periapsis_km,
        "apoapsis_km": row.apoapsis_km,
        "inclination_deg": row.inclination_deg,
        "argp_deg": row.argp_deg,
        "period_h": row.period_h,
        "hours_below": row.seen.hours,
        "passes_below": row.seen.passes,
        "lowest_km": lowest,
        "clearance_km": max(lowest - ground_km, 0.0),
        "decay_days": (float(last.tdb_s[-1]) - row.begin_tdb_s) / DAY_S
        if ended and last is not None
        else math.nan,
        "maintain_m_s_per_month": row.upkeep_m_s / months if months > 0.0 else math.nan,
        "maintain_m_s": row.upkeep_m_s,
        "science_days": row.life.days,
        "count_sigma": row.seen.count_sigma,
        "resolution_km": 1e-3 * row.pixel_m,
        "impact_jd_tdb": float(jd_from_tdb_s(last.tdb_s[-1])) if ended and last is not None else math.nan,
    }


def _table(declared: Table, rows: Sequence[Mapping[str, Any]]) -> pa.Table:
    return pa.table(
        {
            column.name: pa.array([_plain(row[column.name]) for row in rows], type=column.type)
            for column in declared.columns
        }
    )


def _plain(value: Any) -> Any:
    return value.item() if isinstance(value, np.generic) else value
