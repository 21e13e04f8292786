"""Run folders: same bytes, whole files, and questions across runs."""

import json
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from swarm.run.folder import SCHEMA, Run, require_free
from swarm.run.questions import question
from targets.base.errors import InputError
from tests.helpers.places import FIREWEED
from tests.helpers.written import write_some


def front(science):
    return pa.table({"plan": [0, 1], "probes": [0, 3], "science": [0.0, science]})


def test_the_study_is_kept_as_read_with_its_folder_relative(tmp_path):
    run = Run.create(tmp_path / "run", FIREWEED)
    assert (run.folder / "study.toml").read_bytes() == FIREWEED.read_bytes()
    assert Run.open(run.folder).study == run.study
    assert (run.folder / run.manifest["base"]).resolve() == FIREWEED.parent
    assert not Path(run.manifest["base"]).is_absolute()


def test_the_same_table_gives_the_same_bytes(tmp_path):
    first, second = (Run.create(tmp_path / name, FIREWEED) for name in ("a", "b"))
    write_some(first, "front", front(0.5))
    chunked = pa.concat_tables([front(0.5).slice(0, 1), front(0.5).slice(1)])
    write_some(second, "front", chunked.replace_schema_metadata({"pandas": "x"}))
    assert first.path("front").read_bytes() == second.path("front").read_bytes()
    assert pq.read_schema(first.path("front")).metadata is None
    assert first.read_table("front").equals(front(0.5))


def test_a_write_that_fails_leaves_the_old_file_and_nothing_else(tmp_path):
    run = Run.create(tmp_path, FIREWEED)
    write_some(run, "front", front(0.5))
    before = sorted(path.name for path in tmp_path.iterdir())
    with pytest.raises(pa.ArrowNotImplementedError):
        write_some(run, "front", pa.table({"plan": pa.array([None], pa.month_day_nano_interval())}))
    assert sorted(path.name for path in tmp_path.iterdir()) == before
    assert run.read_table("front").equals(front(0.5))


def test_a_folder_with_results_is_refused_unless_resumed(tmp_path):
    run = Run.create(tmp_path / "run", FIREWEED)
    require_free(run.folder, resume=False)
    write_some(run, "front", front(0.5))
    with pytest.raises(InputError, match="already holds results"):
        Run.create(tmp_path / "run", FIREWEED)
    Run.create(tmp_path / "run", FIREWEED, resume=True)
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="not a folder"):
        Run.create(tmp_path / "file", FIREWEED)


def test_a_stage_counts_as_finished_for_the_same_inputs_only(tmp_path):
    run = Run.create(tmp_path, FIREWEED)
    inputs = run.fingerprint(("front",))
    run.begin("optimize", inputs, makes=())
    assert not run.finished("optimize", inputs)
    run.finish("optimize", "done", seconds=1.0)
    again = Run.create(tmp_path, FIREWEED, resume=True)
    assert again.finished("optimize", inputs)
    write_some(again, "front", front(0.7))
    assert not again.finished("optimize", again.fingerprint(("front",)))
    assert not again.finished(
        "optimize", Run.create(tmp_path / "b", FIREWEED, seed=3).fingerprint(("front",))
    )


def test_a_changed_study_forgets_the_stages_of_the_old_one(tmp_path):
    run = Run.create(tmp_path / "run", FIREWEED)
    run.begin("screen", "x", makes=())
    other = tmp_path / "other.toml"
    other.write_bytes(FIREWEED.read_bytes() + b"# changed\n")
    assert Run.create(tmp_path / "run", other, resume=True).manifest["stages"] == {}


def test_beginning_a_stage_removes_what_it_made_before(tmp_path):
    run = Run.create(tmp_path, FIREWEED)
    write_some(run, "front", front(0.5))
    run.begin("screen", "x", makes=("front.parquet", "plans.parquet"))
    assert not run.has("front")


def test_what_a_stage_said_goes_when_it_or_one_before_it_is_made_again(tmp_path):
    """Also where it was killed while it ran; what another stage says too stays."""
    run = Run.create(tmp_path, FIREWEED)
    run.begin("screen", "x", makes=())
    run.warn("both")
    run.finish("screen", "done", seconds=1.0)
    run.begin("refine", "y", makes=())
    run.warn("both")
    run.warn("of the older plan")
    run.note("refined", 3)
    killed = Run.open(tmp_path)
    killed.begin("optimize", "z", makes=(), undone=("refine",))
    assert killed.manifest["warnings"] == ["both"]
    assert "refined" not in killed.manifest["notes"]


def test_a_seed_from_the_command_line_is_recorded_and_used(tmp_path):
    run = Run.create(tmp_path, FIREWEED, seed=5)
    assert (run.manifest["seed"], run.study.study.seed) == (5, 5)
    assert Run.create(tmp_path / "b", FIREWEED).manifest["seed"] == 20310301


def test_the_manifest_holds_versions_and_no_machine_path(tmp_path):
    run = Run.create(tmp_path, FIREWEED)
    run.warn("one")
    run.warn("one")
    run.note("counts", {"bodies": 3})
    manifest = json.loads((tmp_path / "manifest.json").read_text(encoding="utf-8"))
    assert manifest["warnings"] == ["one"]
    assert manifest["libraries"]["numpy"]
    assert len(manifest["inputs"]["study"]) == 64
    assert str(tmp_path) not in json.dumps(manifest)


def test_a_folder_without_a_run_and_a_broken_manifest_are_said(tmp_path):
    with pytest.raises(InputError, match="no run"):
        Run.open(tmp_path)
    (tmp_path / "manifest.json").write_text("{")
    with pytest.raises(InputError, match="manifest cannot be read"):
        Run.open(tmp_path)


@pytest.mark.parametrize(
    ("schema", "said"), [(None, "version 1 of"), (1, "version 1 of"), (99, "version 99 of")]
)
def test_a_folder_of_another_version_is_refused_and_the_version_named(tmp_path, schema, said):
    run = Run.create(tmp_path, FIREWEED)
    write_some(run, "front", front(0.5))
    manifest = run.manifest | {"schema": schema, "tool": "swarm-flyby 0.0.7"}
    if schema is None:
        del manifest["schema"]
    (tmp_path / "manifest.json").write_text(json.dumps(manifest))
    for asked in (lambda: Run.open(tmp_path), lambda: Run.create(tmp_path, FIREWEED, resume=True)):
        with pytest.raises(InputError, match=f"(?s){said}.*swarm-flyby 0.0.7.*expected: version {SCHEMA}"):
            asked()
    (tmp_path / "manifest.json").write_text(json.dumps(manifest | {"schema": SCHEMA}))
    assert Run.open(tmp_path).read_table("front").equals(front(0.5))


def test_a_missing_and_a_broken_table_are_said(tmp_path):
    run = Run.create(tmp_path, FIREWEED)
    with pytest.raises(InputError, match="no table 'front'"):
        run.read_table("front")
    run.path("front").write_bytes(b"PAR1")
    with pytest.raises(InputError, match="not a Parquet table"):
        run.read_table("front")


def test_questions_go_across_runs(tmp_path):
    for name, science in (("may", 0.5), ("it's june", 0.7)):
        write_some(Run.create(tmp_path / name, FIREWEED), "front", front(science))
    folders = {name: tmp_path / name for name in ("may", "it's june")}
    answer = question(folders, "select run, max(science) as best from front group by run order by best")
    assert answer.to_pylist() == [{"run": "may", "best": 0.5}, {"run": "it's june", "best": 0.7}]
    with pytest.raises(InputError, match="cannot be answered"):
        question(folders, "select nothing from nowhere")


def test_a_question_reads_and_writes_no_file_of_the_machine(tmp_path):
    folders = {"a": tmp_path / "a"}
    write_some(Run.create(tmp_path / "a", FIREWEED), "front", front(0.5))
    (tmp_path / "secret.csv").write_text("a\n1\n")
    for asked in (
        f"select * from read_csv('{tmp_path}/secret.csv')",
        f"select * from '{tmp_path}/secret.csv'",
        f"select * from read_parquet('{tmp_path}/a/front.parquet')",
        f"copy (select * from front) to '{tmp_path}/out.csv'",
        f"attach '{tmp_path}/out.db'",
        "install httpfs",
        "set enable_external_access = true",
        f"export database '{tmp_path}/out'",
    ):
        with pytest.raises(InputError, match="cannot be answered"):
            question(folders, asked)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a", "secret.csv"]
    assert question(folders, "select count(*) as n from front").to_pylist() == [{"n": 2}]


def test_a_damaged_table_is_named_where_a_question_needs_it(tmp_path):
    run = Run.create(tmp_path / "a", FIREWEED)
    run.path("front").write_bytes(b"PAR1")
    with pytest.raises(InputError, match="damaged"):
        question({"a": tmp_path / "a"}, "select * from front")


@pytest.mark.parametrize(
    "changed",
    [
        {"stages": []},
        {"stages": {"screen": []}},
        {"stages": {"screen": {"status": "done", "made": [1]}}},
        {"stages": {"screen": {"status": "done", "made": {"../../x": "0"}}}},
        {"stages": {"screen": {"status": "done", "made": {"/etc/hostname": "0"}}}},
        {"notes": []},
        {"warnings": {}},
        {"inputs": 3},
        {"base": None},
        {"seed": "x"},
        {"timings_s": 1.0},
    ],
)
def test_a_manifest_with_fields_of_another_type_is_said(tmp_path, changed):
    run = Run.create(tmp_path, FIREWEED)
    (tmp_path / "manifest.json").write_text(json.dumps(run.manifest | changed))
    with pytest.raises(InputError, match="manifest cannot be read"):
        Run.open(tmp_path)


def test_a_manifest_without_end_and_one_that_is_a_folder_are_said(tmp_path):
    Run.create(tmp_path, FIREWEED)
    (tmp_path / "manifest.json").write_text("[" * 200_000)
    with pytest.raises(InputError, match="manifest cannot be read"):
        Run.open(tmp_path)
    (tmp_path / "manifest.json").unlink()
    (tmp_path / "manifest.json").mkdir()
    for asked in (lambda: Run.open(tmp_path), lambda: Run.create(tmp_path, FIREWEED, resume=True)):
        with pytest.raises(InputError, match="not a file"):
            asked()


def test_beginning_a_stage_removes_whatever_stands_in_the_place_of_what_it_makes(tmp_path):
    run = Run.create(tmp_path, FIREWEED)
    (tmp_path / "front.parquet" / "inside").mkdir(parents=True)
    (tmp_path / "handoff").write_text("a plain file")
    (tmp_path / "figures").mkdir()
    run.begin("screen", "x", makes=("front.parquet", "handoff", "figures"))
    assert {path.name for path in tmp_path.iterdir()} == {"study.toml", "manifest.json", "figures"}
