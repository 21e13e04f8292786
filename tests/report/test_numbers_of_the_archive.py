"""Every number on the page is the archive's: in the data of the script, in tables and sentences, in figures."""

import json
import math
import re
from html.parser import HTMLParser

import numpy as np
import pytest

from swarm.report.forms import shown
from swarm.report.page import page_data
from swarm.report.page_tables import PAGE_TABLES, read_page_tables
from swarm.run.tables import made_by
from targets.base.constants import AU_KM, OBLIQUITY_J2000_RAD

# Tables of which the page shows every row; the others are embedded, or drawn.
IN_TABLES = {
    "counts", "descope", "mass_budget", "delta_v_budget", "power_budget", "recoil", "refined", "observe",
    "sensitivity", "left_out", "risk_table", "recourse", "alternates", "rests_on",
}  # fmt: skip


class _Marked(HTMLParser):
    """Elements that say where in the archive their number stands."""

    def __init__(self):
        super().__init__()
        self.found, self._at, self._depth = [], None, 0

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        if "data-at" in attrs:
            self._at, self._text, self._tag = (attrs["data-at"], attrs["data-form"]), "", tag

    def handle_data(self, data):
        if self._at:
            self._text += data

    def handle_endtag(self, tag):
        if self._at and tag == self._tag:
            self.found.append((*self._at, self._text))
            self._at = None


def html_of(run):
    return (run.folder / "report.html").read_text(encoding="utf-8")


def embedded(run):
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', html_of(run), re.DOTALL)
    return json.loads(found.group(1))


def archive_value(run, place):
    table, key, row = place.split("/")
    return run.read_table(table)[key][int(row)].as_py()


def same(written, value):
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return written is None
    return written == value


def test_numbers_in_tables_and_sentences(drawn_run):
    parser = _Marked()
    parser.feed(html_of(drawn_run))
    assert len(parser.found) > 150
    for place, form, text in parser.found:
        assert text == shown(archive_value(drawn_run, place), form), place
    seen = {place.split("/")[0] for place, _, _ in parser.found}
    assert seen == IN_TABLES | {"front"}  # the front's in the answer
    for table in IN_TABLES:
        rows = {int(place.split("/")[2]) for place, _, _ in parser.found if place.startswith(f"{table}/")}
        assert rows >= set(range(drawn_run.read_table(table).num_rows)), table


@pytest.mark.browser
def test_numbers_the_script_writes(drawn_run, look):
    page = look(drawn_run)
    page.fill("#plan", "5")
    page.dispatch_event("#plan", "change")
    found = page.eval_on_selector_all(
        "#encounters [data-at], #plan-said [data-at]",
        "all => all.map(one => [one.dataset.at, one.dataset.form, one.textContent])",
    )
    assert len(found) > 70
    for place, form, text in found:
        assert text == shown(archive_value(drawn_run, place), form), place


@pytest.mark.browser
def test_the_script_writes_numbers_as_the_page_does(drawn_run, look):
    """Rounding, thousands, minus signs, dates and shares: the same text from both."""
    page = look(drawn_run)
    rng = np.random.default_rng(4)
    values = [
        *(10.0 ** rng.uniform(-7, 7, 200) * rng.choice([-1, 1], 200)),
        0.0,
        -0.0,
        1e-9,
        -1e-9,
        999.9996,
        1234567.0,
    ]
    dates = [*(2462000.5 + 4000.0 * rng.random(200)), 2462926.5, 2462926.4999999]
    cases = [(float(v), form) for v in values for form in ("0", "1", "3", "%1")] + [
        (float(v), "date") for v in dates
    ]
    source = (re.search(r"  function shown\(.*?\n  }\n", html_of(drawn_run), re.DOTALL).group(0)
              + re.search(r"  const plainZero.*?\n", html_of(drawn_run)).group(0)
              + re.search(r"  const day = .*?\n", html_of(drawn_run)).group(0))  # fmt: skip
    written = page.evaluate(
        f"cases => {{ const UNIX_JD = 2440587.5, NOTHING = '\u2013'; {source} "
        "return cases.map(([v, f]) => shown(v, f)); }",
        [list(case) for case in cases],
    )
    assert written == [shown(*case) for case in cases]
    assert shown(2462926.5, "date") == "2031-03-01"
    assert shown(1234567.891, "1") == "1\u202f234\u202f567.9"
    assert shown(None, "3") == shown(float("nan"), "3") == "\u2013"
    assert shown(-0.0001, "2") == "0.00"


def test_embedded_tables_are_the_archive_s_to_the_last_digit(drawn_run):
    tables = embedded(drawn_run)["tables"]
    assert set(tables) == {
        "front",
        "plans",
        "opportunities",
        "windows",
        "targets",
        "judged",
        "events",
        "aims",
        "images",
        "serves",
        "successes",
    }
    for name, columns in tables.items():
        archived = drawn_run.read_table("opportunities" if name == "windows" else name)
        rows = columns.pop("row", range(archived.num_rows))
        for key, values in columns.items():
            wanted = [archived[key][row].as_py() for row in rows]
            assert len(values) == len(wanted), (name, key)
            assert all(same(a, b) for a, b in zip(values, wanted, strict=True)), (name, key)


def test_every_table_is_drawn_or_shown(drawn_run):
    parser = _Marked()
    parser.feed(html_of(drawn_run))
    data = embedded(drawn_run)
    figures = {
        "arcs": "places",
        "planets": "places",
        "mothership": "places",
        "bound": "bound",
        "convergence": "convergence",
        "density": "density",
    }
    there = {place.split("/")[0] for place, _, _ in parser.found} | set(data["tables"])
    there |= {table for table, drawn in figures.items() if drawn in data or drawn in data["figures"]}
    held = {name for name in PAGE_TABLES if read_page_tables(drawn_run).has(name)}
    assert there - {"windows"} == held
    # the made-up run has flybys only, and no spreadsheet: those tables are looked at in the tests of their sections
    of_kinds = {
        "entries", "profiles", "places", "pass_paths", "ground_tracks", "pass_trade", "dispersed_passes", "bound_after",
        "orbits", "altitudes", "flown_orbits",
    }  # fmt: skip
    beside = {made.name for made in made_by("account")}
    assert set(PAGE_TABLES) - held <= of_kinds | beside


def test_figures_hold_the_archive_s_numbers(drawn_run):
    figures = embedded(drawn_run)["figures"]

    def column(table, key):
        return [
            None if value is None or value != value else value
            for value in drawn_run.read_table(table)[key].to_pylist()
        ]

    def rows(figure, kind):
        """Rows of a kind as the figure's specification hands them to the drawing library."""
        return next(one for one in figures[figure]["spec"]["data"] if one["name"] == kind)["values"]

    def values(figure, kind, label, side):
        signals = figures[figure]["spec"]["signals"]
        looks = next(one for one in signals if one["name"] == "looks")["value"]
        return [row.get(side) for row in rows(figure, kind) if looks[row["m"]]["label"] == label]

    for figure, key in (("front", "propellant_kg"), ("front_risk", "risk")):
        marks = [(row["key"], row["x"], row["y"]) for row in rows(figure, "points")]
        assert sorted(marks) == list(
            zip(*(column("front", name) for name in ("plan", key, "science")), strict=True)
        )
    for kind, label, key in (
        ("line", "proven bound", "science_upper"),
        ("points", "best plan found", "science_best"),
    ):
        assert values("bound", kind, label, "x") == column("bound", "propellant_kg")
        assert values("bound", kind, label, "y") == column("bound", key)
    assert values("density", "points", "found", "y") == column("density", "found")
    assert values("density", "line", "expected", "y") == column("density", "expected")
    for label, key in (("most science", "science_best"), ("risk of the selected plan", "risk")):
        assert values("counts", "points", label, "y") == column("counts", key)
    worth, spread = column("counts", "next_probe_science")[1:], column("counts", "next_probe_science_sd")[1:]
    assert values("next_probe", "points", "each more probe", "y") == worth
    whiskers = rows("next_probe", "error")
    assert [row["y"] for row in whiskers] == [a - b for a, b in zip(worth, spread, strict=True)]
    assert [row["y2"] for row in whiskers] == [a + b for a, b in zip(worth, spread, strict=True)]
    convergence = drawn_run.read_table("convergence").to_pylist()
    for search in (0, 1):
        mine = [row for row in convergence if row["search"] == search]
        for side, key in (("x", "evaluations"), ("y", "hypervolume")):
            assert values("convergence", "points", f"search {search}", side) == [row[key] for row in mine]
    changes = [row["x2"] for row in rows("tornado", "across")]
    assert sorted(changes) == sorted(column("sensitivity", "science_change"))


def test_the_map_is_the_archive_turned_to_the_ecliptic(drawn_run):
    """By the rotation about x through the obliquity, written out here (contract: 84381.448 arcsec)."""
    places = embedded(drawn_run)["places"]
    c, s = math.cos(OBLIQUITY_J2000_RAD), math.sin(OBLIQUITY_J2000_RAD)

    def turned(row, names):
        x, y, z = (row[name] / AU_KM for name in names)
        return [x, c * y + s * z, c * z - s * y]

    arcs = drawn_run.read_table("arcs").to_pylist()
    for number, track in places["arcs"].items():
        mine = [row for row in arcs if row["opportunity"] == int(number)]
        assert track["t"] == [row["t_jd_tdb"] for row in mine]
        wanted = [turned(row, ("x_km", "y_km", "z_km")) for row in mine]
        assert np.allclose(np.column_stack([track[axis] for axis in "xyz"]), wanted, atol=6e-7, rtol=0.0)
    for row in drawn_run.read_table("opportunities").to_pylist():
        if str(row["opportunity"]) in places["met"]:
            wanted = turned(row, [f"target_{axis}_km" for axis in "xyz"])
            assert np.allclose(places["met"][str(row["opportunity"])], wanted, atol=6e-7, rtol=0.0)


def test_seen_from_the_mothership_is_the_difference_of_the_two_paths(drawn_run):
    """The made-up mothership rides a circle of 2 au, so its place at any date is known without its table."""
    first = drawn_run.read_table("mothership")["t_jd_tdb"][0].as_py()
    c, s = math.cos(OBLIQUITY_J2000_RAD), math.sin(OBLIQUITY_J2000_RAD)
    apart = embedded(drawn_run)["places"]["apart"]
    assert apart
    for number, track in apart.items():
        mine = [row for row in drawn_run.read_table("arcs").to_pylist() if row["opportunity"] == int(number)]
        for k, row in enumerate(mine):
            angle = 6.0 / 199.0 * (row["t_jd_tdb"] - first) / 9.0
            x = row["x_km"] / AU_KM - 2.0 * math.cos(angle)
            y = c * (row["y_km"] / AU_KM - 2.0 * math.sin(angle)) + s * row["z_km"] / AU_KM
            # rounded to 1e-6 au; the spline's remainder with steps of 0.03 rad is 2 au x 0.03^4 / 384 = 4e-9 au
            assert (track["x"][k], track["y"][k]) == pytest.approx((x, y), abs=2e-6)


def test_the_check_sees_a_number_that_is_not_the_archive_s(drawn_run):
    parser = _Marked()
    parser.feed(html_of(drawn_run).replace(">0.", ">1.", 1))
    assert any(text != shown(archive_value(drawn_run, place), form) for place, form, text in parser.found)


def test_the_page_s_data_can_be_written_as_json(drawn_run):
    json.dumps(page_data(read_page_tables(drawn_run)), allow_nan=False)
