"""A mothership from elements: one leg over the study, moved under the planets or as two-body."""

import numpy as np
import pytest

from swarm.reach.mothership.sources import epochs_needed_tdb_s, mothership_of
from targets.base.constants import DAY_S
from targets.base.timescale import tdb_s_from_jd
from tests.helpers.quiet_motherships import END_TDB_S, START, START_TDB_S, orbit, study_of

ELEMENTS = {
    "kind": "elements", "epoch": START, "a_au": 2.3, "e": 0.1, "i_deg": 8.0, "node_deg": 40.0, "argp_deg": 120.0,
    "mean_anomaly_deg": 15.0,
}  # fmt: skip


@pytest.mark.parametrize(("motion", "off_km"), [("kepler", 1e-3), ("perturbed", 3e5)])
def test_one_leg_over_the_study(planet_table, motion, off_km):
    ship = mothership_of(study_of({**ELEMENTS, "motion": motion}), planet_table)
    (path,) = ship.legs
    assert ship.flybys == ()
    assert ship.notes == ()
    assert ship.source_sha256 is None
    assert path.start_tdb_s == START_TDB_S
    assert path.epochs_tdb_s[-1] >= END_TDB_S
    epochs = START_TDB_S + np.array([0.0, 100.3, 365.0]) * DAY_S
    distance = np.linalg.norm((path.at(epochs) - orbit(epochs))[:, :3], axis=1)
    assert distance[0] < 1e-3
    assert distance.max() < off_km
    if motion == "perturbed":
        assert distance[2] > 1e3  # the planets do pull


def test_the_epochs_a_table_of_planets_must_cover():
    study = study_of({**ELEMENTS, "epoch": 2461000.5})
    assert epochs_needed_tdb_s(study) == (START_TDB_S, END_TDB_S, float(tdb_s_from_jd(2461000.5)))
    assert epochs_needed_tdb_s(study_of({"kind": "oem", "file": "a.oem"})) == (START_TDB_S, END_TDB_S)
