"""The path of the demonstration Sorrel: made here, kept as an orbit ephemeris message beside its study.

`python -m tests.helpers.sorrel` writes it anew. An invented mothership falls past Jupiter and passes Europa on the way.
"""

from __future__ import annotations

import numpy as np

from swarm.reach.approach.about import field_about, index_of
from swarm.reach.approach.field import place_of, velocity_of
from targets.base.constants import DAY_S
from targets.base.timescale import tdb_s_from_jd
from targets.masses.massive import mass_named
from targets.masses.where import Ephemeris
from tests.helpers.demonstration_paths import flown_about, write_oem
from tests.helpers.places import ROOT

FILE = ROOT / "runs" / "sorrel" / "sorrel.oem"
MET_S = float(tdb_s_from_jd(2_465_000.25))
BEFORE_DAYS, AFTER_DAYS = 110.0, 20.0
# at the pass: 20.3 km/s about Jupiter, 5.7 km/s left of it far away; so high over Europa's lit side
SPEED_KM_S, HEIGHT_KM, INWARD = 20.3, 6000.0, 0.45


def path():
    """Epochs and heliocentric states, closer together where Jupiter is near."""
    planet, body, ephemeris = mass_named("Jupiter"), mass_named("Europa"), Ephemeris()
    span = MET_S - BEFORE_DAYS * DAY_S, MET_S + AFTER_DAYS * DAY_S
    field = field_about(planet, *span, ephemeris)
    r = np.array(place_of(index_of(body), MET_S, field))
    v = np.array(velocity_of(index_of(body), MET_S, field))
    out, along = r / np.linalg.norm(r), v / np.linalg.norm(v)
    wanted = SPEED_KM_S * (-INWARD * out + np.sqrt(1.0 - INWARD**2) * along)
    sunward, past = -ephemeris.about_sun(planet, np.array([MET_S]))[0, :3], wanted - v
    across = sunward - sunward @ past / (past @ past) * past
    start = np.concatenate([r + across / np.linalg.norm(across) * (body.radius_km + HEIGHT_KM), wanted])
    days = np.concatenate([
        np.arange(-BEFORE_DAYS, -12.0, 1.0), np.arange(-12.0, -2.0, 0.125), np.arange(-2.0, 2.0, 1.0 / 96.0),
        np.arange(2.0, 12.0, 0.125), np.arange(12.0, AFTER_DAYS + 0.5, 1.0),
    ])  # fmt: skip
    epochs = MET_S + days * DAY_S
    return epochs, flown_about(start, MET_S, epochs, field) + ephemeris.about_sun(planet, epochs)


if __name__ == "__main__":
    write_oem(FILE, "SORREL", "2036-001A", path())
