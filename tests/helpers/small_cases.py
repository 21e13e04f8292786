"""Small studies, targets and opportunity tables for the tests of this folder; all invented."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa

from swarm.study.schema import Study, study_from
from targets.base.constants import AU_KM, DAY_S, GM_SUN_KM3_S2
from targets.base.timescale import tdb_s_from_jd
from targets.catalogue.reading import Catalogue
from targets.motion.twobody import drift_states, states_from_elements

START_JD_TDB, END_JD_TDB = 2463000.5, 2464826.5

ROWS: list[dict[str, Any]] = [
    {"name": "dark", "where": {"taxonomy": ["C", "B"]}, "threshold": 1, "baseline": 2, "weight": 2.0},
    {"name": "stony", "where": {"taxonomy": ["S", "Q"]}, "quality_min": 0.3, "threshold": 1, "baseline": 1},
    {"name": "large", "where": {"diameter_km_min": 2.0}, "quality_min": 0.5, "baseline": 3, "weight": 1.5},
]
SMALL_SEARCH = {"islands": 3, "population": 16, "epochs": 4, "generations_per_epoch": 10}


def make_study(rows: list[dict[str, Any]] | None = None, **sections: dict[str, Any]) -> Study:
    """A study whose sections are updated by `sections`, e.g. probe={"count": 3}."""
    data: dict[str, Any] = {
        "study": {"name": "test", "seed": 11, "start": START_JD_TDB, "end": END_JD_TDB},
        "catalogue": {"format": "invented", "bodies": 100, "seed": 3},
        "mothership": {
            "kind": "elements", "epoch": START_JD_TDB, "a_au": 1.9, "e": 0.4, "i_deg": 3.0,
            "node_deg": 0.0, "argp_deg": 0.0, "mean_anomaly_deg": 0.0,
        },
        "probe": {"count": 3, "wet_mass_kg": 12.0, "burn_limit_m_s": 150.0},
        "science": {"rows": ROWS if rows is None else rows},
    }  # fmt: skip
    # the tables of these tests have no path of a mothership to keep clear of; costs are looked at where they matter
    data["constraints"] = {"recontact_km": 0.0, "event_clear_before_days": 0.0, "event_clear_after_days": 0.0}
    data["optimize"] = {"constraint_costs": False}
    for name, changes in sections.items():
        data[name] = {**data.get(name, {}), **changes}
    return study_from(data)


def make_targets(taxonomy: list[str], *, diameter_km: list[float] | None = None) -> Catalogue:
    """Main-belt bodies of the given classes, '' unknown."""
    n = len(taxonomy)
    sizes = np.linspace(1.0, 6.0, n) if diameter_km is None else np.array(diameter_km)
    spread = np.linspace(0.0, 1.0, n)
    return Catalogue(
        target=np.array([f"X{k}" for k in range(n)], dtype=object),
        name=np.array([""] * n, dtype=object),
        epoch_jd_tdb=np.full(n, START_JD_TDB),
        a_au=2.2 + 0.9 * spread,
        e=0.05 + 0.2 * spread,
        i_deg=10.0 * spread,
        node_deg=300.0 * spread,
        argp_deg=200.0 * spread,
        mean_anomaly_deg=350.0 * spread,
        h_mag=5.0 * np.log10(1329.0 / (sizes * np.sqrt(0.12))),  # albedo 0.12: no class stands out
        g_slope=np.full(n, 0.15),
        albedo=np.full(n, np.nan),
        diameter_km=sizes,
        taxonomy=np.array(taxonomy, dtype=object),
        u_code=np.zeros(n, dtype=np.int8),
        visited=np.zeros(n, dtype=bool),
        assumed=np.zeros(n, dtype=np.uint16),
    )


def make_opportunities(target_index: list[int] | np.ndarray, *, seed: int = 5, **columns: Any) -> pa.Table:
    """Opportunities with random but plausible columns; any of them can be given."""
    rng = np.random.default_rng(seed)
    target = np.asarray(target_index)
    n = len(target)
    release = START_JD_TDB + 10.0 * rng.integers(0, 120, n)
    table: dict[str, Any] = {
        "opportunity": np.arange(n) + 100,  # identifiers, not row numbers
        "target": [f"X{k}" for k in target],
        "kind": ["flyby"] * n,
        "target_index": target,
        "release_jd_tdb": release,
        "burn_jd_tdb": release + 3.0,
        "encounter_jd_tdb": release + 3.0 + rng.uniform(30.0, 400.0, n),
        "burn_m_s": rng.uniform(10.0, 150.0, n),
        "v_rel_km_s": rng.uniform(2.0, 12.0, n),
        "phase_in_deg": rng.uniform(5.0, 175.0, n),
        "sun_earth_probe_deg": rng.uniform(0.0, 170.0, n),
    }
    return pa.table({**table, **columns})


def mothership_table(*, a_au: float = 1.9, e: float = 0.4) -> pa.Table:
    """A mothership on a two-body orbit over the whole span, a node a day."""
    start_s, end_s = (float(tdb_s_from_jd(jd)) for jd in (START_JD_TDB, END_JD_TDB))
    r, v = states_from_elements(a_au * AU_KM, e, 0.05, 0.3, 1.0, 0.5, mu_km3_s2=GM_SUN_KM3_S2)
    epochs_s = np.arange(start_s, end_s + 1.0, DAY_S)
    position, velocity = drift_states(
        np.repeat(r.reshape(1, 3), len(epochs_s), axis=0),
        np.repeat(v.reshape(1, 3), len(epochs_s), axis=0),
        epochs_s - start_s,
    )
    names = ("x_km", "y_km", "z_km", "vx_km_s", "vy_km_s", "vz_km_s")
    states = np.hstack([position, velocity])
    columns = {name: states[:, k] for k, name in enumerate(names)}
    return pa.table({"t_jd_tdb": START_JD_TDB + np.arange(len(epochs_s)), **columns})


def medium_case(seed: int = 9) -> tuple[Study, pa.Table, Catalogue]:
    """400 opportunities at 60 targets, up to 8 probes: too many plans for an enumeration."""
    rng = np.random.default_rng(seed)
    bodies = list(rng.choice(["", "C", "S", "X", "Q"], 60))
    study = make_study(
        [*ROWS, {"name": "any", "threshold": 3, "baseline": 6, "quality_min": 0.2}],
        probe={"count": 8},
        constraints={"blackouts": [[2463300.5, 2463350.5]], "release_spacing_days": 12.0},
        optimize={**SMALL_SEARCH, "population": 32},
    )
    targets = make_targets(bodies, diameter_km=list(10 ** rng.uniform(-0.5, 1.0, 60)))
    return study, make_opportunities(rng.integers(0, 60, 400), seed=seed), targets
