"""`runs/motherships`: every kind of mothership as a study that the tool takes; `runs/near-earth`: a real catalogue."""

import gzip
import re

import numpy as np
import pytest

from swarm.reach.opportunities import screen_together
from swarm.run.workers import Pool
from swarm.study.study_file import read_study
from targets.catalogue.reading import read_catalogue
from tests.app.cli.test_every_kind_of_study import as_mpc_json
from tests.helpers import motherships
from tests.helpers.command_line import call
from tests.helpers.places import ROOT

STUDIES = sorted(motherships.FOLDER.glob("*.toml"))


def found(name):
    study = read_study(motherships.FOLDER / f"{name}.toml")
    catalogue = read_catalogue(study.catalogue, study.base).catalogue
    return screen_together((study,), catalogue, pool=Pool())[0].opportunities


@pytest.mark.parametrize("file", STUDIES, ids=lambda file: file.stem)
def test_each_is_taken_and_says_how_it_is_asked(file):
    text = file.read_text(encoding="utf-8")
    assert f"runs/motherships/{file.name} --run out/{file.stem}" in text
    checked = call("check", file)
    assert checked.exit_code == 0, checked.stderr
    assert read_study(file).study.name in checked.stdout


def test_there_is_one_of_every_kind():
    ships = [read_study(file).mothership for file in STUDIES]
    assert {ship.kind for ship in ships} == {"elements", "legs", "oem", "spk"}
    assert any(ship.center for ship in ships)
    assert any(ship.choices for ship in ships)
    assert any(ship.candidates for ship in ships)
    assert any(ship.retarget for ship in ships)


def test_one_path_written_in_three_ways_reaches_the_same_bodies():
    """Elements, message and kernel: the same encounters, burns within what interpolating over 8 days may change."""
    plain, *others = (found(name) for name in ("elements", "oem", "spk"))
    assert plain.num_rows > 10
    for table in others:
        assert table["target"].to_pylist() == plain["target"].to_pylist()
        assert table["burn_m_s"].to_numpy() == pytest.approx(plain["burn_m_s"].to_numpy(), abs=0.05)


def test_legs_reach_some():
    assert found("legs").num_rows > 5


def test_the_real_catalogue_s_commands_and_study_are_taken(tmp_path):
    """The README's five commands name what there is; the study reads a file of that format, here of made-up bodies."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    lines = re.search(r"From a real catalogue.*?```text\n(.*?)```", text, re.DOTALL).group(1).splitlines()
    assert [line.split()[0] for line in lines] == ["curl", *["swarm"] * 4]
    study = (ROOT / "runs" / "near-earth" / "study.toml").read_text(encoding="utf-8")
    assert lines[0].split()[-1] in study
    for line in lines[1:]:
        words = line.split("#")[0].split()[1:]
        told = call(words[0], "--help").stdout
        assert all(word in told for word in words if word.startswith("--"))
    rng = np.random.default_rng(1)
    drawn = {
        "a": rng.uniform(1.0, 2.0, 300),
        "e": rng.uniform(0.1, 0.5, 300),
        "i": rng.uniform(0.0, 20.0, 300),
    }
    drawn |= {name: rng.uniform(0.0, 360.0, 300) for name in ("node", "peri", "m")}
    bodies = [dict(zip(drawn, row, strict=True)) for row in zip(*drawn.values(), strict=True)]
    (tmp_path / "study.toml").write_text(study, encoding="utf-8")
    (tmp_path / "nea_extended.json.gz").write_bytes(gzip.compress(as_mpc_json(bodies).encode()))
    read = read_study(tmp_path / "study.toml")
    assert len(read_catalogue(read.catalogue, read.base).catalogue.target) == 300
    assert call("check", tmp_path / "study.toml").exit_code == 0
