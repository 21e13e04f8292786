"""Motherships under the planets: followed without a burn, and burns that agree with full-force shooting."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from swarm.reach.arcs.lambert import lambert_many
from swarm.reach.arcs.transition import position_by_velocity
from swarm.reach.opportunities import read_mothership, screen
from swarm.run.workers import Pool
from swarm.study.schema import Study
from targets.base.constants import AU_KM, DAY_S
from targets.base.frames import ecliptic_from_icrf
from targets.base.timescale import jd_from_tdb_s, tdb_s_from_jd
from targets.catalogue.bodies import Catalogue
from targets.catalogue.invented import invented_belt
from targets.motion.twobody import drift_states, elements_from_states
from tests.helpers.mothership_files import Block, write_oem
from tests.helpers.pulled_study import ELEMENTS, START_JD, a_study


def oem_study(assist, folder: Path, **kwargs) -> Study:
    from swarm.reach.mothership.from_elements import state_at_epoch

    first = float(tdb_s_from_jd(START_JD))
    days = first + DAY_S * np.arange(-2, 904)
    start = assist.path(state_at_epoch(**ELEMENTS), first, days[:1])[0]
    write_oem(folder, [Block(days, assist.path(start, float(days[0]), days))])
    return a_study({"kind": "oem", "file": "mothership.oem"}, base=folder, **kwargs)


def body_like(state: np.ndarray, epoch_s: float) -> Catalogue:
    """A catalogue of one body that moves with the mothership."""
    r, v = (ecliptic_from_icrf(part) for part in (state[None, :3], state[None, 3:]))
    a, e, i, node, argp, nu = elements_from_states(r, v)
    u = 2.0 * np.arctan2(np.sqrt(1.0 - e) * np.sin(nu / 2.0), np.sqrt(1.0 + e) * np.cos(nu / 2.0))
    columns = {
        "epoch_jd_tdb": jd_from_tdb_s(np.array([epoch_s])), "a_au": a / AU_KM, "e": e, "i_deg": np.degrees(i),
        "node_deg": np.degrees(node), "argp_deg": np.degrees(argp), "mean_anomaly_deg": np.degrees(u - e * np.sin(u)),
    }  # fmt: skip
    table = invented_belt(1, 1).to_table()
    for name, values in columns.items():
        table = table.set_column(table.column_names.index(name), name, [values])
    return Catalogue.from_table(table)


@pytest.mark.crosscheck
def test_without_a_burn_a_full_force_path_is_followed(assist_states, tmp_path) -> None:
    """A target that rides with the mothership needs no burn.

    The target moves by the map, the mothership by assist: what little they drift apart over the arc, some kilometres,
    is not the burn's fault, so it is taken off before the burn is judged.
    """
    study = oem_study(assist_states, tmp_path)
    path = read_mothership(study).legs[0]
    found = screen(study, body_like(path.states[0], path.start_tdb_s), pool=Pool()).opportunities
    burns, arcs = (
        found["burn_m_s"].to_numpy(),
        (found["encounter_tdb_s"].to_numpy() - found["burn_tdb_s"].to_numpy()),
    )
    assert len(burns) > 10
    assert (1e-3 * burns * arcs).max() < 60.0  # km: motion, not targeting


def test_without_a_burn_a_pulled_mothership_is_followed() -> None:
    """The same map moves mothership and target: 0 m/s within 1e-6."""
    ship = {"kind": "elements", "epoch": START_JD, "motion": "perturbed"} | ELEMENTS
    path = read_mothership(a_study(ship)).legs[0]
    targets = path.at(path.start_tdb_s + np.linspace(200.0, 800.0, 50) * DAY_S)
    from swarm.reach.screen import burns, minima

    burn_s = path.start_tdb_s + 28.0 * DAY_S
    swept = minima.swept_angle(path)
    slot = burns.Slot(burn_s, path.at(burn_s)[0], float(np.interp(burn_s, path.epochs_tdb_s, swept)))
    track = burns.Track(path.states, path.start_tdb_s, path.step_s, swept)
    limits = burns.Limits(0.15, 0.0, 1e9, 3, True, True)
    for t in path.start_tdb_s + np.linspace(200.0, 800.0, len(targets)) * DAY_S:
        burn = burns.aimed_burn(t, slot, burns.Body(path.states, path.start_tdb_s), track, limits)
        assert burn.status == 0.0
        assert 1e3 * np.linalg.norm([burn.x, burn.y, burn.z]) < 1e-6


def shot_burns(study: Study, rows: list[dict], targets: Catalogue, assist) -> tuple[np.ndarray, np.ndarray]:
    """(n,) burn in m/s that meets each target on its date under every force, and the plain Lambert burn."""
    path = read_mothership(study).legs[0]
    epochs, r, v = targets.states()
    shot, plain = np.empty(len(rows)), np.empty(len(rows))
    for k, row in enumerate(rows):
        t = row["target_index"]
        burn_s, at_s = row["burn_tdb_s"], row["encounter_tdb_s"]
        goal = assist.path(np.concatenate([r[t], v[t]]), float(epochs[t]), np.array([at_s]))[0, :3]
        start = path.at(burn_s)[0]
        kick = 1e-3 * np.array([row[f"burn_{axis}_m_s"] for axis in "xyz"])
        for _ in range(6):
            state = start + np.concatenate([np.zeros(3), kick])
            miss = goal - assist.path(state, burn_s, np.array([at_s]))[0, :3]
            if np.linalg.norm(miss) < 0.5:
                break
            kick = kick + np.linalg.solve(
                position_by_velocity(state[None], np.array([at_s - burn_s]))[0], miss
            )
        assert np.linalg.norm(miss) < 0.5
        shot[k] = 1e3 * np.linalg.norm(kick)
        turned = np.cross(start[:3], start[3:]) @ np.cross(start[:3], goal)
        v0, _, _ = lambert_many(start[:3], goal, np.array([at_s - burn_s]), normal=1 if turned > 0 else -1)
        plain[k] = 1e3 * np.linalg.norm(v0[0] - start[3:])
    return shot, plain


@pytest.mark.crosscheck
def test_burns_agree_with_full_force_shooting(assist_states, tmp_path) -> None:
    """Fifty opportunities of a full-force mothership: within 2 % or 0.5 m/s; plain Lambert arcs are worse."""
    study = oem_study(assist_states, tmp_path)
    screening = screen(study, invented_belt(60_000, 8), pool=Pool())
    table = screening.opportunities
    chosen = np.sort(np.random.default_rng(2).permutation(table.num_rows)[:50])
    rows = table.take(chosen).to_pylist()
    assert len(rows) == 50
    assert {row["shot"] for row in rows} == {1}
    shot, plain = shot_burns(study, rows, screening.targets, assist_states)
    ours = np.array([row["burn_m_s"] for row in rows])
    off, off_plain = np.abs(ours - shot), np.abs(plain - shot)
    print(  # noqa: T201
        f"off by {np.median(off):.4f} m/s (worst {off.max():.4f}); plain Lambert {np.median(off_plain):.3f}"
    )
    assert (off <= np.maximum(0.02 * shot, 0.5)).all()
    # what shooting in the map's field buys: centimetres a second
    assert np.median(off) < 0.02
    assert np.median(off_plain) > 10.0 * np.median(off)


def test_two_body_motherships_are_not_shot() -> None:
    ship = {"kind": "elements", "epoch": START_JD, "motion": "kepler"} | ELEMENTS
    table = screen(a_study(ship), invented_belt(20_000, 8), pool=Pool()).opportunities
    assert set(table["shot"].to_pylist()) == {0}
    r, v = (read_mothership(a_study(ship)).legs[0].states[:1, part] for part in (slice(0, 3), slice(3, 6)))
    later, _ = drift_states(r, v, 100.0 * DAY_S)
    np.testing.assert_allclose(read_mothership(a_study(ship)).legs[0].states[100, :3], later[0], atol=1e-3)
