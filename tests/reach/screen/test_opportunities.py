"""What an opportunity says of itself, checked by flying it: burns lead to the target, geometry is recomputed."""

from __future__ import annotations

import numpy as np
import pytest

from swarm.reach.opportunities import Screening, burn_slots, screen
from swarm.run.workers import Pool
from targets.base.constants import AU_KM, DAY_S
from targets.base.errors import NothingFeasible
from targets.base.timescale import tdb_s_from_jd
from targets.catalogue.invented import invented_belt
from targets.catalogue.reading import Catalogue
from targets.ephemeris import spice
from targets.ephemeris.planets import sample_planets
from targets.motion.perturbed import march
from targets.motion.twobody import drift_states
from tests.helpers.belt_study import belt_study


@pytest.fixture(scope="module")
def belt() -> Catalogue:
    return invented_belt(20_000, 3)


@pytest.fixture(scope="module")
def perturbed(belt: Catalogue) -> Screening:
    return screen(belt_study(), belt, pool=Pool())


def columns(screening: Screening) -> dict[str, np.ndarray]:
    table = screening.opportunities
    return {name: table[name].to_numpy(zero_copy_only=False) for name in table.column_names}


def path_states(screening: Screening) -> np.ndarray:
    names = ("x_km", "y_km", "z_km", "vx_km_s", "vy_km_s", "vz_km_s")
    return np.column_stack([screening.path[name].to_numpy() for name in names])


def test_each_burn_flown_under_the_planets_meets_the_target(perturbed: Screening, belt: Catalogue) -> None:
    """Mothership to the burn, burn, and the probe's arc in the full field of the map; the target likewise."""
    study, c = belt_study(), columns(perturbed)
    start = float(tdb_s_from_jd(study.study.start))
    planets = sample_planets(
        min(start, float(tdb_s_from_jd(2460900.5))), float(tdb_s_from_jd(study.study.end)) + DAY_S
    )
    path = path_states(perturbed)
    epochs, r, v = perturbed.targets.states()
    off_km, off_m_s = [], []
    for k in np.random.default_rng(1).permutation(len(c["target"]))[:60]:
        burn_s, encounter_s = c["burn_tdb_s"][k], c["encounter_tdb_s"][k]
        state, _ = march(path[:1], start, burn_s, planets=planets, step_s=8.0 * DAY_S)
        state[0, 3:] += 1e-3 * np.array([c[f"burn_{axis}_m_s"][k] for axis in "xyz"])
        probe, _ = march(state, burn_s, encounter_s, planets=planets, step_s=8.0 * DAY_S)
        t = c["target_index"][k]
        body, _ = march(
            np.hstack([r[t], v[t]])[None], epochs[t], encounter_s, planets=planets, step_s=8.0 * DAY_S
        )
        relative = probe[0] - body[0]
        # only the part across the relative velocity costs anything: arrival time is free
        along = relative[3:] / np.linalg.norm(relative[3:])
        miss_km = np.linalg.norm(relative[:3] - (relative[:3] @ along) * along)
        off_km.append(miss_km)
        off_m_s.append(1e3 * miss_km / (encounter_s - burn_s))
        assert np.linalg.norm(relative[3:]) == pytest.approx(c["v_rel_km_s"][k], abs=0.02)
    # the pull of the planets on the probe differs from that on the mothership: cm/s, not m/s
    assert np.median(off_m_s) < 0.05
    assert np.max(off_m_s) < 0.5


def test_burn_is_the_length_of_its_components_and_within_the_limit(perturbed: Screening) -> None:
    c = columns(perturbed)
    length = np.sqrt(sum(c[f"burn_{axis}_m_s"] ** 2 for axis in "xyz"))
    np.testing.assert_allclose(c["burn_m_s"], length, rtol=1e-14)
    assert c["burn_m_s"].max() <= 150.0
    assert (c["kind"] == "flyby").all()
    assert np.array_equal(c["opportunity"], np.arange(len(length)))


def test_dates_are_on_the_slots_and_arcs_within_their_limits(perturbed: Screening) -> None:
    study, c = belt_study(), columns(perturbed)
    slots = (c["release_jd_tdb"] - study.study.start) / study.search.slot_days
    np.testing.assert_allclose(slots, np.round(slots), atol=1e-6)
    np.testing.assert_allclose(c["burn_jd_tdb"] - c["release_jd_tdb"], study.probe.checkout_days, atol=1e-8)
    arcs = c["encounter_jd_tdb"] - c["burn_jd_tdb"]
    assert arcs.min() >= study.search.arc_min_days - 1e-6
    assert arcs.max() <= study.search.arc_max_days + 1e-6
    assert c["encounter_jd_tdb"].max() <= study.study.end + 1e-6
    assert set(c["burn_tdb_s"]) <= set(burn_slots(study))


def test_geometry_by_spice_and_plain_angles(perturbed: Screening) -> None:
    c = columns(perturbed)
    target = np.column_stack([c[f"target_{axis}_km"] for axis in "xyz"])
    v_rel = np.column_stack([c[f"v_rel_{axis}_km_s"] for axis in "xyz"])
    earth = spice.sample(399, c["encounter_tdb_s"])[:, :3]
    to_target = target - earth

    def angle(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        cosine = np.einsum("ij,ij->i", a, b) / np.linalg.norm(a, axis=1) / np.linalg.norm(b, axis=1)
        return np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))

    np.testing.assert_allclose(c["sun_range_au"], np.linalg.norm(target, axis=1) / AU_KM, rtol=1e-12)
    np.testing.assert_allclose(c["earth_range_au"], np.linalg.norm(to_target, axis=1) / AU_KM, rtol=1e-7)
    np.testing.assert_allclose(c["sun_earth_probe_deg"], angle(-earth, to_target), atol=1e-4)
    # at the target, between the Sun and the side the probe comes from
    np.testing.assert_allclose(c["phase_in_deg"], angle(-target, -v_rel), atol=1e-5)


def test_a_kepler_mothership_gives_plain_lambert_arcs(belt: Catalogue) -> None:
    screening = screen(belt_study("kepler"), belt, pool=Pool())
    c = columns(screening)
    path = path_states(screening)
    start = float(tdb_s_from_jd(belt_study().study.start))
    for k in range(0, len(c["target"]), max(1, len(c["target"]) // 40)):
        at_burn = np.hstack(drift_states(path[:1, :3], path[:1, 3:], c["burn_tdb_s"][k] - start))[0]
        at_burn[3:] += 1e-3 * np.array([c[f"burn_{axis}_m_s"][k] for axis in "xyz"])
        end, speed = drift_states(
            at_burn[None, :3], at_burn[None, 3:], c["encounter_tdb_s"][k] - c["burn_tdb_s"][k]
        )
        target = np.array([c[f"target_{axis}_km"][k] for axis in "xyz"])
        assert np.linalg.norm(end[0] - target) < 1.0  # km
        assert c["mothership_range_km"][k] > 0.0
        assert np.isfinite(speed).all()


def test_chunks_do_not_matter(perturbed: Screening, belt: Catalogue) -> None:
    study = belt_study()
    other = study.model_copy(update={"search": study.search.model_copy(update={"chunk_bodies": 999})})
    assert screen(other, belt, pool=Pool()).opportunities.equals(perturbed.opportunities)


def test_nothing_in_reach_names_the_limit(belt: Catalogue) -> None:
    with pytest.raises(NothingFeasible, match=r"burn_limit_m_s = 0\.001") as error:
        screen(belt_study(burn_limit_m_s=0.001), belt.take(np.arange(200)), pool=Pool())
    assert "reach" in error.value.what or "near" in error.value.what


def test_no_time_for_an_arc_names_the_dates(belt: Catalogue) -> None:
    study = belt_study()
    short = study.model_copy(
        update={"study": study.study.model_copy(update={"end": study.study.start + 20.0})}
    )
    with pytest.raises(NothingFeasible, match="arc_min_days"):
        screen(short, belt, pool=Pool())
