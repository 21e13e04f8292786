"""What if: a changed study takes over what has not changed, starts from the older front, and counts a front anew."""

import json
import shutil

import numpy as np
import pytest

import swarm as surface
from swarm.run.folder import Run
from swarm.run.tables import made_by
from tests.helpers.command_line import TINY, call

WEIGHED = TINY.replace('name = "dark"', 'name = "dark"\nweight = 3.0')


def run(folder, text, *more):
    (folder / "study.toml").write_text(text, encoding="utf-8")
    result = call(
        "run", folder / "study.toml", "--run", folder / "out", "--workers", 1, "--until", "front", *more
    )
    assert result.exit_code == 0, result.stderr
    return Run.open(folder / "out"), result


@pytest.fixture(scope="module")
def old(tmp_path_factory):
    return run(tmp_path_factory.mktemp("old"), TINY)[0]


@pytest.fixture(scope="module")
def weighed(old, tmp_path_factory):
    """The study with another weight, from the older run."""
    return run(tmp_path_factory.mktemp("weighed"), WEIGHED, "--from", old.folder)


def files_of(stage):
    """Of a study of flybys: tables of passes are not there."""
    return [made.file for made in made_by(stage) if not (made.widens or made.beside)]


def costs(front):
    return np.column_stack(
        [-front["science"].to_numpy(), front["propellant_kg"].to_numpy(), front["risk"].to_numpy()]
    )


def test_what_does_not_hang_on_the_change_is_taken_over(old, weighed, tmp_path):
    made, result = weighed
    for stage in ("screen", "judge"):
        assert f"{stage}: taken over from" in result.stderr
        assert made.manifest["stages"][stage]["from"]["taken"] is True
    cold = call(
        "run", made.folder / "study.toml", "--run", tmp_path / "cold", "--workers", 1, "--until", "judge"
    )
    assert cold.exit_code == 0, cold.stderr
    for name in (*files_of("screen"), *files_of("judge")):
        assert (made.folder / name).read_bytes() == (tmp_path / "cold" / name).read_bytes(), name
    known = json.loads((tmp_path / "cold" / "manifest.json").read_text(encoding="utf-8"))
    assert {key: made.manifest["notes"][key] for key in known["notes"]} == known["notes"]
    assert made.manifest["rejected_rows"] == known["rejected_rows"]
    assert made.manifest["stages"]["screen"]["made"] == known["stages"]["screen"]["made"]


def test_the_search_is_made_anew_and_starts_from_the_older_front(old, weighed):
    made, result = weighed
    assert "optimize: made anew: other keys: science.rows.weight" in result.stderr
    entry = made.manifest["stages"]["optimize"]["from"]
    assert entry["starts"] == len(set(old.read_table("plans")["plan"].to_pylist()))
    assert made.manifest["inputs"]["starts"] is not None
    # a full archive is thinned, but for its ends: they are no worse than those of the older plans, counted anew
    counted = surface.what_if(old.folder, weights={"dark": 3.0})
    assert (costs(made.read_table("front")).min(axis=0) <= costs(counted.front).min(axis=0) + 1e-12).all()


def test_going_on_keeps_what_was_taken_over(old, weighed):
    made, _ = weighed
    before = made.path("front").read_bytes()
    again = call(
        "run", made.folder.parent / "study.toml", "--run", made.folder, "--workers", 1, "--until", "front",
        "--from", old.folder, "--resume",
    )  # fmt: skip
    assert again.exit_code == 0, again.stderr
    assert again.stderr.count("done before, kept") == 3
    assert made.path("front").read_bytes() == before


def test_the_same_study_takes_everything_over(old, tmp_path):
    made, result = run(tmp_path, TINY, "--from", old.folder)
    assert result.stderr.count("taken over from") == 3
    for name in files_of("optimize"):
        kept, made_again = old.folder / name, made.folder / name
        # what belongs to a kind of encounter is there only where there are any
        assert kept.exists() == made_again.exists(), name
        assert not kept.exists() or made_again.read_bytes() == kept.read_bytes(), name
    assert (made.folder / "front.parquet").exists()


def test_a_damaged_table_is_not_taken_over(old, tmp_path):
    shutil.copytree(old.folder, tmp_path / "damaged")
    path = tmp_path / "damaged" / "judged.parquet"
    path.write_bytes(path.read_bytes()[:-1])
    _, result = run(tmp_path, TINY, "--from", tmp_path / "damaged")
    assert "judge: made anew: the older run has not finished it" in result.stderr


def test_a_screen_taken_over_is_asked_about_the_rows_of_today(old, tmp_path):
    """A row that nobody in reach serves: with a threshold the run ends, as after a screen of its own."""
    huge = '\n[[science.rows]]\nname = "huge"\nwhere = { diameter_km_min = 5000.0 }\n'
    made, result = run(tmp_path, TINY + huge, "--from", old.folder)
    assert "screen: taken over from" in result.stderr
    assert sum('"huge": none of the' in text for text in made.manifest["warnings"]) == 1
    (tmp_path / "study.toml").write_text(TINY + huge + "threshold = 1\n", encoding="utf-8")
    ended = call(
        "run", tmp_path / "study.toml", "--run", tmp_path / "ended", "--workers", 1, "--from", old.folder
    )
    assert ended.exit_code == 3
    assert "a row with a threshold" in ended.stderr


@pytest.mark.parametrize("older", ["out", "nowhere"])
def test_an_older_run_must_be_there_and_be_another(tmp_path, older):
    (tmp_path / "study.toml").write_text(TINY, encoding="utf-8")
    result = call("run", tmp_path / "study.toml", "--run", tmp_path / "out", "--from", tmp_path / older)
    assert result.exit_code == 2
    assert "run" in result.stderr
    assert not (tmp_path / "out").exists()


# --- counted anew -------------------------------------------------------------------------------------------


def test_nothing_changed_is_the_front_as_it_is(old):
    found = surface.what_if(old.folder)
    front = old.read_table("front")
    assert found.front["science"].to_numpy() == pytest.approx(front["science"].to_numpy(), abs=1e-12)
    assert found.front["risk"].to_numpy() == pytest.approx(front["risk"].to_numpy(), abs=1e-12)
    assert not any(found.front["beaten"].to_pylist())
    assert found.plan == old.manifest["notes"]["summary"]["plan"]


def test_science_is_the_mean_of_the_rows_by_weight(old):
    """Of rows a and b: (3a + b) / 4 and (a + 3b) / 4 are together twice (a + b) / 2."""
    one, two, even = (
        surface.what_if(old.folder, weights=weights).front["science"].to_numpy()
        for weights in ({"dark": 3.0}, {"large": 3.0}, {})
    )
    assert one + two == pytest.approx(2.0 * even, abs=1e-12)
    assert np.abs(one - two).max() > 1e-3


def test_more_asked_is_more_risk_and_better_probes_bring_more(old):
    front = old.read_table("front")
    harder = surface.what_if(old.folder, thresholds={"large": 2})
    assert (harder.front["risk"].to_numpy() >= front["risk"].to_numpy() - 1e-12).all()
    assert harder.front["risk"].to_numpy().sum() > front["risk"].to_numpy().sum()
    better = surface.what_if(old.folder, success=0.95)
    assert (better.front["science"].to_numpy() >= front["science"].to_numpy() - 1e-12).all()
    assert better.study.survival.success == 0.95


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"weights": {"none": 1.0}}, "no such row"),
        ({"weights": {"dark": -1.0}}, "science.rows"),
        ({"success": 1.5}, "survival.success"),
    ],
)
def test_what_no_study_may_have_is_refused(old, asked, said):
    with pytest.raises(surface.InputError, match=said):
        surface.what_if(old.folder, **asked)
