"""A study that leaves the mothership's path open: each candidate's run is its own, and the front is that of all."""

import html
import json
import subprocess
import sys
import time

import numpy as np
import pytest

from swarm.app.carriers.joining import OfCarrier, joined_bound
from swarm.app.carriers.retarget import ship_propellant_kg
from swarm.app.carriers.together import run_carriers
from swarm.app.pipeline import Options
from swarm.plan.flight import Flight
from swarm.plan.judged import chances_from_table
from swarm.plan.objectives import evaluate
from swarm.plan.question import Question, pose
from swarm.plan.rules import feasible
from swarm.plan.verify import Tables, problems_of
from swarm.reach import opportunities
from swarm.reach.screen.approaches import find_approaches
from swarm.run.folder import Run
from swarm.run.progress import Silent
from swarm.run.tables import made_by
from targets.motion.perturbed import move_to_epoch, prepare
from tests.helpers.batch_of_four import BASE, contents
from tests.helpers.carrier_studies import BURNS, GRID, NO_BUDGET, ONE, written
from tests.helpers.command_line import call

# With releases so far apart as in the base, a burn loses more arcs than it can bring in.
DENSE = BASE.replace("slot_days = 60.0", "slot_days = 20.0")
# No screen, and nothing judged again.
FOLLOWED = """
[compare]
counts = [1, 2]
seeds = 1
[sensitivity]
burn_limit_fraction = 0.0
leave_one_out = false
defaults = []
"""


@pytest.fixture(scope="module")
def one(tmp_path_factory):
    """A grid of one and no budget."""
    folder = tmp_path_factory.mktemp("one")
    result = call("carriers", written(folder, ONE, NO_BUDGET), "--run", folder / "run", "--workers", 1)
    assert result.exit_code == 0, result.stderr
    return folder / "run", result


@pytest.fixture(scope="module")
def chosen(tmp_path_factory):
    """A grid of three of which two are searched, and two burns of the better one."""
    folder = tmp_path_factory.mktemp("chosen")
    result = call(
        "carriers",
        written(folder, GRID, BURNS, FOLLOWED, base=DENSE),
        "--run",
        folder / "run",
        "--workers",
        1,
    )
    assert result.exit_code == 0, result.stderr
    return folder / "run", result


def costs(table):
    return np.column_stack(
        [-table["science"].to_numpy(), table["propellant_kg"].to_numpy(), table["risk"].to_numpy()]
    )


def test_a_grid_of_one_without_a_budget_is_the_run_of_its_study(one, tmp_path):
    folder, _ = one
    path = written(tmp_path)
    assert call("run", path, "--run", tmp_path / "run", "--workers", 1, "--until", "front").exit_code == 0
    tables = [made.file for stage in ("screen", "judge", "optimize") for made in made_by(stage)]
    # tables of passes are not there in a study of flybys
    tables = [name for name in tables if (tmp_path / "run" / name).exists()]
    assert len(tables) > 15
    for name in tables:
        assert (folder / "carriers" / "c0000" / name).read_bytes() == (
            tmp_path / "run" / name
        ).read_bytes(), name
    alone, joined = Run.open(tmp_path / "run").read_table("front"), Run.open(folder).read_table("front")
    for name in alone.column_names:
        assert joined[name].to_pylist() == alone[name].to_pylist(), name


def test_without_a_budget_a_burn_is_not_worth_it(one):
    _, result = one
    assert "not worth it" in result.stdout


def test_no_plan_of_the_joined_front_is_beaten(chosen):
    folder, _ = chosen
    joined = Run.open(folder).read_table("front")
    mine, burnt = costs(joined), {}
    for row in Run.open(folder).read_table("carriers").to_pylist():
        burnt[row["carrier"]] = row["propellant_kg"]
    assert len(set(burnt.values())) > 1
    for number, kilograms in burnt.items():
        own = folder / "carriers" / f"c{number:04d}"
        if not own.is_dir():
            continue
        others = costs(Run.open(own).read_table("front")) + np.array([0.0, kilograms, 0.0])
        no_worse = (others[:, None, :] <= mine[None, :, :]).all(axis=2)
        better = (others[:, None, :] < mine[None, :, :] - 1e-12).any(axis=2)
        assert not (no_worse & better).any(), number
        # and nothing is lost: each plan of a single front is on the joined one or no better than one there
        assert all((mine <= each + 1e-9).all(axis=1).any() for each in others), number


def test_each_plan_names_its_mothership_and_is_there(chosen):
    folder, _ = chosen
    run = Run.open(folder)
    front, plans = run.read_table("front").to_pylist(), run.read_table("plans").to_pylist()
    for row in front:
        own = Run.open(folder / "carriers" / f"c{row['carrier']:04d}")
        single = own.read_table("front").to_pylist()[row["plan_of_carrier"]]
        assert single["science"] == row["science"]
        mine = [each["opportunity"] for each in plans if each["plan"] == row["plan"]]
        theirs = own.read_table("plans").to_pylist()
        assert mine == [each["opportunity"] for each in theirs if each["plan"] == row["plan_of_carrier"]]
        assert own.manifest["notes"]["verified_plans"]


def test_the_bound_is_the_largest_and_holds(chosen):
    folder, _ = chosen
    run = Run.open(folder)
    bound, front = run.read_table("bound"), run.read_table("front")
    assert bound.num_rows > 1
    kilograms, science = front["propellant_kg"].to_numpy(), front["science"].to_numpy()
    for level, upper in zip(
        bound["propellant_kg"].to_pylist(), bound["science_upper"].to_pylist(), strict=True
    ):
        assert science[kilograms <= level].max(initial=0.0) <= upper + 1e-9


def test_the_bound_of_each_mothership_holds_for_every_plan_there_is(chosen):
    """All plans of one and two probes, enumerated; with its own burns charged the joined bound holds for them, too."""
    folder, _ = chosen
    joined = Run.open(folder).read_table("bound")
    charged = {
        row["carrier"]: row["propellant_kg"]
        for row in Run.open(folder).read_table("carriers").to_pylist()
        if row["science_best"] is not None
    }
    assert len(charged) == 4
    for number, kilograms in charged.items():
        run = Run.open(folder / "carriers" / f"c{number:04d}")
        values = every_plan(run)
        assert len(values) > 100
        require_within(run.read_table("bound"), values)
        require_within(joined, values + np.array([0.0, kilograms, 0.0]))


def every_plan(run):
    """(n, 3) science, propellant and risk of every plan of up to two probes that keeps the rules."""
    table, judged = run.read_table("opportunities"), chances_from_table(run.study, run.read_table("judged"))
    flight = Flight(table, run.read_table("mothership"))
    posed = pose(Question(run.study, table, run.targets(), judged, flight, 2))
    n = len(posed.rows)
    alone = np.column_stack([np.arange(n), np.full(n, -1)])
    pairs = np.column_stack(np.triu_indices(n, 1))
    plans = np.ascontiguousarray(np.concatenate([alone, pairs]), dtype=np.int64)
    return evaluate(plans[feasible(plans, posed.rules)], posed.data)


def require_within(bound, values):
    levels, upper = (bound[name].to_numpy() for name in ("propellant_kg", "science_upper"))
    for level, most in zip(levels, upper, strict=True):
        assert values[values[:, 1] <= level, 0].max(initial=0.0) <= most + 1e-12


def test_each_plan_is_checked_on_its_own_path(chosen):
    """The separate checker again, of all plans that may be joined; as those of another it finds them wrong."""
    folder, _ = chosen
    run = Run.open(folder)
    front = run.read_table("front")
    numbers = sorted(set(front["carrier"].to_pylist()))
    assert len(numbers) > 1
    for number in numbers:
        own = Run.open(folder / "carriers" / f"c{number:04d}")
        alone, plans = own.read_table("front"), own.read_table("plans")
        assert own.manifest["notes"]["verified_plans"] == alone.num_rows
        mine = front["plan_of_carrier"].filter(front["carrier"].to_numpy() == number).to_pylist()
        assert set(mine) <= set(alone["plan"].to_pylist())
        for other in numbers:
            there = Run.open(folder / "carriers" / f"c{other:04d}")
            path = there.read_table("mothership")
            wrong = problems_of(there.study, Tables(there.read_table("opportunities"), alone, plans, path))
            if other == number:
                assert not wrong
            else:
                assert wrong, f"plans of {number} pass as those of {other}"


def test_counts_and_sensitivities_follow_the_mothership_that_is_chosen(chosen):
    folder, result = chosen
    told = Run.open(folder).manifest["notes"]["carriers"]["chosen"]
    front = Run.open(folder).read_table("front").to_pylist()
    row = next(row for row in front if row["plan"] == told["plan"])
    assert (row["carrier"], row["plan_of_carrier"]) == (told["carrier"], told["plan_of_carrier"])
    own = Run.open(folder / told["folder"])
    assert own.read_table("counts")["probes"].to_pylist() == [1, 2]
    assert own.read_table("sensitivity").num_rows
    others = [path for path in (folder / "carriers").iterdir() if path.name != f"c{told['carrier']:04d}"]
    assert not any((path / "counts.parquet").exists() for path in others)
    assert told["folder"] in result.stdout


def test_the_page_answers_in_words_with_numbers(chosen):
    folder, result = chosen
    page = html.unescape((folder / "report.html").read_text(encoding="utf-8"))
    told = Run.open(folder).manifest["notes"]["carriers"]
    assert "When to leave" in page
    assert "Is a burn of the mothership worth it" in page
    assert f"science {told['best']['science_best']:.3f}" in page
    assert f"takes {told['retarget']['best']['propellant_kg']:.2f} kg" in page
    assert page.count("<img src=") == 7
    assert "<script" not in page
    for line in result.stdout.splitlines():
        assert line.strip() in page, line


def test_the_map_of_the_choice_grows_with_the_longest_flight(chosen):
    folder, _ = chosen
    run = Run.open(folder)
    table, carriers = run.read_table("choice_map").to_pylist(), run.read_table("carriers").to_pylist()
    for row in carriers:
        own = [each for each in table if each["carrier"] == row["carrier"]]
        if row["science_best"] is None:
            assert not own
            continue
        days = [each["arc_max_days"] for each in own]
        assert days == sorted(days)
        assert days[-1] == run.study.search.arc_max_days
        for key in ("targets", "science"):
            values = [each[key] for each in own]
            assert values == sorted(values)
        assert own[-1]["science"] == row["science_best"]
        assert own[-1]["targets"] == row["targets"]
        assert own[-1]["propellant_kg"] == pytest.approx(row["propellant_best_kg"], abs=1e-12)


def test_a_joined_bound_by_hand():
    """Two motherships with two levels each, the second with 1 kg of its own burns."""
    import pyarrow as pa

    def flown(number, levels, upper, charged=0.0):
        bound = pa.table(
            {"probes": [2, 2], "propellant_kg": levels, "science_upper": upper, "science_best": upper}
        )
        return OfCarrier(number, front, front, bound, charged, charged)

    front = pa.table({"propellant_kg": [1.0], "science": [0.1]})
    table = joined_bound([flown(0, [1.0, 4.0], [0.3, 0.5]), flown(1, [1.0, 2.0], [0.35, 0.4], 1.0)], front)
    # at 1 kg the second cannot have more than within its first level, 2 kg; above 3 kg nothing of it is proven
    assert table["propellant_kg"].to_pylist() == [1.0, 2.0, 3.0]
    assert table["science_upper"].to_pylist() == [0.35, 0.5, 0.5]


def test_every_candidate_has_a_row_that_says_what_came_of_it(chosen):
    folder, result = chosen
    rows = Run.open(folder).read_table("carriers").to_pylist()
    assert [row["kept"] for row in rows[:3]].count(True) == 2
    assert sorted(row["rank"] for row in rows[:3]) == [1, 2, 3]
    burns = [row for row in rows if row["burns"]]
    assert len(burns) == 2
    assert all(row["burn_m_s"] <= 300.0 + 1e-3 for row in burns)
    assert "a burn of the mothership" in result.stdout
    told = Run.open(folder).manifest["notes"]["carriers"]["retarget"]
    assert told["compared"] == 2
    assert set(told["without"]) >= {"science_best", "propellant_best_kg"}


def test_it_goes_on_to_the_same_bytes(chosen):
    folder, _ = chosen
    before = {path.name: path.read_bytes() for path in folder.glob("*.parquet")}
    study = folder.parent / "study.toml"
    assert call("carriers", study, "--run", folder, "--workers", 1).exit_code == 2
    result = call("carriers", study, "--run", folder, "--workers", 1, "--resume")
    assert result.exit_code == 0, result.stderr
    assert {path.name: path.read_bytes() for path in folder.glob("*.parquet")} == before


@pytest.mark.slow
def test_killed_twice_and_resumed_it_leaves_the_same_bytes(chosen, tmp_path):
    """Killed while motherships are searched, and again while their burns are."""
    folder, _ = chosen
    study, into = written(tmp_path, GRID, BURNS, FOLLOWED, base=DENSE), tmp_path / "run"
    program = [
        sys.executable,
        "-m",
        "swarm.app.cli",
        "carriers",
        str(study),
        "--run",
        str(into),
        "--workers",
        "1",
    ]
    for seen in ("carriers/c*/front.parquet", "carriers/c0004/judged.parquet"):
        resume = ["--resume"] if into.exists() else []
        started = subprocess.Popen([*program, *resume], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        while not list(into.glob(seen)) and started.poll() is None:
            time.sleep(0.05)
        assert started.poll() is None, "it ended before it could be killed"
        started.kill()
        started.wait()
    assert not (into / "carriers.parquet").exists()
    last = subprocess.run([*program, "--resume"], capture_output=True, text=True, check=False)
    assert last.returncode == 0, last.stderr
    assert contents(into) == contents(folder)


def near_any(epochs_s, states, legs, planets, *, span_tdb_s, step_s):
    """What the device must keep at least: whom the processor's own look keeps."""
    at_start = move_to_epoch(epochs_s, states, span_tdb_s[0], planets=planets, step_s=step_s)
    begin, end = span_tdb_s
    prepared = prepare(at_start, start_tdb_s=begin, end_tdb_s=end, planets=planets, step_s=step_s)
    kept = np.zeros(len(states), dtype=bool)
    for found in find_approaches(prepared, legs):
        kept[found.body] = True
    return kept


@pytest.mark.slow
def test_with_a_filter_of_the_sweep_on_a_gpu_every_file_keeps_its_bytes(chosen, tmp_path, monkeypatch):
    """The device's place is taken by the processor's look; that of the sweep, of the near misses, and of the burns."""
    folder, _ = chosen
    asked = []

    def filtered(epochs_s, states, legs, planets, **span):
        kept = near_any(epochs_s, states, legs, planets, **span)
        asked.append((len({leg.mothership for leg in legs}), kept.sum()))
        return kept

    monkeypatch.setattr(opportunities, "worth_a_look", filtered)
    path = written(tmp_path, GRID, BURNS, FOLLOWED, base=DENSE)
    run_carriers(path, tmp_path / "run", Options(workers=1, gpu=True))
    assert [motherships for motherships, _ in asked] == [2, 1, 2]
    assert all(0 < kept < 2000 for _, kept in asked)
    assert contents(tmp_path / "run") == contents(folder)


def test_how_long_it_takes_yet_is_told_mothership_by_mothership(tmp_path):
    """Steps of searching are motherships; each is told when it has its front."""
    told = []

    class Listener(Silent):
        def stage(self, name):
            return lambda done, total: told.append((name, done, total))

    path = written(tmp_path, GRID.replace("keep = 2", "keep = 3"))
    run_carriers(path, tmp_path / "run", Options(workers=1), Listener())
    assert [each for each in told if each[0] == "motherships"] == [("motherships", k, 3) for k in (1, 2, 3)]
    assert ("expected", 3, 3) in told


def test_figures_are_there_with_their_numbers(chosen):
    folder, _ = chosen
    names = {path.name for path in (folder / "figures").iterdir()}
    for name in (
        "carriers_science",
        "carriers_propellant",
        "carriers_targets",
        "carriers_front",
        "carriers_bound",
        "carriers_kilograms",
        "carriers_map_science",
        "carriers_map_propellant",
        "carriers_map_targets",
    ):
        assert {f"{name}.png", f"{name}.svg", f"{name}.csv"} <= names


def test_the_mothership_s_propellant_is_what_the_rocket_equation_says():
    """620 kg at 300 s: 0.2107 kg for 1 m/s, by hand: 620 x 1 / (9.80665 x 300)."""
    assert ship_propellant_kg(620.0, 1.0, 300.0) == pytest.approx(620.0 / (9.80665 * 300.0), rel=2e-4)


def test_the_answer_is_plain_values(chosen):
    folder, _ = chosen
    json.dumps(Run.open(folder).manifest["notes"]["carriers"])
