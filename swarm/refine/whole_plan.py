"""All probes of a plan: what the tables of a run say of them, refined one by one, as the table `refined`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from swarm.decide.summary import select_plan
from swarm.encounter.corrections import KINDS
from swarm.encounter.propellant import carried_m_s
from swarm.reach.mothership.path import legs_of_table
from swarm.refine.correct import Arc, NotRefined, Refined
from swarm.refine.dispersion import Dispersion, Known, disperse, draws_of
from swarm.refine.nbody import Field, Lost, make_field, span_in_kernel
from swarm.refine.two_body import require_flyable
from swarm.run.kinds import ENCOUNTERS
from swarm.run.workers import Pool
from swarm.study.schema import Study
from swarm.study.whole_study import ONE_DESIGN
from targets.base.constants import AU_KM, DAY_S
from targets.base.errors import InputError
from targets.base.timescale import tdb_s_from_jd
from targets.catalogue.knowledge import position_covariance_km2, states_at
from targets.catalogue.reading import Catalogue
from targets.ephemeris.spice import SUN, coverage_tdb_s


@dataclass(frozen=True, eq=False)
class RunTables:
    """The tables of a run that a plan is read from."""

    opportunities: pa.Table
    targets: Catalogue
    mothership: pa.Table
    judged: pa.Table
    corrections: pa.Table
    plans: pa.Table


@dataclass(frozen=True, eq=False)
class FlownProbe:
    """A refined arc with its dispersion, linear and under all forces."""

    made: Refined
    known: Known
    linear: Dispersion
    full: Dispersion


@dataclass(frozen=True, eq=False)
class _Shared:
    study: Study
    field: Field


def arcs_of(study: Study, tables: RunTables, plan: int) -> list[tuple[Arc, Known]]:
    """The probes of a plan in the order of the table. Raises InputError for a plan that is not there."""
    rows = tables.plans.filter(pc.equal(tables.plans["plan"], plan)).to_pylist()
    if plan not in set(tables.plans["plan"].to_pylist()):
        numbers = tables.plans["plan"].to_numpy()
        range_there = f"{numbers.min()} to {numbers.max()}" if len(numbers) else "none"
        raise InputError(
            "no such plan with probes",
            place="--plan",
            found=plan,
            expected=f"a plan of plans.parquet: {range_there}",
        )
    index = pc.index_in(
        pa.array([row["opportunity"] for row in rows]), value_set=tables.opportunities["opportunity"]
    )
    table, judged = tables.opportunities.take(index).to_pylist(), tables.judged.take(index).to_pylist()
    planned = _planned(tables.corrections, [row["opportunity"] for row in rows])
    weight = _mothership_kg(study, table)
    return [
        (
            _arc(study.of_design(_design(table[k])), tables, row, (table[k], judged[k]), float(weight[k])),
            _known(
                study.of_design(_design(table[k])),
                tables,
                table[k],
                (judged[k], planned[row["opportunity"]]),
            ),
        )
        for k, row in enumerate(rows)
    ]


def _design(met: dict) -> str:
    return met.get("design", ONE_DESIGN)


def _mothership_kg(study: Study, table: list[dict]) -> np.ndarray:
    """(n,) what the mothership weighs at each release: less what left before."""
    order = np.argsort(np.array([row["release_jd_tdb"] for row in table]), kind="stable")
    weight = np.empty(len(table))
    if not study.designs:
        weight[order] = study.mothership.mass_kg - study.probe.wet_mass_kg * np.arange(len(table))
        return weight
    wet = np.array([study.of_design(_design(row)).probe.wet_mass_kg for row in table])
    weight[order] = study.mothership.mass_kg - (np.cumsum(wet[order]) - wet[order])
    return weight


def _arc(study: Study, tables: RunTables, row: dict, of: tuple[dict, dict], mothership_kg: float) -> Arc:
    met, judged = of
    release_s = met["burn_tdb_s"] - study.probe.checkout_days * DAY_S
    body = tables.targets.take(np.array([met["target_index"]]))
    epochs, r_km, v_km_s = body.states()
    return Arc(
        plan=row["plan"],
        probe=row["probe"],
        opportunity=row["opportunity"],
        target=met["target"],
        target_index=met["target_index"],
        release_tdb_s=release_s,
        burn_tdb_s=met["burn_tdb_s"],
        encounter_tdb_s=met["encounter_tdb_s"],
        mothership=_mothership_of(tables, met, release_s),
        mothership_kg=mothership_kg,
        burn_km_s=1e-3 * np.array([met[f"burn_{axis}_m_s"] for axis in "xyz"]),
        target_epoch_s=float(epochs[0]),
        target_state=np.concatenate([r_km[0], v_km_s[0]]),
        aim_km=np.array([judged["aim_t_km"], judged["aim_r_km"]]),
        design=_design(met),
        kind=met["kind"],
    )


def _mothership_of(tables: RunTables, met: dict, release_s: float) -> np.ndarray:
    """(6,) at the release; of a pass, whose row has its place there alone, the velocity at the burn."""
    if not ENCOUNTERS[met["kind"]].place:
        return mothership_state(tables.mothership, release_s, met["burn_tdb_s"])
    place = [met[f"ship_release_{axis}_km"] for axis in "xyz"]
    return np.array([*place, *(met[f"ship_v{axis}_km_s"] for axis in "xyz")])


def mothership_state(mothership: pa.Table, tdb_s: float, until_tdb_s: float) -> np.ndarray:
    """(6,) at an epoch, on the leg that holds it and the burn that follows."""
    for leg in legs_of_table(mothership):
        first, last = leg.epochs_tdb_s[[0, -1]]
        if first - 1.0 <= tdb_s and until_tdb_s <= last + 1.0:
            return leg.at(tdb_s)[0]
    raise InputError(
        "the mothership's table does not hold this release", found=tdb_s, expected="an epoch of a leg"
    )


def _planned(corrections: pa.Table, opportunities: list[int]) -> dict[int, tuple[tuple[float, int], ...]]:
    """Dates (TDB seconds) and kinds of the corrections of opportunities, in order, as the judgement left them."""
    held = corrections.filter(pc.is_in(corrections["opportunity"], value_set=pa.array(opportunities)))
    dates: dict[int, list[tuple[float, int]]] = {number: [] for number in opportunities}
    for row in held.sort_by([("opportunity", "ascending"), ("correction", "ascending")]).to_pylist():
        dates[row["opportunity"]].append((float(tdb_s_from_jd(row["jd_tdb"])), KINDS.index(row["kind"])))
    return {number: tuple(each) for number, each in dates.items()}


def _known(
    study: Study, tables: RunTables, met: dict, of: tuple[dict, tuple[tuple[float, int], ...]]
) -> Known:
    judged, corrections = of
    if ENCOUNTERS[met["kind"]].place:
        return Known(0.0, corrections, met["ephemeris_sigma_km"] ** 2 * np.eye(3), 0.0, 0.0)
    body = tables.targets.take(np.array([met["target_index"]]))
    knowledge = study.knowledge
    covariance, _ = position_covariance_km2(
        body,
        np.array([met["encounter_tdb_s"]]),
        velocity_km_s=np.array([[met[f"target_v{axis}_km_s"] for axis in "xyz"]]),
        floor_km=knowledge.target_floor_km,
        runoff_fraction=knowledge.runoff_fraction,
    )
    margins = study.margins
    spare_m_s = carried_m_s(study) - met["burn_m_s"] * (1.0 + margins.deterministic_fraction)
    spare_m_s -= margins.attitude_m_s * (1.0 + margins.attitude_fraction)
    return Known(
        detect_km=judged["detect_range_km"],
        corrections=corrections,
        target_cov_km2=covariance[0],
        spare_km_s=1e-3 * max(spare_m_s, 0.0),
        sight_limit_km_s=1e-3 * judged["sight_limit_m_s"],
    )


def refine_plan(
    study: Study, tables: RunTables, plan: int, *, pool: Pool, on_done: Any = None
) -> tuple[list[FlownProbe], list[NotRefined]]:
    """Refine every probe of a plan; what fails is named and the rest is finished.

    Raises InputError for a mothership that feels no planets.
    """
    require_flyable(study)
    asked = arcs_of(study, tables, plan)
    covered = [pair for pair in asked if _in_kernel(pair[0])]
    lost = [NotRefined(arc, OUTSIDE_KERNEL) for arc, _ in asked if not _in_kernel(arc)]
    if not covered:
        return [], lost
    epochs = [t for arc, _ in covered for t in _epochs(arc)]
    field = make_field(*span_in_kernel(epochs, margin_s=MARGIN_S))
    results = pool.map(_fly, covered, shared=_Shared(study, field), on_done=on_done)
    made = [result for result in results if isinstance(result, FlownProbe)]
    lost += [result for result in results if isinstance(result, NotRefined)]
    return made, sorted(lost, key=_probe_of)


OUTSIDE_KERNEL = "an epoch outside the kernel"
# The arrival may move by days, and the target is written from a month before its encounter on.
MARGIN_S = 40.0 * DAY_S


def _epochs(arc: Arc) -> tuple[float, ...]:
    return arc.release_tdb_s, arc.encounter_tdb_s, arc.target_epoch_s


def _in_kernel(arc: Arc) -> bool:
    first, last = coverage_tdb_s(SUN)
    return first <= min(_epochs(arc)) and max(_epochs(arc)) <= last


def chosen_plan(front: pa.Table, plans: pa.Table, *, study: Study) -> int | None:
    """The plan the study's rule selects; where it flies no probe, of those that do; None where none does."""
    flying = front.filter(pc.is_in(front["plan"], value_set=plans["plan"]))
    if not flying.num_rows:
        return None
    first, _ = select_plan(front, study)
    return first if first in flying["plan"].to_pylist() else select_plan(flying, study)[0]


def _probe_of(lost: NotRefined) -> int:
    return lost.arc.probe


def _fly(pair: tuple[Arc, Known], shared: _Shared) -> FlownProbe | NotRefined:
    """One task: correct an arc, then disperse it."""
    arc, known = pair
    study, field = shared.study.of_design(arc.design), shared.field
    made: Refined | NotRefined = ENCOUNTERS[arc.kind].function("refine")(study, field, arc)
    if isinstance(made, NotRefined):
        return made
    draws = draws_of(study.study.seed, arc.opportunity, study.refine.linear_samples)
    some = draws.first(study.refine.full_samples)
    try:
        linear = disperse(study, field, made, known=known, full=False, draws=draws)
        return FlownProbe(
            made, known, linear, disperse(study, field, made, known=known, full=True, draws=some)
        )
    except Lost as problem:
        return NotRefined(arc, f"dispersion: {problem}")


def refined_table(flown: list[FlownProbe], targets: Catalogue) -> pa.Table:
    """The contract's table, a row a refined arc, and what else is known of it."""
    return pa.table(
        {name: [row[name] for row in (_row(one, targets) for one in flown)] for name in _COLUMNS},
        schema=_SCHEMA,
    )


_WHOLE = ("plan", "probe", "opportunity", "corrections", "iterations")
_COLUMNS = (
    "plan", "probe", "opportunity", "target", "burn_m_s", "burn_change_m_s", "aim_km", "miss_km", "delivery_sigma_km",
    "dv99_m_s", "success", "aim_t_km", "aim_r_km", "b_t_km", "b_r_km", "release_tdb_s", "burn_tdb_s", "encounter_tdb_s",
    "encounter_shift_s", "burn_x_m_s", "burn_y_m_s", "burn_z_m_s", "spring_x_m_s", "spring_y_m_s", "spring_z_m_s",
    "v_rel_km_s", "v_rel_x_km_s", "v_rel_y_km_s", "v_rel_z_km_s", "sun_range_au", "burn_s", "burn_lead_s",
    "finite_miss_km",
    "mass_wet_kg", "mass_after_burn_kg", "two_body_target_km", "corrections", "iterations",
    "delivery_cov_tt_km2", "delivery_cov_rr_km2", "delivery_cov_tr_km2",
    "full_sigma_km", "full_dv99_m_s", "full_success",
)  # fmt: skip
_SCHEMA = pa.schema(
    [
        (name, pa.string() if name == "target" else pa.int64() if name in _WHOLE else pa.float64())
        for name in _COLUMNS
    ]
)


def _row(one: FlownProbe, targets: Catalogue) -> dict[str, Any]:
    made, arc, cov = one.made, one.made.arc, one.linear.covariance_km2
    burn, table = 1e3 * made.burn_km_s, 1e3 * arc.burn_km_s
    place, _ = states_at(targets.take(np.array([arc.target_index])), np.array([made.encounter_tdb_s]))
    row: dict[str, Any] = {
        "plan": arc.plan,
        "probe": arc.probe,
        "opportunity": arc.opportunity,
        "target": arc.target,
        "burn_m_s": _length(burn),
        "burn_change_m_s": _length(burn) - _length(table),
        "aim_km": _length(arc.aim_km),
        "miss_km": made.miss_km,
        "delivery_sigma_km": one.linear.sigma_km,
        "dv99_m_s": one.linear.dv99_m_s,
        "success": one.linear.success,
        "aim_t_km": arc.aim_km[0],
        "aim_r_km": arc.aim_km[1],
        "b_t_km": made.b_km[0],
        "b_r_km": made.b_km[1],
        "release_tdb_s": arc.release_tdb_s,
        "burn_tdb_s": arc.burn_tdb_s,
        "encounter_tdb_s": made.encounter_tdb_s,
        "encounter_shift_s": made.encounter_tdb_s - arc.encounter_tdb_s,
        "v_rel_km_s": _length(made.v_rel_km_s),
        "sun_range_au": _length(made.target[:3]) / AU_KM,
        "burn_s": made.burn_s,
        "burn_lead_s": made.lead_s,
        "finite_miss_km": made.finite_miss_km,
        "mass_wet_kg": made.mass_kg[0],
        "mass_after_burn_kg": made.mass_kg[1],
        "two_body_target_km": _length(place[0] - made.target[:3]),
        "corrections": len(one.linear.corrections_s),
        "iterations": made.iterations,
        "delivery_cov_tt_km2": cov[0, 0],
        "delivery_cov_rr_km2": cov[1, 1],
        "delivery_cov_tr_km2": cov[0, 1],
        "full_sigma_km": one.full.sigma_km,
        "full_dv99_m_s": one.full.dv99_m_s,
        "full_success": one.full.success,
    }
    for k, axis in enumerate("xyz"):
        row[f"burn_{axis}_m_s"] = burn[k]
        row[f"spring_{axis}_m_s"] = 1e3 * made.spring_km_s[k]
        row[f"v_rel_{axis}_km_s"] = made.v_rel_km_s[k]
    return row


def _length(vector: np.ndarray) -> float:
    return float(np.linalg.norm(vector))


# Full force is told where its sigma is larger than the transition matrix's by more (own choice): 1 000 samples of a
# normal distribution give it to 2 %, a few lost ones to 20.
_APART = 1.25


def dispersion_cautions(flown: list[FlownProbe]) -> list[str]:
    """Sentences where the transition matrix, whose figures the table leads with, is not enough."""
    return [
        f"probe {one.made.arc.probe} is delivered to {one.full.sigma_km:.1f} km (1 sigma) under all forces, "
        f"{one.linear.sigma_km:.1f} km by the transition matrix: plan with the larger one"
        for one in flown
        if one.full.sigma_km > _APART * one.linear.sigma_km
    ]
