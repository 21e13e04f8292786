"""Three of four probes cannot be refined, each for another reason: named everywhere, the fourth is handed over."""

import json
import shutil
from dataclasses import replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pytest

from swarm.refine import stretches
from swarm.refine.nbody import Lost, make_field, place
from swarm.run.folder import Run, sha256_of
from targets.base.constants import AU_KM, DAY_S, GM_SUN_KM3_S2
from targets.base.frames import ecliptic_from_icrf
from targets.base.timescale import jd_from_tdb_s
from targets.catalogue.reading import Catalogue
from targets.motion.twobody import elements_from_states
from tests.helpers.command_line import call
from tests.helpers.written import write_some

YEAR_2700_S = 700.0 * 365.25 * DAY_S


def opportunities_of(run, plan):
    plans = run.read_table("plans")
    return plans.filter(pc.equal(plans["plan"], plan))["opportunity"].to_pylist()


def beside_the_earth(body: Catalogue, tdb_s: float) -> Catalogue:
    """A body that passes 500 000 km from the Earth at an epoch: half of the sphere of influence."""
    earth = place(make_field(tdb_s - DAY_S, tdb_s + DAY_S), "Earth", tdb_s)[0]
    r, v = earth[:3] + np.array([5e5, 0.0, 0.0]), earth[3:] + np.array([0.0, 0.0, 3.0])
    found = elements_from_states(
        ecliptic_from_icrf(r[None]), ecliptic_from_icrf(v[None]), mu_km3_s2=GM_SUN_KM3_S2
    )
    a_km, e, i, node, argp, true = (np.asarray(value) for value in found)
    eccentric = 2.0 * np.arctan(np.sqrt((1.0 - e) / (1.0 + e)) * np.tan(0.5 * true))
    mean = eccentric - e * np.sin(eccentric)
    i, node, argp, mean = (np.degrees(angle) for angle in (i, node, argp, mean))
    return replace(
        body, epoch_jd_tdb=np.array([float(jd_from_tdb_s(tdb_s))]), a_au=a_km / AU_KM, e=e, i_deg=i, node_deg=node,
        argp_deg=argp, mean_anomaly_deg=mean % 360.0,
    )  # fmt: skip


def with_rows(targets: Catalogue, rows: dict[int, Catalogue]) -> pa.Table:
    parts = [rows.get(k, targets.take(np.array([k]))).to_table() for k in range(len(targets))]
    return pa.concat_tables(parts)


@pytest.fixture(scope="module")
def spoilt(searched, largest, tmp_path_factory):
    """The run folder with the second, third and fourth probe's targets and dates changed behind the search's back."""
    folder = tmp_path_factory.mktemp("lost") / "out"
    shutil.copytree(searched, folder)
    run = Run.open(folder)
    table, targets = run.read_table("opportunities"), Catalogue.from_table(run.read_table("targets"))
    rows = {row["opportunity"]: row for row in table.to_pylist()}
    _, near, gone, late = (rows[number] for number in opportunities_of(run, largest))
    other_side = targets.take(np.array([gone["target_index"]]))
    changed = {
        near["target_index"]: beside_the_earth(
            targets.take(np.array([near["target_index"]])), near["encounter_tdb_s"]
        ),
        gone["target_index"]: replace(
            other_side, mean_anomaly_deg=(other_side.mean_anomaly_deg + 180.0) % 360.0
        ),
    }
    dates = np.array(table["encounter_tdb_s"].to_numpy())
    dates[table["opportunity"].to_pylist().index(late["opportunity"])] = YEAR_2700_S
    table = table.set_column(table.column_names.index("encounter_tdb_s"), "encounter_tdb_s", pa.array(dates))
    write_some(run, "targets", with_rows(targets, changed))
    screened = run.read_table("opportunities", whole=False).num_rows
    write_some(run, "opportunities", table.slice(0, screened))
    write_some(run, "polished", table.slice(screened))
    # tables that are not as their stage left them are refused: these are said to be
    for entry in run.manifest["stages"].values():
        entry["made"] = {name: sha256_of(folder / name) for name in entry["made"]}
    run.save()
    return folder


REASONS = {
    1: "inside the sphere of influence of Earth",
    2: "no burn was found",
    3: "an epoch outside the kernel",
}


def test_each_is_named_and_the_rest_is_finished(spoilt, largest):
    refined = call("refine", "--run", spoilt, "--plan", largest, "--workers", 1)
    assert refined.exit_code == 0, refined.stderr
    handed = call("handoff", "--run", spoilt, "--plan", largest, "--workers", 1)
    assert handed.exit_code == 0, handed.stderr
    manifest = json.loads((spoilt / "manifest.json").read_text(encoding="utf-8"))
    assert Run.open(spoilt).read_table("refined")["probe"].to_pylist() == [0]
    readme = (spoilt / "handoff" / "README.txt").read_text(encoding="utf-8")
    for probe, reason in REASONS.items():
        assert reason in manifest["notes"]["refined"]["not_refined"][str(probe)]
        assert reason in manifest["notes"]["handoff"]["not_refined"][str(probe)]
        assert any(f"probe {probe} " in said and reason in said for said in manifest["warnings"])
        assert f"probe {probe:>2}: not refined: " in refined.stdout
        assert any(f"probe {probe:02d}: " in line and reason in line for line in readme.splitlines())
    names = {file.name for file in (spoilt / "handoff").iterdir()}
    assert {"probe_00.oem", "probe_00_release.opm", "probe_00_after_burn.opm", "plan.bsp"} < names
    assert not [name for name in names if name.startswith("probe_01")]
    assert "read back within" in handed.stdout
    assert "not in it, and why (README.txt): probes 1, 2, 3" in handed.stdout


def test_a_probe_whose_path_cannot_be_written_costs_the_others_nothing(
    searched, largest, tmp_path, monkeypatch
):
    shutil.copytree(searched, tmp_path / "out")
    whole = stretches.probe_stretches

    def but_the_second(field, made):
        if made.arc.probe == 1:
            raise Lost("a body is hit")
        return whole(field, made)

    monkeypatch.setattr(stretches, "probe_stretches", but_the_second)
    result = call("handoff", "--run", tmp_path / "out", "--plan", largest, "--workers", 1)
    assert result.exit_code == 0, result.stderr
    run = Run.open(tmp_path / "out")
    said = "path up to a day after the encounter: a body is hit"
    assert any(said in warning and "probe 1" in warning for warning in run.manifest["warnings"])
    assert run.manifest["notes"]["handoff"]["not_refined"] == {"1": said}
    names = {entry.name for entry in (tmp_path / "out" / "handoff").iterdir()}
    assert {"probe_00.oem", "probe_02.oem", "probe_03.oem"} <= names
    assert "probe_01.oem" not in names
    assert said in " ".join((tmp_path / "out" / "handoff" / "README.txt").read_text(encoding="utf-8").split())
