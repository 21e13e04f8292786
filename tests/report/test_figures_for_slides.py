"""figures/: SVG and PNG of every figure, and the numbers behind each as CSV."""

import multiprocessing
import re
import shutil
import struct
import xml.etree.ElementTree as ElementTree
from concurrent.futures import ProcessPoolExecutor

import pyarrow.compute as pc
import pyarrow.csv as arrow_csv
import pytest

from swarm.report.figure_lists import page_figures, plan_figures
from swarm.report.page_tables import read_page_tables
from swarm.report.paint import paint, paint_run

NAMES = {
    "front", "front_risk", "map", "map_side", "apart", "timeline", "successes", "b_plane", "b_plane_near", "windows",
    "counts", "next_probe", "bound", "convergence", "density", "tornado", "risk",
}  # fmt: skip
# Axes whose marks are names need no unit; "hypervolume (share ...)" and "(0 to 1)" are units of pure numbers.
_UNIT = re.compile(r"\((kg|au|km|TDB|number|bin, .*|0 to 1|1 = every row met|share of the reference box)\)$")


def drawn(run):
    tables = read_page_tables(run)
    return [*page_figures(tables), *plan_figures(tables, tables.plan)]


def test_every_figure_is_there_three_times(drawn_run):
    files = {path.name for path in (drawn_run.folder / "figures").iterdir()}
    assert files == {f"{name}.{form}" for name in NAMES for form in ("svg", "png", "csv")}


def test_axes_say_their_units(drawn_run):
    for figure in drawn(drawn_run):
        for axis in (figure.x, figure.y):
            assert axis.kind == "names" or _UNIT.search(axis.label), (figure.name, axis.label)
            assert axis.kind != "date" or axis.label.endswith("(TDB)")


def test_pictures_can_be_opened(drawn_run):
    for name in NAMES:
        png = (drawn_run.folder / "figures" / f"{name}.png").read_bytes()
        assert png[:8] == b"\x89PNG\r\n\x1a\n"
        wide, high = struct.unpack(">II", png[16:24])
        assert abs(wide - 1350) < 120
        assert 300 < high < 1600
        root = ElementTree.fromstring(
            (drawn_run.folder / "figures" / f"{name}.svg").read_text(encoding="utf-8")
        )
        assert root.tag.endswith("svg")
        assert not [one for one in root.iter() if one.tag.endswith(("script", "image"))]


def test_the_numbers_behind_a_figure_are_the_archive_s(drawn_run):
    folder, plan = drawn_run.folder / "figures", drawn_run.manifest["notes"]["summary"]["plan"]
    whole = {name: name for name in ("front", "bound", "convergence", "density", "counts")}
    whole |= {"front_risk": "front", "next_probe": "counts", "tornado": "sensitivity", "risk": "risk_table"}
    for name, table in whole.items():
        assert same(arrow_csv.read_csv(folder / f"{name}.csv"), drawn_run.read_table(table)), name
    chances = drawn_run.read_table("successes")
    mine = chances.filter(pc.equal(chances["plan"], plan))
    assert same(arrow_csv.read_csv(folder / "successes.csv"), mine)
    plans = drawn_run.read_table("plans")
    flown = plans.filter(pc.equal(plans["plan"], plan))["opportunity"].to_pylist()
    assert sorted(arrow_csv.read_csv(folder / "map.csv")["opportunity"].to_pylist()) == sorted(flown)
    assert set(arrow_csv.read_csv(folder / "timeline.csv")["opportunity"].to_pylist()) == set(flown)


def same(read, table):
    """Whether a CSV read back holds a table's values, NaN and null alike; numbers are written in full."""
    assert read.column_names == table.column_names
    for name in table.column_names:
        for a, b in zip(read[name].to_pylist(), table[name].to_pylist(), strict=True):
            if a != b and not (a != a and b != b) and not (a in (None, "") and (b in (None, "") or b != b)):
                return False
    return True


def test_the_same_tables_give_the_same_bytes(drawn_run, tmp_path):
    names = paint(read_page_tables(drawn_run), tmp_path)
    assert set(names) == NAMES
    for path in tmp_path.iterdir():
        assert path.read_bytes() == (drawn_run.folder / "figures" / path.name).read_bytes(), path.name


def test_a_worker_draws_the_same_from_the_folder_s_path_alone(drawn_run, tmp_path):
    copy = tmp_path / "copy"
    shutil.copytree(drawn_run.folder, copy, ignore=shutil.ignore_patterns("figures"))
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as workers:
        names = workers.submit(paint_run, str(copy)).result()
    assert set(names) == NAMES
    for path in (copy / "figures").iterdir():
        assert path.read_bytes() == (drawn_run.folder / "figures" / path.name).read_bytes(), path.name


def test_figures_of_an_earlier_page_do_not_stay(drawn_run, tmp_path):
    (tmp_path / "tornado_of_old.svg").write_text("<svg/>", encoding="utf-8")
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    paint(read_page_tables(drawn_run), tmp_path)
    assert not (tmp_path / "tornado_of_old.svg").exists()
    assert (tmp_path / "notes.txt").exists()


@pytest.mark.parametrize("name", ["b_plane", "map"])
def test_figures_of_one_length_per_unit(drawn_run, name):
    figure = next(one for one in drawn(drawn_run) if one.name == name)
    assert figure.equal
