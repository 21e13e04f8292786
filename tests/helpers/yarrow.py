"""The path of the demonstration Yarrow: made here, kept as an orbit ephemeris message beside its study.

`python -m tests.helpers.yarrow` writes it anew. An invented mothership falls past the Earth slowly, and passes the Moon
on its way.
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

FILE = ROOT / "runs" / "yarrow" / "yarrow.oem"
MET_S = float(tdb_s_from_jd(2_463_400.25))
BEFORE_DAYS, AFTER_DAYS = 40.0, 10.0
# slow by the Moon and with it, so that it is left behind the Earth by little; high over its trailing side
V_INF_KM_S, HEIGHT_KM, OUTWARD = 0.8, 8000.0, 0.25


def path():
    """Epochs and heliocentric states, closer together where the Moon is near."""
    planet, body, ephemeris = mass_named("Earth"), mass_named("Moon"), Ephemeris()
    span = MET_S - BEFORE_DAYS * DAY_S, MET_S + AFTER_DAYS * DAY_S
    field = field_about(planet, *span, ephemeris)
    r = np.array(place_of(index_of(body), MET_S, field))
    v = np.array(velocity_of(index_of(body), MET_S, field))
    out, along = r / np.linalg.norm(r), v / np.linalg.norm(v)
    north = np.cross(out, along)
    distance = body.radius_km + HEIGHT_KM
    speed = np.sqrt(V_INF_KM_S**2 + 2.0 * body.gm_km3_s2 / distance)
    wanted = v + speed * (OUTWARD * out + np.sqrt(1.0 - OUTWARD**2) * along)
    past = wanted - v
    across = north - north @ past / (past @ past) * past
    start = np.concatenate([r + across / np.linalg.norm(across) * distance, wanted])
    days = np.concatenate([
        np.arange(-BEFORE_DAYS, -12.0, 0.5), np.arange(-12.0, -2.0, 0.125), np.arange(-2.0, 2.0, 1.0 / 96.0),
        np.arange(2.0, AFTER_DAYS + 0.1, 0.125),
    ])  # fmt: skip
    epochs = MET_S + days * DAY_S
    return epochs, flown_about(start, MET_S, epochs, field) + ephemeris.about_sun(planet, epochs)


if __name__ == "__main__":
    write_oem(FILE, "YARROW", "2032-001A", path())
