"""What refinement leaves in the run folder, exactly (doubles as they are), so that nothing is refined twice.

flown             a row a refined probe: states, burn, masses, figures of its delivery
flown_corrections a row a trajectory correction manoeuvre of a refined probe
state_covariances three rows a refined probe: after the release, after the burn, at the encounter
trajectories      nodes of every probe's path either side of its burn, and of its target's
not_refined       a row a probe that was left out, with the reason
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from swarm.encounter.corrections import KINDS
from swarm.refine.correct import Arc, NotRefined, Refined
from swarm.refine.dispersion import Known
from swarm.refine.stretches import Paths, Stretch
from swarm.refine.whole_plan import FlownProbe, RunTables, arcs_of
from swarm.run.tables import parquet_tables
from swarm.study.schema import Study

Floats = NDArray[np.float64]

REFINEMENT_TABLES = ("flown", "flown_corrections", "state_covariances", "trajectories", "not_refined")

_STATE = ("x_km", "y_km", "z_km", "vx_km_s", "vy_km_s", "vz_km_s")
_PARTS = ("x", "y", "z", "vx", "vy", "vz")
_LOWER = [(i, j) for i in range(6) for j in range(i + 1)]
_UNIT = {True: {True: "km2", False: "km2_s"}, False: {True: "km2_s", False: "km2_s2"}}
_COVARIANCE = tuple(f"cov_{_PARTS[i]}_{_PARTS[j]}_{_UNIT[i < 3][j < 3]}" for i, j in _LOWER)
_STATES_OF = ("release", "burn", "encounter")
# Arrays of a refined arc: attribute, columns.
_ARRAYS = {
    "spring_km_s": tuple(f"spring_{axis}_km_s" for axis in "xyz"),
    "released": tuple(f"released_{name}" for name in _STATE),
    "before_burn": tuple(f"before_burn_{name}" for name in _STATE),
    "burn_km_s": tuple(f"burn_{axis}_km_s" for axis in "xyz"),
    "probe": tuple(f"arrival_{name}" for name in _STATE),
    "target": tuple(f"target_{name}" for name in _STATE),
    "b_km": ("b_t_km", "b_r_km"),
    "beta": ("beta_before_km3_s2", "beta_after_km3_s2"),
    "mass_kg": ("mass_wet_kg", "mass_after_burn_kg"),
}
_SCALARS = ("encounter_tdb_s", "burn_s", "lead_s", "finite_miss_km")
_FIGURES = {"sigma_km": "delivery_sigma_km", "dv99_m_s": "dv99_m_s", "success": "success"}


@dataclass(frozen=True, eq=False)
class DeliveryFigures:
    """What is kept of a dispersion through the transition matrix: km, m/s, share of samples."""

    sigma_km: float
    dv99_m_s: float
    success: float
    relies_on_sight: bool
    corrections_s: tuple[tuple[float, int], ...]  # TDB seconds, kind (swarm.encounter.corrections)


@dataclass(frozen=True, eq=False)
class StateCovariances:
    """(6, 6) of a probe's state under all forces: after spring, after burn, at the encounter; ICRF, km and km/s."""

    released_cov: Floats
    burnt_cov: Floats
    encounter_cov: Floats


@dataclass(frozen=True, eq=False)
class RefinedProbe:
    """A refined arc as stored: what the hand-off needs of a `FlownProbe`."""

    made: Refined
    known: Known
    linear: DeliveryFigures
    full: StateCovariances


@dataclass(frozen=True, eq=False)
class RefinedPlan:
    """A refined plan as stored."""

    flown: list[RefinedProbe]
    lost: list[NotRefined]
    paths: Paths


def refinement_tables(
    flown: Sequence[FlownProbe], lost: Sequence[NotRefined], paths: Paths
) -> dict[str, pa.Table]:
    """The tables of REFINEMENT_TABLES for one plan."""
    plan = next((each.made.arc.plan for each in flown), 0)
    rows = {
        "flown": [_flown_row(each) for each in flown],
        "flown_corrections": [row for each in flown for row in _correction_rows(each)],
        "state_covariances": [row for each in flown for row in _covariance_rows(each)],
        "not_refined": [
            *(_left_out(left, "refine") for left in lost),
            *(_left_out(left, "path") for left in paths.unwritten),
        ],
    }
    made = {name: pa.Table.from_pylist(part, schema=_schema(name)) for name, part in rows.items()}
    return {**made, "trajectories": _trajectories(plan, paths)}


def stored_plan(study: Study, run: RunTables, stored: Mapping[str, pa.Table], plan: int) -> RefinedPlan:
    """The refined plan that `stored`, the tables of REFINEMENT_TABLES, holds; nothing is refined again."""
    arcs = {arc.probe: (arc, known) for arc, known in arcs_of(study, run, plan)}
    covariances = {
        (row["probe"], row["state"]): _matrix(row) for row in stored["state_covariances"].to_pylist()
    }
    flown = []
    for row in stored["flown"].to_pylist():
        arc, known = arcs[row["probe"]]
        figures = {name: row[column] for name, column in _FIGURES.items()}
        planned = [each for each in stored["flown_corrections"].to_pylist() if each["probe"] == row["probe"]]
        dates = tuple((each["tdb_s"], KINDS.index(each["kind"])) for each in planned)
        linear = DeliveryFigures(**figures, relies_on_sight=row["relies_on_sight"], corrections_s=dates)
        spread = StateCovariances(*(covariances[row["probe"], state] for state in _STATES_OF))
        flown.append(RefinedProbe(_refined(row, arc), known, linear, spread))
    left: dict[str, list[NotRefined]] = {"refine": [], "path": []}
    for row in stored["not_refined"].to_pylist():
        left[row["step"]].append(NotRefined(arcs[row["probe"]][0], row["reason"]))
    probes, targets = _stretches(stored["trajectories"])
    return RefinedPlan(flown, left["refine"], Paths(probes, targets, left["path"]))


def _refined(row: Mapping[str, Any], arc: Arc) -> Refined:
    """The refined arc of a row of `flown`."""
    values: dict[str, Any] = {
        name: np.array([row[column] for column in columns]) for name, columns in _ARRAYS.items()
    }
    for pair in ("beta", "mass_kg"):
        values[pair] = tuple(values[pair].tolist())
    return Refined(arc=arc, iterations=row["iterations"], **values, **{name: row[name] for name in _SCALARS})


def _schema(name: str) -> pa.Schema:
    return pa.schema([(column.name, column.type) for column in parquet_tables()[name].columns])


def _flown_row(flown: FlownProbe) -> dict[str, object]:
    made, arc = flown.made, flown.made.arc
    row: dict[str, object] = {"plan": arc.plan, "probe": arc.probe, "opportunity": arc.opportunity}
    for name, columns in _ARRAYS.items():
        row.update(zip(columns, map(float, getattr(made, name)), strict=True))
    row.update({name: float(getattr(made, name)) for name in _SCALARS})
    row.update({column: float(getattr(flown.linear, name)) for name, column in _FIGURES.items()})
    return {**row, "iterations": made.iterations, "relies_on_sight": flown.linear.relies_on_sight}


def _correction_rows(flown: FlownProbe) -> list[dict[str, object]]:
    arc = flown.made.arc
    return [
        {"plan": arc.plan, "probe": arc.probe, "correction": k, "kind": KINDS[kind], "tdb_s": tdb_s}
        for k, (tdb_s, kind) in enumerate(flown.linear.corrections_s)
    ]


def _covariance_rows(flown: FlownProbe) -> list[dict[str, object]]:
    arc, spread = flown.made.arc, flown.full
    matrices = (spread.released_cov, spread.burnt_cov, spread.encounter_cov)
    return [
        {
            "plan": arc.plan,
            "probe": arc.probe,
            "state": state,
            **{column: float(matrix[i, j]) for column, (i, j) in zip(_COVARIANCE, _LOWER, strict=True)},
        }
        for state, matrix in zip(_STATES_OF, matrices, strict=True)
    ]


def _matrix(row: Mapping[str, float]) -> Floats:
    out = np.empty((6, 6))
    for column, (i, j) in zip(_COVARIANCE, _LOWER, strict=True):
        out[i, j] = out[j, i] = row[column]
    return out


def _left_out(left: NotRefined, step: str) -> dict[str, object]:
    arc = left.arc
    return {
        "plan": arc.plan, "probe": arc.probe, "opportunity": arc.opportunity, "target": arc.target, "step": step,
        "reason": left.reason,
    }  # fmt: skip


def _trajectories(plan: int, paths: Paths) -> pa.Table:
    pieces = [("probe", n, k, part) for n, parts in paths.probes.items() for k, part in enumerate(parts)]
    pieces += [("target", n, 0, part) for n, part in paths.targets.items()]
    schema = _schema("trajectories")
    if not pieces:
        return schema.empty_table()
    return pa.concat_tables([_nodes(plan, *piece, schema) for piece in pieces])


def _nodes(plan: int, body: str, number: int, piece: int, part: Stretch, schema: pa.Schema) -> pa.Table:
    count = len(part.epochs_tdb_s)
    same = [np.full(count, plan), [body] * count, np.full(count, number), np.full(count, piece)]
    return pa.table([*same, part.epochs_tdb_s, *part.states.T.copy()], schema=schema)


def _stretches(trajectories: pa.Table) -> tuple[dict[int, list[Stretch]], dict[int, Stretch]]:
    """Stretches of the probes and of the targets, by number, in the order of the table."""
    probes: dict[int, list[Stretch]] = {}
    targets: dict[int, Stretch] = {}
    pieces = trajectories.select(["body", "number", "piece"]).to_pylist()
    for body, number, piece in dict.fromkeys((row["body"], row["number"], row["piece"]) for row in pieces):
        on = pc.and_(pc.equal(trajectories["body"], body), pc.equal(trajectories["number"], number))
        part = trajectories.filter(pc.and_(on, pc.equal(trajectories["piece"], piece)))
        states = np.column_stack([part[name].to_numpy() for name in _STATE])
        stretch = Stretch(part["tdb_s"].to_numpy().copy(), states)  # SPICE takes no read-only memory
        if body == "probe":
            probes.setdefault(number, []).append(stretch)
        else:
            targets[number] = stretch
    return probes, targets
