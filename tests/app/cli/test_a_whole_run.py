"""The chain on a tiny study: what it leaves, the same bytes, and going on where it stopped."""

import json
import shlex

import pytest

from swarm.run.folder import Run
from swarm.run.tables import made_by
from swarm.study.schema import read_study
from tests.helpers.command_line import TINY, call

OPPORTUNITY_COLUMNS = {
    "opportunity", "target", "kind", "release_jd_tdb", "burn_jd_tdb", "encounter_jd_tdb", "burn_m_s",
    "burn_x_m_s", "burn_y_m_s", "burn_z_m_s", "v_rel_km_s", "phase_in_deg", "sun_range_au",
    "earth_range_au", "sun_earth_probe_deg", "mothership_range_km",
}  # fmt: skip


def contents(folder):
    """Bytes of everything that must not depend on the machine's load: all but the manifest."""
    files = [path for path in sorted(folder.rglob("*")) if path.is_file() and path.name != "manifest.json"]
    return {str(path.relative_to(folder)): path.read_bytes() for path in files}


def answer(manifest_of):
    manifest = json.loads((manifest_of / "manifest.json").read_text(encoding="utf-8"))
    manifest.pop("timings_s")
    return manifest


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """The run others compare with, on one worker."""
    folder = tmp_path_factory.mktemp("whole")
    (folder / "study.toml").write_text(TINY, encoding="utf-8")
    result = call("run", folder / "study.toml", "--run", folder / "out", "--workers", 1, "--all")
    assert result.exit_code == 0, result.stderr
    return folder, result


def test_the_answer_says_how_many_images_are_hardly_worth_anything(whole):
    """The share of expected encounters under a tenth in quality, counted here from the tables."""
    folder, result = whole
    run = Run.open(folder / "out")
    chosen = run.manifest["notes"]["summary"]["plan"]
    flown = {row["opportunity"] for row in run.read_table("plans").to_pylist() if row["plan"] == chosen}
    seen = low = 0.0
    for row in run.read_table("judged").to_pylist():
        if row["opportunity"] in flown:
            sent = row["hardware"] * row["chance_returned"]
            seen += sent * row["shown_chance"]
            low += sent * row["chance_low_quality"]
    assert seen > 0.0
    assert f"{100 * low / seen:.0f} % show their target and hardly more" in result.stdout
    assert run.manifest["notes"]["summary"]["low_quality_share"] == pytest.approx(low / seen, rel=1e-12)


def test_the_run_folder_holds_the_tables_of_the_contract(whole):
    folder, _ = whole
    run = Run.open(folder / "out")
    for stage in run.manifest["stages"]:
        # what belongs to passes is there only where there are any, launch mass and costs where they are asked for
        some = {"launch_mass", "costs"}
        always = [
            made.file for made in made_by(stage) if not (made.widens or made.beside or made.name in some)
        ]
        assert [name for name in always if not (run.folder / name).exists()] == []
    assert set(run.read_table("opportunities").column_names) >= OPPORTUNITY_COLUMNS
    assert run.read_table("front").column_names[:5] == ["plan", "probes", "science", "propellant_kg", "risk"]
    assert set(run.read_table("plans").column_names) >= {
        "plan", "probe", "opportunity", "success", "propellant_kg",
    }  # fmt: skip
    assert {name: stage["status"] for name, stage in run.manifest["stages"].items()} == {
        "screen": "done",
        "judge": "done",
        "optimize": "done",
        "account": "done",
        "refine": "done",
        "handoff": "done",
        "report": "done",
    }
    assert (folder / "out" / "report.html").is_file()
    assert str(folder) not in (folder / "out" / "manifest.json").read_text(encoding="utf-8")


def test_the_summary_says_what_was_found_and_what_limits_it(whole):
    _, result = whole
    for text in (
        "bodies: 3000 read, 0 rows not taken",
        "in reach:",
        "most science",
        "chosen",
        "what limits it",
    ):
        assert text in result.stdout


def test_the_search_was_not_exhaustive(whole):
    # else the islands, whose repeatability is checked below, never ran
    folder, _ = whole
    assert Run.open(folder / "out").manifest["notes"]["summary"]["exact"] is False


@pytest.mark.parametrize("workers", [1, 2])
def test_the_same_bytes_again_and_on_two_workers(whole, swarm, tmp_path, workers):
    folder, _ = whole
    result = swarm("run", folder / "study.toml", "--run", tmp_path / "out", "--workers", workers)
    assert result.exit_code == 0, result.stderr
    assert contents(tmp_path / "out") == contents(folder / "out")
    first, second = answer(folder / "out"), answer(tmp_path / "out")
    first.pop("base"), second.pop("base")
    assert first == second


def test_stage_by_stage_gives_the_same_tables(whole, swarm, tmp_path):
    folder, _ = whole
    assert swarm("screen", folder / "study.toml", "--run", tmp_path / "out", "--workers", 1).exit_code == 0
    assert not (tmp_path / "out" / "front.parquet").exists()
    assert swarm("optimize", "--run", tmp_path / "out", "--workers", 1).exit_code == 0
    assert swarm("account", "--run", tmp_path / "out", "--workers", 1).exit_code == 0
    plan = Run.open(folder / "out").manifest["notes"]["refined"]["plan"]
    assert swarm("refine", "--run", tmp_path / "out", "--plan", plan, "--workers", 1).exit_code == 0
    handed = swarm("handoff", "--run", tmp_path / "out", "--plan", plan, "--workers", 1)
    assert handed.exit_code == 0, handed.stderr
    assert "read back within" in handed.stdout
    assert swarm("report", "--run", tmp_path / "out").exit_code == 0
    assert contents(tmp_path / "out") == contents(folder / "out")
    again = swarm("optimize", "--run", tmp_path / "out", "--workers", 1)
    assert again.exit_code == 2
    assert "already holds results" in again.stderr


def test_resuming_keeps_what_is_done_and_makes_what_is_not(whole, swarm, tmp_path, monkeypatch):
    folder, _ = whole
    arguments = ("run", folder / "study.toml", "--run", tmp_path / "out", "--workers", 1)

    def stopped(*arguments, **settings):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("swarm.app.stages.planning.optimize", stopped)
        result = swarm(*arguments)
    assert result.exit_code == 1
    assert "--resume" in result.stderr
    assert answer(tmp_path / "out")["stages"]["optimize"]["status"] == "stopped"
    assert swarm(*arguments).exit_code == 2
    with monkeypatch.context() as patch:
        patch.setattr("swarm.reach.opportunities.screen", stopped)
        assert swarm(*arguments, "--resume").exit_code == 0
        patch.setattr("swarm.app.stages.planning.optimize", stopped)
        assert swarm(*arguments, "--resume").exit_code == 0
    assert contents(tmp_path / "out") == contents(folder / "out")


def test_resuming_with_another_seed_searches_again_and_records_it(whole, swarm, tmp_path):
    folder, _ = whole
    arguments = ("run", folder / "study.toml", "--run", tmp_path / "out", "--workers", 1)
    assert swarm(*arguments, "--seed", 4).exit_code == 0
    seeded = answer(tmp_path / "out")
    assert (seeded["seed"], seeded["seed_override"]) == (4, 4)
    assert swarm(*arguments, "--resume").exit_code == 0
    assert contents(tmp_path / "out") == contents(folder / "out")
    assert answer(tmp_path / "out")["seed"] == 3


def test_check_prints_every_value_with_unit_and_source(swarm, tiny):
    result = swarm("check", tiny(), "--all")
    assert result.exit_code == 0
    rows = dict(line.split("\t", 1) for line in result.stdout.splitlines())
    assert rows["probe.burn_limit_m_s"] == "1200\tm/s\tstudy file"
    assert rows["probe.isp_s"].startswith("220\ts\tagency")


def test_help_and_version(swarm):
    listed = swarm("--help").stdout
    for command in ("check", "screen", "optimize", "run", "report"):
        assert command in listed
    assert swarm("--version").stdout.strip() == "0.1.0"


def test_a_run_stops_after_the_front_and_goes_on_to_the_same_bytes(whole, swarm, tmp_path):
    folder, _ = whole
    arguments = ("run", folder / "study.toml", "--run", tmp_path / "out", "--workers", 1)
    stopped = swarm(*arguments, "--until", "front")
    assert stopped.exit_code == 0, stopped.stderr
    assert list(answer(tmp_path / "out")["stages"]) == ["judge", "optimize", "screen"]
    left, command = stopped.stdout.splitlines()[-1].split("; go on with: ")
    assert (
        left == "not run yet: account, refine, handoff, report"
    )  # the study asks for no counts and no sensitivities
    assert shlex.split(command) == ["swarm", *map(str, arguments), "--resume"]
    assert "% of the science asked for" in stopped.stdout
    assert stopped.stdout.splitlines()[7].startswith("page         not made yet")
    assert swarm(*shlex.split(command)[1:]).exit_code == 0
    assert contents(tmp_path / "out") == contents(folder / "out")


@pytest.mark.parametrize(
    ("until", "said"), [("page", "no such stage"), ("compare", "the study names no probe counts")]
)
def test_a_run_cannot_stop_after_what_is_no_stage_of_it(tiny, swarm, tmp_path, until, said):
    result = swarm("run", tiny(), "--run", tmp_path / "out", "--workers", 1, "--until", until)
    assert result.exit_code == 2
    assert said in result.stderr
    assert not list(tmp_path.glob("out/*.parquet"))


def test_a_stage_is_printed_when_it_is_done(tiny, swarm, tmp_path, monkeypatch):
    def stopped(*arguments, **settings):
        raise KeyboardInterrupt

    monkeypatch.setattr("swarm.app.stages.refining.refine_plan", stopped)
    result = swarm("run", tiny(), "--run", tmp_path / "out", "--workers", 1, "--all")
    assert result.exit_code == 1
    assert "front (chosen by rule" in result.stdout
    assert "of a proven bound" in result.stdout


def test_a_run_prints_eight_lines_and_everything_on_request(whole, swarm):
    """Each number of the eight lines, read from the tables here; nothing that --all prints is lost from the folder."""
    folder, result = whole
    run = Run.open(folder / "out")
    shown = swarm("explain", "--run", folder / "out").stdout.splitlines()
    assert [line[:11].strip() for line in shown[:8]] == [
        "in reach", "plan", "worth", "mass", "limited by", "rests on", "decide next", "page",
    ]  # fmt: skip
    summary = run.manifest["notes"]["summary"]
    row = next(row for row in run.read_table("front").to_pylist() if row["plan"] == summary["plan"])
    assert f"{summary['targets']} of 3 000 bodies" in shown[0]
    assert f"plan {row['plan']} of {run.read_table('front').num_rows}" in shown[1]
    assert f"flies {row['probes']} of {run.study.probe.count} probes" in shown[1]
    assert f"{100 * row['science']:.0f} % of the science" in shown[2]
    assert f"{100 * row['cvar10_science']:.0f} % in the worst tenth" in shown[2]
    assert f"({100 * row['risk']:.0f} %)" in shown[2]
    probe, margins = run.study.probe, run.study.margins  # no own density of designs in the tiny study
    most = (
        probe.wet_mass_kg * (1.0 + margins.probe_maturity_fraction)
        + probe.dispenser_kg * (1.0 + margins.dispenser_maturity_fraction)
    ) * (1.0 + margins.system_fraction)
    assert f"{row['probes'] * most:.0f} kg with margins" in shown[3]
    assert str(folder / "out" / "report.html") in shown[7]
    assert result.stdout.splitlines()[-len(shown) :] == shown
    everything = swarm("explain", "--run", folder / "out", "--all").stdout.splitlines()
    assert set(result.stdout.splitlines()) == {*everything, *shown}


def test_two_things_are_not_explained_at_a_time(whole, swarm):
    folder, _ = whole
    result = swarm("explain", "--run", folder / "out", "--plan", 1, "--all")
    assert result.exit_code == 2
    assert "one thing is explained at a time" in result.stderr


def test_check_sums_a_study_up(swarm, tiny):
    lines = dict(line.split("  ", 1) for line in swarm("check", tiny()).stdout.splitlines())
    assert lines["bodies"].strip() == f"3000 invented bodies, seed {read_study(tiny()).catalogue.seed}"
    assert lines["path"].strip().startswith("elements, 2.25 to 2.75 au from the Sun")
    assert lines["dates"].strip() == "2031-03-01 to 2032-09-01 TDB, 1.5 years"
