"""The prepared catalogue between runs: the same bytes from cache or not; stale and damaged files are remade."""

from __future__ import annotations

import os

import numpy as np
import pytest

from swarm.reach.opportunities import screen
from swarm.reach.screen import prepared_cache
from swarm.reach.screen.prepared_cache import drop_oldest, fingerprint, load_or_prepare
from swarm.run.workers import Pool
from targets.catalogue.invented import invented_belt
from targets.ephemeris.planets import sample_planets
from targets.motion.perturbed import Prepared
from tests.helpers.belt_study import belt_study


@pytest.fixture
def cache(tmp_path, monkeypatch):
    monkeypatch.setenv("SWARM_CACHE_DIR", str(tmp_path))
    return tmp_path / "prepared"


def prepared(value: float = 1.0) -> Prepared:
    return Prepared(np.array([0.0, 1.0]), np.full((2, 3, 6), value), np.full((2, 3), value))


def test_what_was_kept_is_what_was_made(cache) -> None:
    made, how = load_or_prepare("a", prepared)
    assert how == "made"
    kept, how = load_or_prepare("a", lambda: prepared(2.0))
    assert how == "kept"
    assert np.array_equal(kept.states, made.states)


@pytest.mark.parametrize("damage", ["truncated", "flipped", "other file", "empty"])
def test_a_damaged_file_is_made_again(cache, damage: str) -> None:
    load_or_prepare("a", prepared)
    path = cache / "a.npz"
    data = bytearray(path.read_bytes())
    if damage == "truncated":
        data = data[: len(data) // 2]
    elif damage == "flipped":
        at = data.find(np.full(3, 1.0).tobytes()) + 5
        data[at] ^= 0x10
    elif damage == "other file":
        data = bytearray(b"not a cache at all")
    else:
        data = bytearray()
    path.write_bytes(data)
    again, how = load_or_prepare("a", lambda: prepared(3.0))
    assert how == "remade"
    assert (again.states == 3.0).all()
    assert load_or_prepare("a", prepared)[1] == "kept"


def test_anything_that_matters_changes_the_name() -> None:
    planets = sample_planets(0.0, 1e7)
    base = {"epochs_tdb_s": np.zeros(3), "states": np.ones((3, 6)), "planets": planets}
    span = {"span_tdb_s": (0.0, 1.0), "step_s": 10.0}
    names = {
        fingerprint(**base, **span),
        fingerprint(**(base | {"states": np.full((3, 6), 1.0 + 1e-15)}), **span),
        fingerprint(**(base | {"epochs_tdb_s": np.full(3, 1.0)}), **span),
        fingerprint(**(base | {"planets": planets.without("Jupiter")}), **span),
        fingerprint(**base, **(span | {"step_s": 11.0})),
        fingerprint(**base, **(span | {"span_tdb_s": (0.0, 2.0)})),
    }
    assert len(names) == 6
    assert fingerprint(**base, **span) in names


def test_the_cache_stays_under_its_size(cache) -> None:
    for k, name in enumerate("abcd"):
        load_or_prepare(name, prepared)
        os.utime(cache / f"{name}.npz", (k, k))
    size = (cache / "a.npz").stat().st_size
    drop_oldest(2 * size)
    assert sorted(path.name for path in cache.iterdir()) == ["c.npz", "d.npz"]


def test_the_screen_is_the_same_with_a_cold_a_warm_and_a_damaged_cache(cache) -> None:
    belt = invented_belt(20_000, 3)
    cold = screen(belt_study(), belt, pool=Pool())
    warm = screen(belt_study(), belt, pool=Pool())
    files = list(cache.glob("*.npz"))
    assert files
    for path in files:
        path.write_bytes(path.read_bytes()[:1000])
    damaged = screen(belt_study(), belt, pool=Pool())
    assert warm.opportunities.equals(cold.opportunities)
    assert damaged.opportunities.equals(cold.opportunities)
    assert any("made again" in note for note in damaged.notes)
    assert not warm.notes
    assert prepared_cache.MOST_BYTES > 2**30
