"""What a script reads of a run folder: tables by name, questions, and what is said where something is missing."""

import subprocess
import sys
from pathlib import Path

import pandas as pd
import polars as pl
import pyarrow as pa
import pytest

import swarm
from swarm.run.folder import Run
from tests.helpers.places import FIREWEED, ROOT
from tests.helpers.written import write_some

FRONT = pa.table(
    {
        "plan": [0, 1, 2],
        "probes": [0, 1, 3],
        "science": [0.0, 0.5, 0.6],
        "propellant_kg": [0.0, 0.1, 1.0],
        "risk": [1.0, 0.4, 0.3],
    }
)
PLANS = pa.table({"plan": [1, 2, 2, 2], "probe": [0, 0, 1, 2], "opportunity": [1, 0, 1, 2]})


@pytest.fixture
def run(tmp_path):
    written = Run.create(tmp_path / "run", FIREWEED)
    write_some(written, "front", FRONT)
    write_some(written, "plans", PLANS)
    return swarm.open_run(tmp_path / "run")


def python(code, **environment):
    command = [sys.executable, "-c", code]
    settings = {"PYTHONPATH": str(ROOT), "PATH": "", **environment}
    done = subprocess.run(command, env=settings, capture_output=True, text=True, check=True, timeout=120)
    return done.stdout.split()


def test_tables_are_there_by_name(run):
    assert run.tables() == ("front", "plans")
    assert run.front.equals(FRONT)
    assert run.table("plans").equals(PLANS)
    assert {"front", "plans", "manifest"} <= set(dir(run))
    assert run.manifest["tool"] == f"swarm-flyby {swarm.__version__}"
    assert run.study.probe.count == 12


def test_a_table_that_is_not_there_is_said_with_those_that_are(run):
    with pytest.raises(AttributeError, match=r"no table 'frnt'; it has front, plans"):
        _ = run.frnt
    with pytest.raises(swarm.InputError, match=r"(?s)no such table.*counts.*front, plans"):
        run.table("counts")
    with pytest.raises(swarm.InputError, match="no such table"):
        run.table("../run/front")
    with pytest.raises(swarm.InputError, match="no run is in this folder"):
        swarm.open_run(run.folder.parent)


def test_arrow_tables_become_frames_of_pandas_and_of_polars(run):
    frame, other = run.front.to_pandas(), pl.from_arrow(run.front)
    assert isinstance(frame, pd.DataFrame)
    assert isinstance(other, pl.DataFrame)
    assert frame.to_dict("list") == other.to_dict(as_series=False) == FRONT.to_pydict()


def test_a_question_in_sql(run):
    asked = (
        "select probes, count(*) as held from front join plans using (plan) group by probes order by probes"
    )
    assert run.sql(asked).to_pydict() == {"probes": [1, 3], "held": [1, 3]}
    with pytest.raises(swarm.InputError, match="cannot be answered"):
        run.sql("select nothing from nowhere")


def test_the_chosen_plan_is_the_one_the_command_line_would_take(run):
    # the knee by hand: scaled losses (1, 0, 1), (1/6, 0.1, 1/7), (0, 1, 0): plan 1 is nearest to the corner
    assert run.plan == 1


def test_the_plan_that_was_refined_is_handed_over_unless_another_is_named(run, monkeypatch):
    asked = []

    def handed(stage, folder, options, *, plan):
        assert stage == "handoff"
        asked.append(plan)
        return Run.open(folder)

    monkeypatch.setattr("swarm.app.pipeline.run_one", handed)
    swarm.hand_off(run)
    written = Run.open(run.folder)
    write_some(written, "refined", PLANS)
    written.note("refined", {"plan": 2})
    swarm.hand_off(run)
    swarm.hand_off(run.folder, plan=1)
    assert asked == [1, 2, 1]


def test_no_plan_that_flies_is_said(tmp_path):
    written = Run.create(tmp_path, FIREWEED)
    write_some(written, "front", FRONT.slice(0, 1))
    write_some(written, "plans", PLANS.slice(0, 0))
    assert swarm.open_run(tmp_path).plan is None
    with pytest.raises(swarm.NothingFeasible, match="no plan of the front flies a probe"):
        swarm.refine(tmp_path)


# --- the package --------------------------------------------------------------------------------------------


def test_the_package_alone_loads_no_library():
    code = "import sys, swarm; print(*({'numba', 'numpy', 'pyarrow', 'pydantic', 'pygmo'} & set(sys.modules)), '.')"
    assert python(code) == ["."]


def test_the_kernel_cache_is_claimed_before_a_kernel_is_loaded(tmp_path):
    code = """
import os, sys, swarm
assert 'NUMBA_CACHE_DIR' not in os.environ and 'numba' not in sys.modules
swarm.read_study
import numba
print(os.environ['NUMBA_CACHE_DIR'], numba.config.CACHE_DIR)
"""
    claimed, used = python(code, SWARM_CACHE_DIR=str(tmp_path))
    assert claimed == used
    assert Path(claimed).parent == tmp_path


def test_the_command_line_loads_no_kernel_before_its_cache_is_claimed():
    code = "import sys, swarm.app.cli; print('numba' in sys.modules, '.')"
    assert python(code) == ["False", "."]


def test_a_script_that_has_numba_already_gets_the_same_cache(tmp_path):
    code = """
import numba, swarm
swarm.read_study
from targets.motion.twobody import drift
print(drift._cache.cache_path)
"""
    (path,) = python(code, SWARM_CACHE_DIR=str(tmp_path))
    assert Path(path).relative_to(tmp_path).parts[1:] == ("targets", "motion")


def test_functions_stay_when_rooms_of_the_same_name_are_imported():
    code = """
import swarm, swarm.optimize.search, swarm.refine.whole_plan
from swarm import optimize, refine
from tests.helpers.written import write_some
print(swarm.optimize.__module__, optimize.__module__, swarm.refine.__module__, refine.__module__)
print(swarm.run.folder.__name__)
"""
    assert python(code) == [*["swarm.app.surface"] * 4, "swarm.run.folder"]


def test_what_the_package_offers_is_documented_and_no_more():
    assert set(swarm.__all__) <= set(dir(swarm))
    assert all(getattr(swarm, name).__doc__ for name in swarm.__all__)
    with pytest.raises(AttributeError, match="has no attribute 'screeen'"):
        swarm.screeen  # noqa: B018


def test_type_checkers_see_the_functions(tmp_path):
    (tmp_path / "used.py").write_text(
        "import swarm\nimport swarm.optimize.search\n"
        "run = swarm.screen('study.toml', 'out', workers=2)\nreveal_type(swarm.optimize(run))\n"
        "swarm.refine(run, plan='three')\n"
    )
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "mypy",
            "--config-file",
            str(ROOT / "pyproject.toml"),
            str(tmp_path / "used.py"),
        ],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=600,
    )
    assert 'Revealed type is "swarm.app.surface.Results"' in done.stdout
    assert 'Argument "plan" to "refine" has incompatible type "str"' in done.stdout
    assert done.stdout.count("error:") == 1
