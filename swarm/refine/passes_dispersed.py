"""The passes of a plan dispersed on the workers: a table beside what the judgement has, and what differs in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa

from swarm.encounter.pass_table import cases_of_table
from swarm.encounter.pass_worth import principal_sigmas_km, worth_of
from swarm.reach.approach.scene import ephemeris_of
from swarm.refine.bound_after import After, follow_after
from swarm.refine.chance import binomial_interval
from swarm.refine.pass_dispersion import PassSpread, disperse_pass
from swarm.refine.pass_path import NotFollowed, field_of_pass
from swarm.run.tables import parquet_tables
from swarm.run.workers import Pool
from swarm.study.approach_relations import impact_limit
from swarm.study.schema import Study
from swarm.study.whole_study import ONE_DESIGN
from targets.masses.massive import SUN, mass_named

SPREAD, AFTER = "dispersed_passes", "bound_after"
# A spread of n samples is within so many times 1/sqrt(2 n) of the true one; less than a tenth is said by nobody.
_SIGMAS, _SHARE = 4.0, 0.1


@dataclass(frozen=True, eq=False)
class _Flown:
    """after : of a moon's pass; None where a planet is passed: what passes a planet leaves it"""

    spread: PassSpread
    after: After | None


def dispersed_passes(
    study: Study, plan: int, flown: Sequence[tuple[int, dict[str, Any]]], *, pool: Pool
) -> tuple[dict[str, pa.Table], list[str]]:
    """Tables of the passes that can be flown, and sentences on what differs, stays bound or cannot be flown.

    flown : probe numbers and rows of `opportunities` as widened by `passes`
    """
    found = pool.map(_task, [row for _, row in flown], shared=study)
    rows: dict[str, list[dict[str, Any]]] = {SPREAD: [], AFTER: []}
    said = []
    for (probe, row), one in zip(flown, found, strict=True):
        if isinstance(one, str):
            said.append(f"probe {probe}: its pass of {row['target']} is not dispersed: {one}")
            continue
        rows[SPREAD].append(_row(study, plan, probe, row, one.spread))
        said += _differences(study, rows[SPREAD][-1], row)
        if one.after is not None:
            rows[AFTER].append(_after_row(plan, probe, row, one.after))
            said += bound_said(study, rows[AFTER][-1], row)
    return {name: _table(name, own) for name, own in rows.items() if own}, said


def _table(name: str, rows: list[dict[str, Any]]) -> pa.Table:
    schema = pa.schema([(column.name, column.type) for column in parquet_tables()[name].columns])
    return pa.Table.from_pylist(rows, schema=schema)


def _task(row: dict[str, Any], study: Study) -> _Flown | str:
    """A pass of a plan, or why it cannot be flown."""
    ephemeris = ephemeris_of(study)
    try:
        spread = disperse_pass(_alone(study, row), row, field_of_pass(row, ephemeris), ephemeris)
        after = None
        if mass_named(row["target"]).parent != SUN:
            after = follow_after(_alone(study, row), row, spread.covariance_km2, ephemeris)
        return _Flown(spread, after)
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


def _after_row(plan: int, probe: int, row: dict[str, Any], after: After) -> dict[str, Any]:
    low, high = after.interval
    rates = after.rates if len(after.rates) else np.full(1, math.nan)
    return {
        "plan": plan,
        "probe": probe,
        "opportunity": row["opportunity"],
        "target": row["target"],
        "samples": after.samples,
        "bound": after.bound,
        "years": after.years,
        "hits": after.hits,
        "elsewhere": after.elsewhere,
        "gone": after.gone,
        "hit_chance_low": low,
        "hit_chance_high": high,
        "rate_low_per_year": float(rates.min()),
        "rate_per_year": float(rates.mean()),
        "rate_high_per_year": float(rates.max()),
    }


def bound_said(study: Study, made: dict[str, Any], row: dict[str, Any]) -> list[str]:
    """What is said of a probe that stays bound: as followed, beside the chance that counts against the limit."""
    if not made["bound"]:
        return []
    body, limit = made["target"], study.protection.impact_chance_max.get(made["target"])
    told = (
        f"probe {made['probe']}: after its pass of {body} {made['bound']} of {made['samples']} samples stay bound to "
        f"{row['center']}; within {made['years']:g} years {made['hits']} hit {body} "
        f"(95 %: {made['hit_chance_low']:.2g} to {made['hit_chance_high']:.2g}), {made['elsewhere']} another body"
    )
    if not math.isnan(made["rate_per_year"]):
        told += (
            f"; the others go on to hit it with {made['rate_per_year']:.2g} a year, {made['rate_low_per_year']:.2g} to "
            f"{made['rate_high_per_year']:.2g} (Opik 1951)"
        )
    counted = row.get("later_impact_chance") or 0.0
    held = "" if limit is None else f" of the limit of {limit:.3g}"
    told += f". Counted for it are {counted:.2g}{held}: disposal is not planned here"
    if made["hit_chance_low"] > counted:
        told += "; as followed it hits more often than that"
        if limit is not None and row["impact_chance"] + made["hit_chance_low"] > limit:
            told += ", and the limit is exceeded: not to be flown as it is"
    return [told]


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
