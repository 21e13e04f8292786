"""What the mothership must do, counted by hand on two probes."""

import pyarrow as pa
import pytest

from swarm.refine.duties import mothership_duties, weekly_tracking_hours
from targets.base.constants import DAY_S
from tests.helpers.refined_arc import make_study

ROWS = [
    {"opportunity": k, "release_tdb_s": 0.0, "encounter_tdb_s": 70.0 * DAY_S,
     "spring_x_m_s": 0.5, "spring_y_m_s": 0.0, "spring_z_m_s": 0.0}
    for k in (3, 4)
]  # fmt: skip
RECOIL = pa.table({f"recoil_{axis}_m_s": [0.0, 0.03 if axis == "x" else 0.0] for axis in "xyz"})


def judged(relayed):
    return pa.table({"opportunity": [3, 4], "relayed": relayed})


def test_two_probes_let_go_the_same_way():
    """Eight hours a day for a week about each encounter, two probes: 112 h (the defaults)."""
    study = make_study(probe={"relay_hours_per_day": 2.0})
    said = mothership_duties(study, pa.Table.from_pylist(ROWS), RECOIL, judged([True, False]))
    for part in ("2 releases in 1 attitude", "0.030 m/s", "112.0 h", "relay for 1 probe", "14.0 h a week"):
        assert part in said
    assert "no relay" in mothership_duties(study, pa.Table.from_pylist(ROWS), RECOIL, judged([False, False]))


def test_weeks_add_up():
    hours = weekly_tracking_hours(make_study(), ROWS)
    assert sum(hours) == pytest.approx(2 * (4.0 * 63.0 / 7.0 + 8.0 * 14.0))


def test_nothing_to_do():
    study, none = make_study(), pa.Table.from_pylist(ROWS).slice(0, 0)
    assert mothership_duties(study, none, RECOIL, judged([False, False])) == "the mothership releases nothing"
