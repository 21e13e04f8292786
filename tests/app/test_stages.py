"""Stages are driven by their records: a toy one needs a record, a function and a declaration."""

import sys
import types

import pyarrow as pa
import pytest

from swarm.app import pipeline, stages
from swarm.app.cli import app
from swarm.app.stages import BY_NAME, STAGES, Options, Stage
from swarm.app.stages.record import hanging_on
from swarm.run import tables
from swarm.run.folder import Run
from swarm.run.progress import Silent
from swarm.run.tables import made_by, parquet_tables
from swarm.run.tables.declaration import Table, whole
from targets.base.errors import InputError


def test_every_stage_makes_what_is_declared_for_it_and_needs_what_an_earlier_one_makes():
    known: set[str] = set()
    for stage in STAGES:
        assert set(stage.needs) <= known or stage.name == "report", stage.name
        assert stage.makes, stage.name
        known |= {made.name for made in made_by(stage.name)}
    # what `swarm carriers` makes lies beside the runs of the motherships, and no stage of a run makes it
    assert known == {table.name for table in tables.DECLARED} - {"carriers", "choice_map"}
    assert set(BY_NAME["report"].needs) == {
        name
        for name, table in parquet_tables().items()
        if not (table.extends or table.widens or table.beside)
    }


def test_each_stage_has_a_command():
    commands = {command.name for command in app.registered_commands}
    assert {stage.name for stage in STAGES} <= commands


def test_what_hangs_on_a_stage_is_found_through_the_tables():
    names = [stage.name for stage in hanging_on(BY_NAME["judge"], STAGES)]
    assert names == ["optimize", "compare", "account", "sensitivity", "refine", "handoff", "report"]
    assert [stage.name for stage in hanging_on(BY_NAME["compare"], STAGES)] == ["account", "report"]
    assert hanging_on(BY_NAME["report"], STAGES) == ()


class Heard(Silent):
    """Keeps what it is told."""

    def __init__(self):
        self.heard = []

    def say(self, text):
        self.heard.append(text)


@pytest.fixture
def toy(monkeypatch):
    """A stage that counts the opportunities."""
    table = Table("tally", "tally", "a count", (whole("opportunities", "how many there are"),))
    module = types.ModuleType("swarm.app.stages.toy")
    calls = []

    def work_tally(work):
        calls.append(work.table("opportunities").num_rows)
        work.run.write_table("tally", pa.table({"opportunities": [calls[-1]]}))

    module.work_tally = work_tally
    stage = Stage("tally", "Counts opportunities.", ("opportunities",), "toy")
    monkeypatch.setitem(sys.modules, "swarm.app.stages.toy", module)
    monkeypatch.setattr(tables, "DECLARED", (*tables.DECLARED, table))
    monkeypatch.setattr(pipeline, "STAGES", (*STAGES, stage))
    monkeypatch.setitem(stages.BY_NAME, "tally", stage)
    return calls


@pytest.fixture
def screened(tmp_path):
    """A folder that looks screened: one opportunity column is all the toy reads."""
    from tests.helpers.places import SMALL

    run = Run.create(tmp_path / "run", SMALL)
    pa.parquet.write_table(pa.table({"opportunity": [0, 1, 2]}), run.path("opportunities"))
    return run.folder


def test_a_toy_stage_is_run_kept_and_made_again(toy, screened):
    pipeline.run_one("tally", screened, Options(workers=1))
    assert toy == [3]
    pipeline.run_one("tally", screened, Options(workers=1, resume=True))
    assert toy == [3]
    entry = Run.open(screened).manifest["stages"]["tally"]
    assert entry["status"] == "done"
    assert list(entry["made"]) == ["tally.parquet"]


@pytest.mark.parametrize("damage", ["deleted", "flipped", "truncated", "a folder"])
def test_a_file_that_is_not_as_it_was_left_is_made_again_and_that_is_said(toy, screened, damage):
    run = pipeline.run_one("tally", screened, Options(workers=1))
    path = run.path("tally")
    whole_file = path.read_bytes()
    if damage == "deleted":
        path.unlink()
    elif damage == "a folder":
        path.unlink()
        (path / "inside").mkdir(parents=True)
    elif damage == "flipped":
        path.write_bytes(whole_file[:40] + bytes([whole_file[40] ^ 1]) + whole_file[41:])
    else:
        path.write_bytes(whole_file[:-20])
    teller = Heard()
    pipeline.run_one("tally", screened, Options(workers=1, resume=True), teller)
    assert toy == [3, 3]
    assert path.read_bytes() == whole_file
    assert "tally: made again: files have changed: tally.parquet" in teller.heard


def test_a_stage_refuses_a_table_that_is_not_as_an_earlier_one_left_it(toy, screened):
    run = Run.open(screened)
    run.begin("screen", "x", makes=())
    run.finish("screen", "done", seconds=1.0, makes=["opportunities.parquet"])
    pipeline.run_one("tally", screened, Options(workers=1))
    pa.parquet.write_table(pa.table({"opportunity": [0]}), screened / "opportunities.parquet")
    with pytest.raises(InputError, match=r"not as screen left it(?s:.*)--resume"):
        pipeline.run_one("tally", screened, Options(workers=1, resume=True))
    with pytest.raises(InputError, match="not as screen left it"):
        Run.open(screened).read_table("opportunities")
    assert toy == [3]


def test_a_stage_is_made_again_where_what_it_needs_has_changed(toy, screened):
    pipeline.run_one("tally", screened, Options(workers=1))
    pa.parquet.write_table(pa.table({"opportunity": [0]}), screened / "opportunities.parquet")
    pipeline.run_one("tally", screened, Options(workers=1, resume=True))
    assert toy == [3, 1]
