"""What the page draws and no other stage keeps: arcs, dates, rings of the B-plane, how many return, the expected law.

Made by the stages that know it and kept as tables, so that the page itself computes nothing. Only opportunities
that some plan of a front uses are drawn.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numba import njit
from numpy.typing import NDArray

from swarm.encounter.pass_impact import impact_radius_km
from swarm.encounter.pass_worth import principal_sigmas_km
from swarm.plan.data import Chances, PlanData, column, plan_data
from swarm.plan.flight import Flight
from swarm.plan.measures import plans_matrix
from swarm.plan.survival import group_failures, own_chances, state_chance
from swarm.reach.expected import LAW_PERIODS, around, expected_per_period, law_arc_days, law_edges
from swarm.report.figure_parts import ORBIT_POINTS
from swarm.run.kinds import at_places
from swarm.study.by_design import probe_values
from targets.base.constants import GM_SUN_KM3_S2
from targets.base.timescale import jd_from_tdb_s, tdb_s_from_jd
from targets.catalogue.reading import Catalogue
from targets.ephemeris.planets import BODIES, SYSTEMS
from targets.ephemeris.spice import coverage_tdb_s, sample
from targets.masses.massive import mass_named
from targets.motion.twobody import drift_states

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# A straight line between two of them leaves a 300-day arc in the belt by less than a line's width.
ARC_POINTS = 25
ORBITS_WITHIN = 1.3
_NO_ORBITS = pa.table(
    {"planet": pa.array([], pa.string())}
    | {name: pa.array([], pa.float64()) for name in ("t_jd_tdb", "x_km", "y_km", "z_km")}
)


def arc_points(opportunities: pa.Table, mothership: pa.Table) -> pa.Table:
    """Return points of each probe's path from burn to encounter: opportunity, t_jd_tdb, x_km, y_km, z_km.

    Two-body motion from the burn. What it misses at the target, the pull of the planets, is spread over the arc
    with the square of the time, so that a drawn arc ends where its target is. For drawing, not for flying.
    Heliocentric ICRF.
    """
    flight = Flight(opportunities, mothership)
    n = opportunities.num_rows
    share = np.tile(np.linspace(0.0, 1.0, ARC_POINTS), n)
    start = np.repeat(flight.after, ARC_POINTS, axis=0)
    length_s = np.repeat(flight.encounter_s - flight.burn_s, ARC_POINTS)
    r_km, _ = drift_states(start[:, :3], start[:, 3:], share * length_s)
    met_km = np.column_stack([column(opportunities, f"target_{axis}_km") for axis in "xyz"])
    missed_km = met_km - r_km[ARC_POINTS - 1 :: ARC_POINTS]
    r_km = r_km + share[:, None] ** 2 * np.repeat(missed_km, ARC_POINTS, axis=0)
    return pa.table(
        {
            "opportunity": np.repeat(column(opportunities, "opportunity"), ARC_POINTS),
            "t_jd_tdb": jd_from_tdb_s(np.repeat(flight.burn_s, ARC_POINTS) + share * length_s),
            **{f"{axis}_km": r_km[:, k].copy() for k, axis in enumerate("xyz")},
        }
    )


def planet_places(mothership: pa.Table) -> pa.Table:
    """Return where the planets are whose orbits a map of the mothership shows: planet, t_jd_tdb, x_km, y_km, z_km.

    Those nearer to the Sun than ORBITS_WITHIN times the mothership at its farthest; from its first date for as long
    as it flies, or once around. Heliocentric ICRF, DE440.
    """
    path_km = np.column_stack([column(mothership, f"{axis}_km") for axis in "xyz"])
    first_s, last_s = (float(tdb_s_from_jd(column(mothership, "t_jd_tdb")[k])) for k in (0, -1))
    within_km = ORBITS_WITHIN * float(np.linalg.norm(path_km, axis=1).max())
    parts = []
    for body, name, _ in BODIES[:SYSTEMS]:
        start = sample(body, np.array([first_s]))[0]
        axis_km = 1.0 / (2.0 / np.linalg.norm(start[:3]) - start[3:] @ start[3:] / GM_SUN_KM3_S2)
        if axis_km > within_km:
            continue
        around_s = 2.0 * np.pi * np.sqrt(axis_km**3 / GM_SUN_KM3_S2)
        until_s = min(max(last_s, first_s + 1.02 * around_s), coverage_tdb_s(body)[1])
        epochs_s = np.arange(first_s, until_s, around_s / ORBIT_POINTS)
        states = sample(body, epochs_s)
        places = {f"{axis}_km": states[:, k].copy() for k, axis in enumerate("xyz")}
        named = pa.array([name] * len(epochs_s), pa.string())
        parts.append(pa.table({"planet": named, "t_jd_tdb": jd_from_tdb_s(epochs_s), **places}))
    return pa.concat_tables(parts) if parts else _NO_ORBITS


def event_dates(opportunities: pa.Table, judged: pa.Table, corrections: pa.Table) -> pa.Table:
    """Return the dates of each opportunity in order: opportunity, event, t_jd_tdb.

    Events: release, burn, correction (as the judgement planned them: the run's table `corrections`), encounter, and
    data home where data come home. `opportunities` and `judged` row by row the same.
    """
    rows: list[tuple[int, str, float]] = []
    planned: dict[int, list[float]] = {}
    for number, date in zip(*(column(corrections, name) for name in ("opportunity", "jd_tdb")), strict=True):
        planned.setdefault(int(number), []).append(float(date))
    home_days, data_mbit = column(judged, "home_days"), column(judged, "data_mbit")
    for k, flown in enumerate(opportunities.to_pylist()):
        dates = [(event, flown[f"{event}_jd_tdb"]) for event in ("release", "burn")]
        dates += [("correction", date) for date in planned.get(flown["opportunity"], [])]
        dates.append(("encounter", flown["encounter_jd_tdb"]))
        if np.isfinite(home_days[k]) and data_mbit[k] > 0.0:
            dates.append(("data home", flown["encounter_jd_tdb"] + home_days[k]))
        rows += [(flown["opportunity"], event, float(date)) for event, date in dates]
    return pa.table(
        {
            "opportunity": pa.array([row[0] for row in rows], pa.int64()),
            "event": pa.array([row[1] for row in rows], pa.string()),
            "t_jd_tdb": pa.array([row[2] for row in rows], pa.float64()),
        }
    )


def aim_rings(study: Study, opportunities: pa.Table, judged: pa.Table) -> pa.Table:
    """Return the rings of each opportunity's B-plane: opportunity, keepout_km, slew_km, and the delivery's ellipse.

    slew_km   : inside it the target turns faster than the camera can follow, v_rel / slew limit
    sigma_*   : principal one-sigma of the miss about the aim point; the larger one's angle from T towards R
    """
    larger, smaller, angle = _principal(judged, "delivery")
    return pa.table(
        {
            "opportunity": column(opportunities, "opportunity"),
            "keepout_km": probe_values(study, opportunities, "keepout_km"),
            "slew_km": column(opportunities, "v_rel_km_s")
            / np.radians(probe_values(study, opportunities, "slew_limit_deg_s")),
            "sigma_larger_km": larger,
            "sigma_smaller_km": smaller,
            "sigma_angle_deg": np.degrees(angle),
        }
    )


def pass_rings(study: Study, opportunities: pa.Table, judged: pa.Table) -> pa.Table:
    """Return the same of passes: what must not be touched is the impact disc, and no ring is too near to follow.

    keepout_km : radius of the impact disc, |B| of a path that grazes the highest ground
    """
    table = aim_rings(study, opportunities, judged)
    discs = [
        float(impact_radius_km(mass_named(name), v_inf, terrain_km=lowest))
        for name, v_inf, lowest in zip(
            opportunities["target"].to_pylist(),
            column(opportunities, "v_inf_km_s"),
            column(opportunities, "lowest_km"),
            strict=True,
        )
    ]
    for name, values in (("keepout_km", np.array(discs)), ("slew_km", np.zeros(len(discs)))):
        table = table.set_column(table.column_names.index(name), name, pa.array(values, pa.float64()))
    return table


def _principal(judged: pa.Table, which: str) -> tuple[Floats, Floats, Floats]:
    """Principal sigmas of a B-plane covariance, the larger first, and the larger one's angle from T to R (rad)."""
    tt, rr, tr = (column(judged, f"{which}_cov_{part}_km2") for part in ("tt", "rr", "tr"))
    return *principal_sigmas_km(tt, rr, tr), 0.5 * np.arctan2(2.0 * tr, tt - rr)


# --- what an encounter counts for ----------------------------------------------------------------------------


def serves(study: Study, opportunities: pa.Table, targets: Catalogue, *, judged: Chances) -> pa.Table:
    """Return the science rows that each opportunity may count for, and how likely: opportunity, science_row, chance.

    The chance that the hardware works, the class fits, the quality suffices and the data come home, whatever the other
    probes do. Rows that it cannot count for are left out. `opportunities` and `judged` row by row the same.
    """
    data = plan_data(study, opportunities, targets, judged=judged)
    chance = np.zeros((opportunities.num_rows, len(study.science.rows)))
    owner = np.repeat(np.arange(opportunities.num_rows), np.diff(data.merged_start))
    np.add.at(chance, owner, data.merged_chance[:, None] * data.row_sets[data.merged_set])
    chance *= data.hardware[:, None]
    at, row = np.nonzero(chance)
    names = [one.name for one in study.science.rows]
    return pa.table(
        {
            "opportunity": column(opportunities, "opportunity")[at],
            "science_row": pa.array([names[k] for k in row], pa.string()),
            "counts_chance": chance[at, row],
        }
    )


# --- how many return ----------------------------------------------------------------------------------------


def successes(
    study: Study,
    opportunities: pa.Table,
    targets: Catalogue,
    *,
    front: pa.Table,
    plans: pa.Table,
    judged: Chances,
) -> pa.Table:
    """Return the chance that k probes of each plan return data: plan, returned, chance, chance_or_more.

    Given hardware and link, shared failures included; quality is not asked for. `opportunities` and `judged`
    row by row the same.
    """
    matrix = plans_matrix(plans, opportunities, front.num_rows, probes=study.probe.count)
    data = plan_data(study, opportunities, targets, judged=judged)
    flown = (matrix >= 0).sum(axis=1)
    chance = _returned(matrix, data) if len(matrix) else np.zeros((0, 1))
    plan, returned = np.nonzero(np.arange(chance.shape[1]) <= flown[:, None])
    more = np.minimum(np.cumsum(chance[:, ::-1], axis=1)[:, ::-1], 1.0)
    return pa.table(
        {
            "plan": column(front, "plan")[plan],
            "returned": returned,
            "chance": chance[plan, returned],
            "chance_or_more": more[plan, returned],
        }
    )


@njit(cache=True)
def _returned(plans: Ints, data: PlanData) -> Floats:
    """(n, probes + 1) P(so many probes of the plan return data), over every state of the shared failures."""
    found = np.zeros((plans.shape[0], plans.shape[1] + 1))
    for i in range(plans.shape[0]):
        plan = plans[i]
        common = group_failures(plan, data.hardware, data.group_mask, data.group_fraction)
        own = own_chances(plan, data.hardware, data.group_mask, common)
        for state in range(1 << common.size):
            chance = state_chance(state, common)
            if chance <= 0.0:
                continue
            counts = np.zeros(plans.shape[1] + 1)
            counts[0] = 1.0
            for p in range(plan.size):
                if plan[p] >= 0 and not data.group_mask[plan[p]] & state:
                    works = own[p] * data.data_return[plan[p]]
                    for k in range(counts.size - 1, 0, -1):
                        counts[k] = counts[k] * (1.0 - works) + counts[k - 1] * works
                    counts[0] *= 1.0 - works
            found[i] += chance * counts
    return found


# --- the expected law ---------------------------------------------------------------------------------------


def density(study: Study, catalogue: Catalogue, opportunities: pa.Table, mothership: pa.Table) -> pa.Table:
    """Return targets found per period of the study beside what a simple law expects.

    Columns: from_jd_tdb, until_jd_tdb, found (targets with an encounter in it), expected, bodies_per_au3,
    v_rel_km_s (mean of the bodies near the mothership), arc_days (the longest flight the period allows).

    The law stands in `swarm.reach.expected`: a check that nothing is lost by orders of magnitude.
    """
    edges = law_edges(study)
    middles = 0.5 * (edges[1:] + edges[:-1])
    flybys = opportunities.filter(pa.array(~at_places(opportunities)))
    met, bodies = column(flybys, "encounter_jd_tdb"), column(flybys, "target_index")
    period = np.clip(np.searchsorted(edges, met, side="right") - 1, 0, LAW_PERIODS - 1)
    found = [len(np.unique(bodies[period == k])) for k in range(LAW_PERIODS)]
    (near,), (speed_km_s,) = around(catalogue, [mothership], middles)
    arc_days = law_arc_days(study, column(mothership, "t_jd_tdb")[0])
    return pa.table(
        {
            "from_jd_tdb": edges[:-1].copy(),
            "until_jd_tdb": edges[1:].copy(),
            "found": pa.array(found, pa.int64()),
            "expected": expected_per_period(study, near, speed_km_s, arc_days),
            "bodies_per_au3": near,
            "v_rel_km_s": speed_km_s,
            "arc_days": arc_days,
        }
    )
