"""The page: self-contained, the same bytes, and no way out for hostile names."""

import json
import re

import numpy as np
import pyarrow as pa
import pytest
from markupsafe import escape as text

from swarm.app.pipeline import Options, run_one
from swarm.decide.summary import choose_plan, counts, limits
from swarm.report.answer import answer
from swarm.report.markup import name as name_html
from swarm.report.markup import script_json
from swarm.report.page import write_page
from swarm.report.page_tables import plan_rows, read_page_tables
from swarm.run.folder import Run
from targets.base.constants import AU_KM
from targets.base.errors import InputError
from targets.catalogue.invented import invented_belt
from tests.helpers.places import FIREWEED
from tests.helpers.written import write_some

HOSTILE = "</script><script>alert(1)</script>"
HOSTILE_NAME = '"><img src=x onerror=alert(2)>&amp;\u2028'
START = 2462927.5


@pytest.fixture
def run(tmp_path):
    """A small archive written by hand: three opportunities, three plans, and a belt with hostile names."""
    run = Run.create(tmp_path / "run", FIREWEED)
    belt = invented_belt(3, 1)
    belt.target[0], belt.name[0] = HOSTILE, HOSTILE_NAME
    write_some(run, "targets", belt.to_table())
    write_some(run, "opportunities", opportunities(belt))
    angle = np.linspace(0.0, 6.0, 50)
    path = {"x_km": AU_KM * np.cos(angle), "y_km": AU_KM * np.sin(angle), "z_km": 0.0 * angle}
    write_some(run, "mothership", pa.table({"t_jd_tdb": START + 20.0 * np.arange(50.0), **path}))
    write_some(run, "front", FRONT)
    write_some(run, "plans", PLANS)
    run.note("catalogue", {"bodies": 3, "rules": [HOSTILE]})
    run.note("summary", summary(run))
    return run


def opportunities(belt):
    n = 3
    columns = {
        "opportunity": np.arange(n),
        "target": list(belt.target),
        "kind": ["flyby"] * n,
        "release_jd_tdb": START + np.array([10.0, 25.0, 200.0]),
        "burn_jd_tdb": START + np.array([13.0, 28.0, 203.0]),
        "encounter_jd_tdb": START + np.array([310.0, 60.0, 400.0]),
        "burn_m_s": [149.0, 20.0, 70.0],
    }
    for name in ("v_rel_km_s", "phase_in_deg", "sun_range_au", "earth_range_au", "mothership_range_km"):
        columns[name] = np.full(n, 2.0)
    for axis in "xyz":
        columns[f"target_{axis}_km"] = AU_KM * np.ones(n)
    return pa.table(columns)


FRONT = pa.table(
    {
        "plan": [0, 1, 2],
        "probes": [0, 1, 3],
        "science": [0.0, 0.5, 0.6],
        "propellant_kg": [0.0, 0.1, 1.0],
        "risk": [1.0, 0.4, 0.3],
    }
)
PLANS = pa.table(
    {
        "plan": [1, 2, 2, 2],
        "probe": [0, 0, 1, 2],
        "opportunity": [1, 0, 1, 2],
        "success": [0.7, 0.7, 0.7, 0.7],
        "propellant_kg": [0.1, 0.6, 0.1, 0.3],
    }
)


def summary(run):
    return {
        "rule": "most-science",
        "plan": 2,
        "targets": 3,
        "opportunities": 3,
        "bounded": 3,
        "rule_met": True,
    }


def test_the_knee_is_the_plan_nearest_to_the_ideal_corner():
    # scaled losses: plan 0 (1, 0, 1), plan 1 (1/6, 0.1, 1/7), plan 2 (0, 1, 0): by hand plan 1 is nearest
    assert choose_plan(FRONT, "knee") == 1
    assert choose_plan(FRONT, "most-science") == 2
    assert choose_plan(FRONT, "least-risk") == 2


def test_of_equal_plans_the_lowest_number_is_chosen():
    same = pa.table(
        {
            "plan": [4, 3],
            "probes": [1, 1],
            "science": [0.5, 0.5],
            "propellant_kg": [1.0, 1.0],
            "risk": [0.1, 0.1],
        }
    )
    assert {choose_plan(same, rule) for rule in ("knee", "most-science", "least-risk")} == {3}


def test_limits_are_counted_in_the_tables(run):
    found = counts(run.study, run.read_table("opportunities"))
    # burns above 135 m/s: one; arcs 297, 32 and 197 d of 30-300 d: one in each end tenth
    assert found.flown_by == 3
    assert (found.targets, found.burn_close, found.arc_close_long, found.arc_close_short) == (3, 1, 1, 1)
    said = "\n".join(limits(run.study, run.read_table("opportunities"), FRONT, PLANS))
    assert "1 of 3 targets need more than 90 % of 150 m/s" in said
    assert "flies 3 of 12 probes" in said
    # gaps of 15 and 175 d; 15 d is less than a slot of 10 d above the spacing of 14 d
    assert "1 of 2 gaps" in said


def test_the_page_is_self_contained_and_the_same_bytes(run):
    first = write_page(run).read_bytes()
    assert write_page(Run.open(run.folder)).read_bytes() == first
    page = first.decode("utf-8")
    assert not re.search(r"<(script|img|link|iframe)[^>]*\b(src|href)=", page)
    assert not re.search(
        r"https?://(?!www\.w3\.org/(2000/svg|2000/xmlns/|1999/xlink))", page
    )  # names, not places
    assert "default-src 'none'" in page


def test_hostile_names_do_not_get_out(run):
    page = write_page(run).read_text(encoding="utf-8")
    assert "alert(1)</script>" not in page
    assert "<img src=x" not in page
    assert "\u2028" not in page[page.index('id="data"') :]
    assert text(HOSTILE) in page
    data = re.search(r'id="data">(.*?)</script>', page, re.DOTALL).group(1)
    assert "<" not in data
    assert json.loads(data)["tables"]["opportunities"]["target"][0] == HOSTILE


def test_a_name_is_kept_apart_from_the_text_around_it():
    assert name_html("<b>") == "<bdi>&lt;b&gt;</bdi>"
    assert name_html("x" * 25) == f'<bdi class="long">{"x" * 25}</bdi>'


def test_script_json_has_no_sign_that_ends_a_script():
    written = script_json({"a": "</script>&\u2028"})
    assert not set("<>&\u2028") & set(written)
    assert json.loads(written) == {"a": "</script>&\u2028"}
    with pytest.raises(ValueError, match="JSON"):
        script_json([float("nan")])


def test_the_answer_is_said_in_words(run):
    said = re.sub(r"<[^>]+>", "", answer(read_page_tables(run))).replace("\u00a0", " ")
    assert "Of 3 bodies 3 are in reach" in said
    assert "3 of 12 probes" in said
    assert "60 % of the science for 1.00 kg" in said
    assert "short of a threshold is 30 %" in said
    assert f"it visits {text(HOSTILE)}, " in said
    assert "What would change it most" not in said
    write_some(run, "sensitivity", SENSITIVITY)
    said = re.sub(r"<[^>]+>", "", answer(read_page_tables(run)))
    assert "What would change it most: burn limit; at 120 m/s science changes by -0.080" in said


def test_the_next_decision_is_the_first_burn_or_the_first_release(run):
    said = '<dt>Next decision</dt><dd><data data-at="{}" data-form="date">{}</data>'
    assert said.format("opportunities/release_jd_tdb/0", "2031-03-12") in answer(read_page_tables(run))
    dates = [START + 200.0, START + 13.0, None]
    write_some(run, "recourse", pa.table({"probe": [2, 0, 1], "burn_by_jd_tdb": dates}))
    made = answer(read_page_tables(run))
    assert said.format("recourse/burn_by_jd_tdb/1", "2031-03-15") in made
    assert "whether probe 0 flies" in made


SENSITIVITY = pa.table(
    {"factor": ["burn limit"], "side": ["low"], "setting": ["120 m/s"], "science_change": [-0.08]}
)


def test_probes_of_a_plan_come_in_order_of_release(run):
    rows = plan_rows(read_page_tables(run), 2)
    assert [row["opportunity"] for row in rows] == [0, 1, 2]
    assert rows[0]["target"] == HOSTILE


def test_sections_without_tables_are_left_out_and_said(run):
    page = write_page(run).read_text(encoding="utf-8")
    assert (
        "Not in this run folder: How many probes, How many return, When it happens, Under all forces, Budgets, "
        "Beside the flight" in page
    )
    assert 'data-figure="tornado"' not in page
    assert not list((run.folder / "figures").glob("tornado.*"))


def test_a_run_without_a_front_is_refused(tmp_path):
    with pytest.raises(InputError, match="no front yet"):
        write_page(Run.create(tmp_path, FIREWEED))


def test_a_folder_of_tables_from_before_is_refused_with_its_version(run):
    write_some(run, "front", FRONT.drop_columns(["risk"]))
    run.manifest["tool"] = "swarm-flyby 0.0.9"
    with pytest.raises(InputError) as refused:
        write_page(run)
    assert "swarm-flyby 0.0.9, without risk" in str(refused.value)
    assert "front.parquet" in str(refused.value)


def test_a_plan_without_probes_can_be_chosen(run):
    notes = run.manifest["notes"]["summary"]
    run.note("summary", {**notes, "plan": 0})
    assert "It flies no probe." in write_page(run).read_text(encoding="utf-8")


@pytest.mark.parametrize("version", [1, 99])
def test_a_folder_of_another_version_is_refused_with_that_version(run, version):
    path = run.folder / "manifest.json"
    manifest = json.loads(path.read_text(encoding="utf-8"))
    path.write_text(json.dumps({**manifest, "schema": version}), encoding="utf-8")
    with pytest.raises(InputError, match=f"version {version} of the tables"):
        run_one("report", run.folder, Options(workers=1))


def test_a_folder_without_tables_for_drawing_is_drawn(run):
    page = write_page(run).read_text(encoding="utf-8")
    assert "This run folder holds no arcs" in page
    assert "This run folder holds no aims" in page
