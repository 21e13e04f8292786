"""One encounter after another, made to measure: target, path and errors are invented."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa

from swarm.study.schema import Study, study_from
from targets.base.constants import AU_KM
from targets.base.timescale import tdb_s_from_jd
from targets.catalogue.knowledge import states_at
from targets.catalogue.reading import Catalogue

START_JD_TDB, END_JD_TDB = 2463000.5, 2465000.5
EPOCH_JD_TDB = 2461000.5
MET_JD_TDB = START_JD_TDB + 650.0

NO_ERRORS: dict[str, dict[str, Any]] = {
    "probe": {"execution_fixed_m_s": 0.0, "execution_proportional": 0.0, "execution_pointing_mrad": 0.0},
    "delivery": {"spring_fraction": 0.0, "spring_direction_deg": 0.0},
    "knowledge": {
        "mothership_position_km": 0.0, "mothership_velocity_m_s": 0.0, "probe_position_km": 0.0,
        "probe_velocity_m_s": 0.0, "target_floor_km": 0.0,
    },
}  # fmt: skip


def make_study(**sections: dict[str, Any]) -> Study:
    """The default 6U with a burn limit of 150 m/s; sections are updated by keys, e.g. probe={"limiting_mag": 9.0}."""
    data: dict[str, Any] = {
        "study": {"name": "delivery", "seed": 11, "start": START_JD_TDB, "end": END_JD_TDB},
        "catalogue": {"format": "invented", "bodies": 100, "seed": 3},
        "mothership": {
            "kind": "elements", "epoch": START_JD_TDB, "a_au": 1.9, "e": 0.4, "i_deg": 3.0,
            "node_deg": 0.0, "argp_deg": 0.0, "mean_anomaly_deg": 0.0,
        },
        "probe": {"count": 3, "class": "6U"},
        "science": {"rows": [{"name": "any"}]},
    }  # fmt: skip
    for name, changes in sections.items():
        data[name] = {**data.get(name, {}), **changes}
    return study_from(data)


def without_errors(**sections: dict[str, Any]) -> Study:
    """A study in which nothing errs but what `sections` say."""
    names = {*NO_ERRORS, *sections}
    return make_study(**{name: {**NO_ERRORS.get(name, {}), **sections.get(name, {})} for name in names})


def make_targets(h_mag: list[float], u_code: list[int] | None = None, **columns: Any) -> Catalogue:
    """Bodies on one orbit of the inner belt, albedo 0.14."""
    n = len(h_mag)
    plain = {
        "target": np.array([f"X{k}" for k in range(n)], dtype=object),
        "name": np.array([""] * n, dtype=object),
        "epoch_jd_tdb": np.full(n, EPOCH_JD_TDB),
        "a_au": np.full(n, 2.3),
        "e": np.full(n, 0.1),
        "i_deg": np.full(n, 4.0),
        "node_deg": np.full(n, 50.0),
        "argp_deg": np.full(n, 120.0),
        "mean_anomaly_deg": np.full(n, 200.0),
        "h_mag": np.array(h_mag, dtype=float),
        "g_slope": np.full(n, 0.15),
        "albedo": np.full(n, 0.14),
        "diameter_km": np.full(n, np.nan),
        "taxonomy": np.array(["C"] * n, dtype=object),
        "u_code": np.array([0] * n if u_code is None else u_code, dtype=np.int8),
        "visited": np.zeros(n, dtype=bool),
        "assumed": np.zeros(n, dtype=np.uint16),
    }
    return Catalogue(**{**plain, **columns})


def make_opportunities(
    targets: Catalogue,
    index: list[int],
    *,
    arc_days: float | list[float] = 200.0,
    seed: int = 4,
    **columns: Any,
) -> pa.Table:
    """Encounters of the bodies `index`; relative velocity and burn are drawn, anything can be given by column."""
    rng = np.random.default_rng(seed)
    n = len(index)
    arcs = np.broadcast_to(np.asarray(arc_days, dtype=float), n)
    encounter = columns.pop("encounter_jd_tdb", START_JD_TDB + 500.0 + rng.uniform(0.0, 300.0, n))
    bodies = targets.take(np.array(index))
    place, velocity = states_at(bodies, tdb_s_from_jd(encounter))
    v_rel = columns.pop("v_rel", rng.normal(size=(n, 3)) * [3.0, 3.0, 1.5])
    v_rel = np.broadcast_to(v_rel, (n, 3))
    burn = np.broadcast_to(columns.pop("burn", rng.normal(size=(n, 3)) * 25.0), (n, 3))
    cross = np.linalg.norm(np.cross(place, v_rel), axis=1)
    table: dict[str, Any] = {
        "opportunity": np.arange(n),
        "target_index": np.array(index),
        "release_jd_tdb": encounter - arcs - 3.0,
        "burn_jd_tdb": encounter - arcs,
        "encounter_jd_tdb": encounter,
        "burn_m_s": np.linalg.norm(burn, axis=1),
        "v_rel_km_s": np.linalg.norm(v_rel, axis=1),
        "phase_in_deg": np.degrees(np.arctan2(cross, np.einsum("ij,ij->i", place, v_rel))),
        "sun_range_au": np.linalg.norm(place, axis=1) / AU_KM,
        "mothership_range_km": np.full(n, 1e7),
    }
    for k, axis in enumerate("xyz"):
        table[f"burn_{axis}_m_s"] = burn[:, k]
        table[f"v_rel_{axis}_km_s"] = v_rel[:, k]
        table[f"target_{axis}_km"] = place[:, k]
        table[f"target_v{axis}_km_s"] = velocity[:, k]
    return pa.table({**table, **columns})


def looking(targets: Catalogue, sun_deg: float) -> np.ndarray:
    """A relative velocity of 8 km/s that looks so far from the Sun, met with the first body at MET_JD_TDB."""
    place = states_at(targets.take(np.array([0])), np.array([tdb_s_from_jd(MET_JD_TDB)]))[0][0]
    sun = -place / np.linalg.norm(place)
    across = np.cross(sun, [0.0, 0.0, 1.0])
    angle = np.radians(sun_deg)
    return 8.0 * (np.cos(angle) * sun + np.sin(angle) * across / np.linalg.norm(across))
