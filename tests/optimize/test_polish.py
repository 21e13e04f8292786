"""Releases between the slots: new rows at the end of the table, and a front that gains by them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from swarm.app.pipeline import Options, run_one, run_screen
from swarm.run.folder import Run
from tests.helpers.command_line import IN_THE_BELT

STUDY = (
    """
[study]
name = "polish"
seed = 4
start = "2031-03-01 TDB"
end = "2032-09-01 TDB"
[catalogue]
format = "invented"
bodies = 4000
"""
    + IN_THE_BELT
    + """[probe]
count = 3
wet_mass_kg = 12.0
burn_limit_m_s = 900.0
[search]
arc_max_days = 300.0
slot_days = 30.0
revolutions_max = 0
[optimize]
islands = 2
population = 16
epochs = 2
generations_per_epoch = 4
levels = 5
[[science.rows]]
name = "large"
where = { diameter_km_min = 1.0 }
threshold = 1
baseline = 3
"""
)


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Run, pa.Table]:
    """A run whose front was polished, and the opportunities as the screen left them."""
    base = tmp_path_factory.mktemp("polish")
    (base / "study.toml").write_text(STUDY, encoding="utf-8")
    screened = run_screen(base / "study.toml", base / "run", Options(1)).read_table("opportunities")
    return run_one("optimize", base / "run", Options(1)), screened


def test_new_rows_follow_the_old_ones_which_stay_as_they_were(runs: tuple[Run, pa.Table]) -> None:
    run, screened = runs
    table = run.read_table("opportunities")
    assert table.slice(0, screened.num_rows).equals(screened)
    assert run.read_table("opportunities", whole=False).equals(screened)
    assert table["opportunity"].to_pylist() == list(range(table.num_rows))
    assert table.slice(screened.num_rows).equals(run.read_table("polished"))
    assert run.read_table("polished").num_rows > 0
    assert run.read_table("polished").column_names == screened.column_names
    assert run.read_table("judged").num_rows == table.num_rows


def test_new_releases_lie_between_the_slots_near_a_release_of_the_front(runs: tuple[Run, pa.Table]) -> None:
    run, screened = runs
    table, start = run.read_table("opportunities"), run.study.study.start_jd_tdb
    new = table.slice(screened.num_rows)
    offset = (new["release_jd_tdb"].to_numpy() - start) / 7.5
    assert offset == pytest.approx(np.round(offset), abs=1e-6)
    assert not np.any(np.round(offset).astype(int) % 4 == 0)
    old = {}
    for row in screened.to_pylist():
        old.setdefault(row["target"], []).append(row["release_jd_tdb"])
    for row in new.to_pylist():
        assert min(abs(row["release_jd_tdb"] - at) for at in old[row["target"]]) < 30.0
        assert row["burn_m_s"] <= 900.0
        vector = [row[f"burn_{c}_m_s"] for c in "xyz"]
        assert np.linalg.norm(vector) == pytest.approx(row["burn_m_s"], rel=1e-12)
        assert run.read_table("targets")["target"][row["target_index"]].as_py() == row["target"]


def test_the_front_gains_and_the_bound_is_of_the_table_it_is_made_of(runs: tuple[Run, pa.Table]) -> None:
    run, screened = runs
    progress = run.read_table("convergence")
    last = {row["search"]: row["hypervolume"] for row in progress.to_pylist()}
    assert sorted(last) == [0, 1]
    assert last[1] > last[0] * 1.001
    used = set(run.read_table("plans")["opportunity"].to_pylist())
    assert any(number >= screened.num_rows for number in used)
    bound = run.read_table("bound")
    assert np.all(bound["science_best"].to_numpy() <= bound["science_upper"].to_numpy())
    summary = run.manifest["notes"]["summary"]
    assert summary["bounded"] == summary["usable"]
    assert (
        summary["bounded"] + sum(summary["removed"].values())
        == screened.num_rows + run.read_table("polished").num_rows
    )


def test_optimising_again_gives_the_same_bytes(runs: tuple[Run, pa.Table]) -> None:
    run, _ = runs
    files = [
        run.path(name)
        for name in (
            "opportunities",
            "polished",
            "judged",
            "polished_judged",
            "plans",
            "front",
            "bound",
            "convergence",
        )
    ]
    before = [Path(file).read_bytes() for file in files]
    run.manifest["stages"]["optimize"]["status"] = "stopped"
    run.save()
    run_one("optimize", run.folder, Options(2, resume=True))
    assert [Path(file).read_bytes() for file in files] == before


def test_a_finished_stage_is_kept_though_rows_follow_what_it_read(runs: tuple[Run, pa.Table]) -> None:
    run, _ = runs
    front = run.path("front")
    stamp = front.stat().st_mtime_ns
    run_one("optimize", run.folder, Options(1, resume=True))
    assert front.stat().st_mtime_ns == stamp
