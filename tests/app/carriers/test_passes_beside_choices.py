"""A choice of motherships whose probes pass a planet, too: one sweep of every kind, each run that of its study."""

import pytest

from swarm.app.carriers.together import run_carriers
from swarm.app.pipeline import Options, run_all
from swarm.run.folder import Run
from swarm.study.kind_names import SEARCHED
from tests.app.test_low_passes_in_a_front import HAREBELL, small
from tests.helpers.carrier_studies import BURNS, written
from tests.helpers.command_line import call

CHOICES = """
[mothership.choices]
grid = { "mothership.legs[1].date" = ["2036-01-01 TDB", "2035-12-22 TDB"] }
"""
FEW = {
    "bodies": "20_000", "altitudes_km": "[3000]", "release_days_before": "[150]", "clock_step_deg": "60",
    "slot_days": "40.0", "counts": "[]", "burn_limit_m_s": "600.0",
}  # fmt: skip


@pytest.mark.slow
def test_passes_and_flybys_of_each_mothership_are_those_of_its_own_run(tmp_path):
    path = written(tmp_path, CHOICES, base=small(HAREBELL, **FEW))
    run = run_carriers(path, tmp_path / "run", Options(workers=1))
    rows = run.read_table("carriers").to_pylist()
    assert [row["kept"] for row in rows] == [True, True]
    assert run.read_table("front").num_rows
    for row in rows:
        own = Run.open(tmp_path / "run" / "carriers" / f"c{row['carrier']:04d}")
        assert set(own.read_table("opportunities")["kind"].to_pylist()) == set(SEARCHED)
    alone = run_all(
        tmp_path / "run/studies/c0001.toml", tmp_path / "alone", Options(workers=1), until="front"
    )
    for name in ("opportunities", "passes", "places", "judged", "front", "plans", "bound"):
        table = f"{name}.parquet"
        there = tmp_path / "run/carriers/c0001" / table
        assert there.read_bytes() == (alone.folder / table).read_bytes(), name


def test_burns_of_the_mothership_are_not_asked_for_beside_passes(tmp_path):
    path = written(tmp_path, BURNS, base=HAREBELL)
    result = call("carriers", path, "--run", tmp_path / "run", "--workers", 1)
    assert result.exit_code == 2
    assert "mothership.retarget" in result.stderr
