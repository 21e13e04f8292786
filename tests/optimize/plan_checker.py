"""Re-verifies every plan of a front from the tables alone; shares no code with what made them."""

from __future__ import annotations

import itertools
from typing import Any


def problems_of(
    study: Any, opportunities: Any, front: Any, plans: Any, *, probes: int | None = None
) -> list[str]:
    """Everything that is wrong with the tables, as sentences; an empty list is a pass."""
    known = {row["opportunity"]: row for row in opportunities.to_pylist()}
    most = study.probe.count if probes is None else probes
    by_plan: dict[int, list[dict]] = {}
    for row in plans.to_pylist():
        by_plan.setdefault(row["plan"], []).append(row)
    found = _front_problems(front.to_pylist(), most)
    if plans.to_pylist() != sorted(plans.to_pylist(), key=_plan_and_probe):
        found.append("plans are not in order of plan and probe")
    for row in front.to_pylist():
        members = by_plan.pop(row["plan"], [])
        for problem in (*_plan_problems(study, members, known), *_sum_problems(study, row, members, known)):
            found.append(f"plan {row['plan']}: {problem}")
    found += [f"plan {plan} is not on the front" for plan in by_plan]
    return found


def _plan_and_probe(row: dict) -> tuple[int, int]:
    return row["plan"], row["probe"]


def _front_problems(rows: list[dict], most: int) -> list[str]:
    found = []
    if [row["plan"] for row in rows] != list(range(len(rows))):
        found.append("plan numbers are not 0, 1, 2 ...")
    keys = [(row["propellant_kg"], row["science"], row["risk"]) for row in rows]
    if keys != sorted(keys):
        found.append("front is not in order of propellant, science, risk")
    if not any(row["probes"] == 0 and row["science"] == 0 and row["propellant_kg"] == 0 for row in rows):
        found.append("the empty plan is missing")
    for row in rows:
        if not (0 <= row["science"] <= 1 and 0 <= row["risk"] <= 1 and 0 <= row["probes"] <= most):
            found.append(f"plan {row['plan']}: out of range: {row}")
    found += [
        f"plan {b['plan']} is dominated by plan {a['plan']}" for a in rows for b in rows if _beats(a, b)
    ]
    return found


def _beats(a: dict, b: dict) -> bool:
    first = (-a["science"], a["propellant_kg"], a["risk"])
    second = (-b["science"], b["propellant_kg"], b["risk"])
    return a is not b and all(x <= y for x, y in zip(first, second, strict=True))


def _plan_problems(study: Any, members: list[dict], known: dict[int, dict]) -> list[str]:
    found = []
    unknown = [member["opportunity"] for member in members if member["opportunity"] not in known]
    if unknown:
        return [f"opportunities {unknown} are not in the table"]
    chosen = [known[member["opportunity"]] for member in members]
    if [member["probe"] for member in members] != list(range(len(members))):
        found.append("probe numbers are not 0, 1, 2 ...")
    releases = [o["release_jd_tdb"] for o in chosen]
    if releases != sorted(releases):
        found.append("probes are not in order of release")
    gaps = [b - a for a, b in itertools.pairwise(releases)]
    if any(gap < study.constraints.release_spacing_days for gap in gaps):
        found.append(f"releases only {min(gaps)} days apart")
    names = [o["target"] for o in chosen]
    if any(names.count(name) > (2 if study.constraints.pairs else 1) for name in names):
        found.append("a target is visited too often")
    for o in chosen:
        found += [f"opportunity {o['opportunity']}: {p}" for p in _opportunity_problems(study, o)]
    return found


def _opportunity_problems(study: Any, o: dict) -> list[str]:
    found = []
    for begin, until in study.constraints.blackouts:
        for event in ("release", "burn"):
            if begin <= o[f"{event}_jd_tdb"] <= until:
                found.append(f"{event} within a blackout")
    for angle in ("sun_earth_probe_deg", "sun_earth_probe_release_deg", "sun_earth_probe_burn_deg"):
        if angle in o and not o[angle] >= study.constraints.sun_earth_probe_min_deg:
            found.append(f"{angle} is {o[angle]}")
    if not o["burn_m_s"] <= study.probe.burn_limit_m_s:
        found.append("burn above the limit")
    if (
        not study.study.start
        <= o["release_jd_tdb"]
        <= o["burn_jd_tdb"]
        <= o["encounter_jd_tdb"]
        <= study.study.end
    ):
        found.append("dates out of order or out of the study's span")
    return found


def _sum_problems(study: Any, row: dict, members: list[dict], known: dict[int, dict]) -> list[str]:
    found = []
    if row["probes"] != len(members):
        found.append(f"{row['probes']} probes on the front, {len(members)} in the plan")
    propellant_kg = sum(member["propellant_kg"] for member in members)
    if abs(propellant_kg - row["propellant_kg"]) > 1e-9:
        found.append(f"probes use {propellant_kg} kg, the front says {row['propellant_kg']}")
    for member in members:
        if abs(member["success"] - study.survival.success) > 1e-12:
            found.append(f"success of probe {member['probe']} is {member['success']}")
    if not members and row["risk"] != float(any(r.threshold > 0 for r in study.science.rows)):
        found.append("risk of no probes")
    return found
