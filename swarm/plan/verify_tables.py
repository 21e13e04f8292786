"""Part of the separate checker: what the tables of a front say of themselves, design by design and summed up.

As `swarm.plan.verify`, whose part it is, it uses nothing of the search but the study's settings.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from swarm.study.schema import ProbeSettings, Study

Row = dict[str, Any]

# Sums of kilograms; of chances, each of which the search rounds to far less.
_KG, _CHANCE_SHARE, _CHANCE = 1e-9, 1e-12, 1e-12


def probe_of(study: Study, o: Row) -> ProbeSettings:
    """The probe that flies an opportunity."""
    return next((design for design in study.designs if design.name == o.get("design")), study.probe)


def design_problems(study: Study, chosen: list[Row]) -> list[str]:
    """Probes of a design that the study does not have, or of which it has fewer."""
    if not study.designs:
        return []
    wrong, left = [], {design.name: design.count for design in study.designs}
    for o in chosen:
        name = o.get("design")
        if name not in left:
            wrong.append(f"opportunity {o['opportunity']} is of a design that is not there: {name}")
        else:
            left[name] -= 1
    return wrong + [
        f"designs.count: {-more} probes of {name} more than there are"
        for name, more in left.items()
        if more < 0
    ]


def approach_problems(study: Study, chosen: list[Row]) -> list[str]:
    """Passes that no approach asks for, more probes than one may fly, passes over its limit or burnt too late."""
    asks, wrong = {ask.name: ask for ask in study.approach}, []
    flown: dict[str, int] = {}
    for o in chosen:
        name = o.get("approach")
        if name is None:
            continue
        ask, which = asks.get(name), f"opportunity {o['opportunity']}"
        if ask is None or ask.body != o["target"]:
            wrong.append(f"{which}: no approach of {o['target']} is called {name}")
            continue
        flown[name] = flown.get(name, 0) + 1
        if ask.kind != "entry" and ask.impact_chance_max is not None:
            own = o["impact_chance"] + (o.get("later_impact_chance") or 0.0)
            if own > ask.impact_chance_max:
                wrong.append(f"{which}: approach.impact_chance_max: {own:.4g}")
        if ask.designs and o.get("design") not in ask.designs:
            wrong.append(f"{which}: approach.designs: {o.get('design')}")
        # an entry may come before the mothership is nearest, from which the hours count
        early_h = min((o.get("arrival_offset_s") or 0.0) / 3600.0, 0.0)
        if 24.0 * (o["encounter_jd_tdb"] - o["burn_jd_tdb"]) - early_h < ask.release_min_hours - 1.0:
            wrong.append(f"{which}: approach.release_min_hours: the burn is too near to the pass")
    for name, count in flown.items():
        most = asks[name].probes_max
        if most is not None and count > most:
            wrong.append(f"approach.probes_max of {name}: {count} probes, {most} allowed")
    return wrong


def channel_problems(study: Study, chosen: list[Row], relayed: dict[int, bool]) -> list[str]:
    """Probes on their way down that the mothership would have to hear at one moment, and cannot."""
    changes = []
    for o in chosen:
        begin, end = o.get("relay_begin_jd_tdb"), o.get("relay_end_jd_tdb")
        if begin is not None and end is not None and begin < end and relayed.get(o["opportunity"], True):
            changes += [(begin, 1), (end, -1)]
    busy = most = 0
    # at one date those that end come first: their channels are free
    for _, change in sorted(changes):
        busy += change
        most = max(most, busy)
    there = study.mothership.relay_channels
    return (
        [f"mothership.relay_channels: {most} probes heard at one moment, {there} can be"]
        if most > there
        else []
    )


def protection_problems(study: Study, chosen: list[Row]) -> list[str]:
    """Bodies that the probes of a plan, and the mothership where it counts, hit with more than the limit."""
    settings, wrong = study.protection, []
    parts = _chances_counted(study)
    for body, limit in settings.impact_chance_max.items():
        chances = [o.get(part) or 0.0 for o in chosen if o["target"] == body for part in parts]
        total = math.fsum(chance for chance in chances if not math.isnan(chance))
        if total > limit * (1.0 + _CHANCE_SHARE):
            wrong.append(f"protection.impact_chance_max.{body}: {total:.4g}, the limit is {limit:g}")
    return wrong


def _chances_counted(study: Study) -> list[str]:
    """Columns of a row whose sum is the chance that it hits its target."""
    return ["impact_chance", "later_impact_chance"] + [
        "carrier_impact_chance"
    ] * study.protection.carrier_included


def steering_problems(study: Study, chosen: list[Row]) -> list[str]:
    """Passes that the mothership steers: by whom, when it is back, what it burns for each and in all."""
    asks, wrong, total = {ask.name: ask for ask in study.approach}, [], 0.0
    ship = study.mothership
    for o in chosen:
        ask, steer, which = (
            asks.get(o.get("approach") or ""),
            o.get("steer"),
            f"opportunity {o['opportunity']}",
        )
        if ask is None or steer is None:
            continue
        if steer != ask.steer:
            wrong.append(f"{which}: approach.steer is {ask.steer}, the row says {steer}")
        if steer == "probe":
            continue
        if o["burn_m_s"] != 0.0:
            wrong.append(f"{which}: the mothership steers, and the probe burns {o['burn_m_s']:g} m/s")
        days = o["encounter_jd_tdb"] - o["release_jd_tdb"]
        if not 0.0 < o["impact_course_days"] < days:
            wrong.append(
                f"{which}: approach.divert_after_days: diverts after {o['impact_course_days']} of {days:.2f} d"
            )
        # rocket equation by logarithms: the mass that burns so much ends as the mothership
        spent = ship.mass_kg * (
            math.e ** ((o["carrier_out_m_s"] + o["carrier_back_m_s"]) / 9.80665 / ship.isp_s) - 1.0
        )
        if not math.isclose(spent, o["carrier_propellant_kg"], rel_tol=1e-9, abs_tol=1e-9):
            wrong.append(
                f"{which}: carrier_propellant_kg is {o['carrier_propellant_kg']}, two burns take {spent}"
            )
        if not 0.0 <= o["carrier_impact_chance"] <= ship.divert_failure:
            wrong.append(f"{which}: carrier_impact_chance is {o['carrier_impact_chance']}")
        total += o["carrier_propellant_kg"]
    if ship.propellant_kg is not None and total > ship.propellant_kg * (1.0 + _CHANCE_SHARE):
        wrong.append(f"mothership.propellant_kg: {total:.6g} kg to steer, {ship.propellant_kg:g} allowed")
    return wrong


def summed_problems(study: Study, row: Row, chosen: list[Row]) -> list[str]:
    """Columns of the front that add up over a plan: chances to hit, what the mothership burns to steer."""
    wrong = []
    parts = _chances_counted(study)
    for name, adds, off in (
        ("impact_chance", parts, _CHANCE),
        ("carrier_propellant_kg", ["carrier_propellant_kg"], _KG),
    ):
        if row.get(name) is None:
            continue
        total = math.fsum(o.get(part) or 0.0 for o in chosen for part in adds)
        if abs(total - row[name]) > off:
            wrong.append(f"{name} of its probes is {total}, the front says {row[name]}")
    return wrong


def front_problems(rows: list[Row], most: int) -> list[str]:
    wrong = []
    if [row["plan"] for row in rows] != list(range(len(rows))):
        wrong.append("plan numbers are not 0, 1, 2 ...")
    keys = [(row["propellant_kg"], row["science"], row["risk"]) for row in rows]
    if keys != sorted(keys):
        wrong.append("the front is not in order of propellant, science, risk")
    if not any(row["probes"] == 0 and row["science"] == 0 and row["propellant_kg"] == 0 for row in rows):
        wrong.append("the empty plan is missing")
    for row in rows:
        if not (0 <= row["science"] <= 1 and 0 <= row["risk"] <= 1 and 0 <= row["probes"] <= most):
            wrong.append(f"plan {row['plan']}: out of range: {row}")
    return wrong + _beaten(rows)


def _beaten(rows: list[Row]) -> list[str]:
    """Plans that another one matches or beats in everything."""
    costs = np.array([[-row["science"], row["propellant_kg"], row["risk"]] for row in rows]).reshape(-1, 3)
    wrong = []
    for k, row in enumerate(rows):
        better = (costs <= costs[k]).all(axis=1)
        better[k] = False
        if better.any():
            wrong.append(f"plan {row['plan']} is dominated by plan {rows[int(np.argmax(better))]['plan']}")
    return wrong


def sum_problems(study: Study, row: Row, flown: list[Row]) -> list[str]:
    wrong = []
    if row["probes"] != len(flown):
        wrong.append(f"{row['probes']} probes on the front, {len(flown)} in the plan")
    kilograms = sum(member["propellant_kg"] for member in flown)
    if abs(kilograms - row["propellant_kg"]) > _KG:
        wrong.append(f"probes use {kilograms} kg, the front says {row['propellant_kg']}")
    if not all(0.0 <= member["success"] <= 1.0 for member in flown):
        wrong.append("success out of range")
    if not flown and row["risk"] != float(any(r.threshold > 0 for r in study.science.rows)):
        wrong.append(f"risk of no probes is {row['risk']}")
    return wrong


def order_problems(flown: list[Row], chosen: list[Row]) -> list[str]:
    wrong = []
    if [member["probe"] for member in flown] != list(range(len(flown))):
        wrong.append("probe numbers are not 0, 1, 2 ...")
    releases = [o["release_jd_tdb"] for o in chosen]
    if releases != sorted(releases):
        wrong.append("probes are not in order of release")
    return wrong
