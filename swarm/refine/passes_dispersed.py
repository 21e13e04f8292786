"""The passes of a plan dispersed on the workers: a table beside what the judgement has, and what differs in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pyarrow as pa

from swarm.encounter.pass_table import cases_of_table
from swarm.encounter.pass_worth import principal_sigmas_km, worth_of
from swarm.reach.approach.scene import ephemeris_of
from swarm.refine.chance import binomial_interval
from swarm.refine.pass_dispersion import PassSpread, disperse_pass
from swarm.refine.pass_path import NotFollowed, field_of_pass
from swarm.run.tables import parquet_tables
from swarm.run.workers import Pool
from swarm.study.approach_relations import impact_limit
from swarm.study.schema import Study
from swarm.study.whole_study import ONE_DESIGN

TABLE = "dispersed_passes"
# A spread of n samples is within so many times 1/sqrt(2 n) of the true one; less than a tenth is said by nobody.
_SIGMAS, _SHARE = 4.0, 0.1


def dispersed_passes(
    study: Study, plan: int, flown: Sequence[tuple[int, dict[str, Any]]], *, pool: Pool
) -> tuple[pa.Table, list[str]]:
    """A row a pass that can be flown, and a sentence for each that differs from what was judged or cannot be flown.

    flown : probe numbers and rows of `opportunities` as widened by `passes`
    """
    found = pool.map(_task, [row for _, row in flown], shared=study)
    rows, said = [], []
    for (probe, row), spread in zip(flown, found, strict=True):
        if isinstance(spread, str):
            said.append(f"probe {probe}: its pass of {row['target']} is not dispersed: {spread}")
            continue
        rows.append(_row(study, plan, probe, row, spread))
        said += _differences(study, rows[-1], row)
    schema = pa.schema([(column.name, column.type) for column in parquet_tables()[TABLE].columns])
    return pa.Table.from_pylist(rows, schema=schema), said


def _task(row: dict[str, Any], study: Study) -> PassSpread | str:
    """A pass of a plan, or why it cannot be flown."""
    if row.get("steer") not in (None, "probe"):
        return "the mothership steers it; the probes' own burns alone are dispersed by this version"
    ephemeris = ephemeris_of(study)
    try:
        return disperse_pass(_alone(study, row), row, field_of_pass(row, ephemeris), ephemeris)
    except NotFollowed as why:
        return str(why)


def _alone(study: Study, row: dict[str, Any]) -> Study:
    return study.of_design(row.get("design") or ONE_DESIGN)


def _row(study: Study, plan: int, probe: int, row: dict[str, Any], spread: PassSpread) -> dict[str, Any]:
    judged = worth_of(_alone(study, row), cases_of_table(pa.Table.from_pylist([row])))
    low, high = binomial_interval(spread.hits, len(spread.heights_km))
    heights = np.quantile(spread.heights_km, (0.01, 0.5, 0.99)) if len(spread.heights_km) else [math.nan] * 3
    flown, dead = _sigmas(spread.covariance_km2), _sigmas(spread.dead_covariance_km2)
    planned = [principal_sigmas_km(*cov[0]) for cov in (judged.delivery_cov_km2, judged.start_cov_km2)]
    return {
        "plan": plan,
        "probe": probe,
        "opportunity": row["opportunity"],
        "target": row["target"],
        "samples": len(spread.b_km),
        "affordable": float(spread.affordable.mean()),
        "dv99_m_s": float(np.quantile(spread.spent_m_s, 0.99)),
        "judged_dv99_m_s": float(judged.dv99_needed_m_s[0]),
        "sigma_major_km": flown[0],
        "sigma_minor_km": flown[1],
        "judged_sigma_major_km": float(planned[0][0]),
        "judged_sigma_minor_km": float(planned[0][1]),
        "dead_sigma_km": dead[0],
        "judged_dead_sigma_km": float(planned[1][0]),
        "height_low_km": float(heights[0]),
        "height_median_km": float(heights[1]),
        "height_high_km": float(heights[2]),
        "sigma_height_km": float(spread.heights_km.std()) if len(spread.heights_km) else math.nan,
        "judged_sigma_height_km": float(judged.sigma_altitude_km[0]),
        "hits": spread.hits,
        "hit_chance_low": low,
        "hit_chance_high": high,
        "impact_chance": spread.impact_chance,
        "judged_impact_chance": float(judged.impact_chance[0]),
    }


def _sigmas(cov: np.ndarray) -> tuple[float, float]:
    larger, smaller = principal_sigmas_km(cov[0, 0], cov[1, 1], cov[0, 1])
    return float(larger), float(smaller)


def _differences(study: Study, made: dict[str, Any], row: dict[str, Any]) -> list[str]:
    said, name = [], f"probe {made['probe']}, pass of {made['target']}"
    allowed = max(_SHARE, _SIGMAS / math.sqrt(2.0 * made["samples"]))
    for key, words in (
        ("sigma_major_km", "arrives to {0:.3g} km (1 sigma, larger axis), judged {1:.3g}"),
        ("dead_sigma_km", "without corrections arrives to {0:.3g} km (1 sigma, larger axis), judged {1:.3g}"),
        ("dv99_m_s", "spends {0:.3g} m/s on corrections (99 %), judged {1:.3g}"),
    ):
        flown, judged = made[key], made[f"judged_{key}"]
        if abs(flown - judged) > allowed * max(judged, 1e-9):
            said.append(f"{name}: flown in the field it {words.format(flown, judged)}")
    asks = [ask for ask in study.approach if ask.name == row["approach"]]
    limit = impact_limit(study, asks[0]) if asks else None
    if limit is not None and made["impact_chance"] > limit:
        said.append(
            f"{name}: by the spread that was flown it hits with a chance of {made['impact_chance']:.2g}, over the "
            f"limit of {limit:.3g}; judged {made['judged_impact_chance']:.2g}"
        )
    return said


def spread_lines(table: pa.Table) -> list[str]:
    """What is printed of the passes of a plan."""
    return [
        f"probe {row['probe']:>2}: pass of {row['target']} between {row['height_low_km']:.1f} and "
        f"{row['height_high_km']:.1f} km (1 to 99 % of {row['samples']} flown), sigma {row['sigma_major_km']:.1f} km "
        f"(judged {row['judged_sigma_major_km']:.1f}), dV99 {row['dv99_m_s']:.2f} m/s, chance of impact "
        f"{row['impact_chance']:.2g} (judged {row['judged_impact_chance']:.2g})"
        for row in table.to_pylist()
    ]
