"""A whole plan of a study of seconds, handed over by the command line; no light pressure, as outside integrators."""

import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest

from swarm.app.stages.refining import tables_of
from swarm.refine.nbody import Field
from swarm.refine.stretches import field_of
from swarm.refine.whole_plan import FlownProbe, refine_plan
from swarm.run.folder import Run
from swarm.run.workers import open_workers
from tests.helpers.command_line import TINY, call

DARK = TINY.replace("wet_mass_kg = 12.0", "wet_mass_kg = 12.0\nsolar_area_m2 = 0.0")


@dataclass(frozen=True)
class Plan:
    """The run folder, the plan's number, its probes as integrated, and the field they were integrated in."""

    run: Path
    number: int
    flown: list[FlownProbe]
    field: Field

    @property
    def folder(self) -> Path:
        return self.run / "handoff"


@pytest.fixture(scope="session")
def searched(tmp_path_factory) -> Path:
    """A run folder with a front."""
    folder = tmp_path_factory.mktemp("plan")
    (folder / "study.toml").write_text(DARK, encoding="utf-8")
    for words in (("screen", folder / "study.toml"), ("optimize",)):
        result = call(*words, "--run", folder / "out", "--workers", 1)
        assert result.exit_code == 0, result.stderr
    return folder / "out"


@pytest.fixture(scope="session")
def largest(searched) -> int:
    """The cheapest plan that flies all four probes."""
    front = Run.open(searched).read_table("front").to_pylist()
    return min((row["propellant_kg"], row["plan"]) for row in front if row["probes"] == 4)[1]


@pytest.fixture(scope="session")
def plan(searched, largest, tmp_path_factory) -> Plan:
    # in a folder of its own: others begin with the front
    folder = tmp_path_factory.mktemp("handed") / "out"
    shutil.copytree(searched, folder)
    result = call("handoff", "--run", folder, "--plan", largest, "--workers", 1)
    assert result.exit_code == 0, result.stderr
    run = Run.open(folder)
    with open_workers(1, None) as pool:
        flown, lost = refine_plan(run.study, tables_of(run), largest, pool=pool)
    assert not lost
    assert len(flown) == 4
    return Plan(folder, largest, flown, field_of([one.made for one in flown]))


@pytest.fixture(scope="session")
def lit(tmp_path_factory) -> Path:
    """The package of a plan of four probes that light pushes."""
    folder = tmp_path_factory.mktemp("lit")
    (folder / "study.toml").write_text(TINY, encoding="utf-8")
    for words in (("screen", folder / "study.toml"), ("optimize",)):
        result = call(*words, "--run", folder / "out", "--workers", 1)
        assert result.exit_code == 0, result.stderr
    front = Run.open(folder / "out").read_table("front").to_pylist()
    number = min((row["propellant_kg"], row["plan"]) for row in front if row["probes"] == 4)[1]
    result = call("handoff", "--run", folder / "out", "--plan", number, "--workers", 1)
    assert result.exit_code == 0, result.stderr
    return folder / "out" / "handoff"
