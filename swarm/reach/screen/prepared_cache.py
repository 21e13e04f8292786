"""Prepared catalogues kept between runs, in the user's cache folder: rebuilt, never trusted, when stale or damaged.

A file is found by a hash of everything it depends on, so a stale one is not found; its contents carry checksums
(those of the zip container), so a damaged one is noticed while it is read. Either way the catalogue is prepared
again. Results never depend on the cache.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np

from swarm.run.kernel_cache import user_cache
from targets.ephemeris.planets import PlanetTable
from targets.motion.perturbed import METHOD, Prepared

MOST_BYTES = 8 * 2**30


def fingerprint(
    epochs_tdb_s: np.ndarray,
    states: np.ndarray,
    planets: PlanetTable,
    *,
    span_tdb_s: tuple[float, float],
    step_s: float,
) -> str:
    """Hash of what a prepared chunk depends on: bodies, dates, field, method."""
    digest = hashlib.sha256(f"{METHOD} {np.__version__} {span_tdb_s!r} {step_s!r}".encode())
    for part in (
        epochs_tdb_s,
        states,
        planets.gm_km3_s2,
        planets.states[:, :: max(1, planets.states.shape[1] // 8)],
    ):
        digest.update(np.ascontiguousarray(part).tobytes())
    return digest.hexdigest()[:32]


def load_or_prepare(key: str, build: Callable[[], Prepared]) -> tuple[Prepared, str]:
    """The prepared chunk and how it was had: "kept", "made", or "remade" where what was kept is damaged."""
    path = _folder() / f"{key}.npz"
    had = "made"
    try:
        with path.open("rb") as stream, np.load(stream, allow_pickle=False) as kept:
            prepared = Prepared(kept["nodes_tdb_s"], kept["states"], kept["allowance_km"])
        if prepared.states.shape[:2] == prepared.allowance_km.shape and len(prepared.nodes_tdb_s) == len(
            prepared.states
        ):
            with contextlib.suppress(OSError):
                os.utime(path)
            return prepared, "kept"
        had = "remade"
    except FileNotFoundError:
        pass
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        had = "remade"
    prepared = build()
    _keep(path, prepared)
    return prepared, had


def _folder() -> Path:
    return user_cache() / "prepared"


def _keep(path: Path, prepared: Prepared) -> None:
    """Write beside and rename; a cache that cannot be written is only slower."""
    beside = path.with_name(f"{path.name}.{os.getpid()}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with beside.open("wb") as stream:
            np.savez(
                stream,
                nodes_tdb_s=prepared.nodes_tdb_s,
                states=prepared.states,
                allowance_km=prepared.allowance_km,
            )
        beside.replace(path)
    except OSError:
        with contextlib.suppress(OSError):
            beside.unlink()


def drop_oldest(most_bytes: int = MOST_BYTES) -> None:
    """Keep the cache under a size: what was used longest ago goes first."""
    with contextlib.suppress(OSError):
        files = sorted((path.stat().st_mtime, path.stat().st_size, path) for path in _folder().glob("*.npz*"))
        total = sum(size for _, size, _ in files)
        for _, size, path in files:
            if total <= most_bytes:
                return
            path.unlink(missing_ok=True)
            total -= size
