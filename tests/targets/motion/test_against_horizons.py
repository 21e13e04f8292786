"""The map against JPL Horizons: 28 named bodies over 60 days (tests/authorities/horizons_states_60_days.csv)."""

from __future__ import annotations

import csv
from itertools import groupby

import numpy as np
import pytest

from targets.base.constants import AU_KM, DAY_S
from targets.base.frames import icrf_from_ecliptic
from targets.base.timescale import tdb_s_from_jd
from targets.ephemeris.planets import BODIES, sample_planets
from targets.motion.perturbed import march
from tests.helpers.places import AUTHORITIES

AUTHORITY = AUTHORITIES / "horizons_states_60_days.csv"


def tracks() -> list[tuple[str, np.ndarray, np.ndarray]]:
    with AUTHORITY.open() as stream:
        rows = list(csv.DictReader(line for line in stream if not line.startswith("#")))
    out = []
    for name, members in groupby(rows, key=lambda row: row["object_id"]):
        part = list(members)
        epochs = tdb_s_from_jd(np.array([float(row["mjd_tdb"]) for row in part]) + 2400000.5)
        au = np.array([[float(row[c]) for c in ("x", "y", "z", "vx", "vy", "vz")] for row in part])
        km = au * np.array([AU_KM] * 3 + [AU_KM / DAY_S] * 3)
        out.append((name, epochs, np.hstack([icrf_from_ecliptic(km[:, :3]), icrf_from_ecliptic(km[:, 3:])])))
    return out


@pytest.mark.parametrize("track", tracks(), ids=lambda track: track[0])
def test_sixty_days_of(track: tuple[str, np.ndarray, np.ndarray]) -> None:
    name, epochs, states = track
    planets = sample_planets(epochs[0], epochs[-1])
    for k in (1, 2):
        moved, _ = march(states[:1], float(epochs[0]), float(epochs[k]), planets=planets, step_s=8.0 * DAY_S)
        off_km = np.linalg.norm(moved[0, :3] - states[k, :3])
        # Other small bodies and outgassing are not in the map. 1I is the one here with a measured push of its own
        # (Micheli et al. 2018, Nature 559:223: 5e-6 m/s^2 at 1 au, from memory), 1.3 to 2.6 au from the Sun on these
        # dates: a t^2 / 2 is some 25 000 km.
        assert off_km < (3e4 if name.startswith("1I/") else 20.0)


def test_sixty_days_without_planets_are_far_off() -> None:
    off = []
    for _, epochs, states in tracks():
        planets = sample_planets(epochs[0], epochs[-1]).without(*(name for _, name, _ in BODIES))
        moved, _ = march(states[:1], float(epochs[0]), float(epochs[2]), planets=planets)
        off.append(np.linalg.norm(moved[0, :3] - states[2, :3]))
    assert np.median(off) > 500.0
