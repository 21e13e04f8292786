"""Flybys, entries and low passes in one run, from the study file to page and package."""

import numpy as np
import pytest

from swarm.app.pipeline import Options, run_all
from swarm.app.surface import hand_off
from swarm.decide.explain import explain_opportunity
from swarm.plan.data import plan_data
from swarm.plan.judged import chances_from_table
from swarm.plan.verify import Tables, problems_of
from swarm.refine.handoff.entry_messages import write_entries
from swarm.refine.handoff.opm import read_opm
from swarm.refine.handoff.pass_read_back import read_segments
from swarm.refine.handoff.read_back import ReadBackDiffers
from tests.helpers.ledum import small


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("ledum")
    text = small(bodies="20_000", counts="[2, 4]", slot_days="40.0", rule='"most-science"')
    # Of one day only one release is flown (release_spacing_days), and a pass is worth two entries here: half of two
    # asked for against a quarter of four. On the days of the entries, the two passes would leave none for them.
    before, name, passes = text.partition('"night side"')
    text = before + name + passes.replace("[12, 9]", "[10.5, 7.5]", 1)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return run_all(folder / "study.toml", folder / "out", Options(workers=1))


def of_kind(run, kind):
    table = run.read_table("opportunities")
    return [row for row in table.to_pylist() if row["kind"] == kind]


def test_three_kinds_stand_in_one_table(made):
    """Each kind's own columns are there for its rows, and what two kinds share is not lost for either."""
    table = made.read_table("opportunities")
    kinds = set(table["kind"].to_pylist())
    assert {"entry", "low-pass"} <= kinds
    for row in table.to_pylist():
        entry, low = row["kind"] == "entry", row["kind"] == "low-pass"
        assert (row["reached_bar"] is not None) == entry
        assert (row["altitude_km"] is not None) == low
        for name in ("latitude_deg", "v_inf_km_s", "ship_x_km", "by_burn", "approach"):
            assert (row[name] is not None) == (entry or low), name
    assert made.read_table("entries").num_rows == len(of_kind(made, "entry"))
    assert made.read_table("passes").num_rows == len(of_kind(made, "low-pass"))


def test_an_entry_is_meant_to_hit_and_flybys_are_not(made):
    for row in made.read_table("opportunities").to_pylist():
        assert row["impact_chance"] == {"entry": 1.0, "flyby": 0.0}.get(row["kind"], row["impact_chance"])


def test_a_plan_has_entries_that_are_heard_one_by_one(made):
    """No moment of any plan needs more channels than the mothership has, by the tables alone."""
    table, study = made.read_table("opportunities"), made.study
    known = {row["opportunity"]: row for row in table.to_pylist()}
    plans: dict[int, list[dict]] = {}
    for row in made.read_table("plans").to_pylist():
        plans.setdefault(row["plan"], []).append(known[row["opportunity"]])
    most = 0
    for chosen in plans.values():
        spans = [(o["relay_begin_jd_tdb"], o["relay_end_jd_tdb"]) for o in chosen if o["kind"] == "entry"]
        spans = [span for span in spans if span[0] is not None and span[0] == span[0]]
        most = max([most, *(sum(a <= begin < b for a, b in spans) for begin, _ in spans)])
    assert 1 <= most <= study.mothership.relay_channels
    assert any(sum(o["kind"] == "entry" for o in chosen) >= 2 for chosen in plans.values())


def test_the_checker_finds_probes_on_one_channel(made):
    """The same tables, were there one channel less than the busiest plan needs: planted by the study."""
    study, judged = made.study, made.read_table("judged")
    relayed = dict(zip(judged["opportunity"].to_pylist(), judged["relayed"].to_pylist(), strict=True))
    table = made.read_table("opportunities")
    begin = float(np.nanmin(table["relay_begin_jd_tdb"].to_numpy(zero_copy_only=False)))
    crowded = table.to_pylist()
    for row in crowded:
        if row["kind"] == "entry" and row["relay_begin_jd_tdb"] is not None:
            row["relay_begin_jd_tdb"], row["relay_end_jd_tdb"] = begin, begin + 0.01
    planted = type(table).from_pylist(crowded, schema=table.schema)
    tables = Tables(planted, made.read_table("front"), made.read_table("plans"), relayed=relayed)
    alone = study.with_keys("mothership", relay_channels=1)
    assert "mothership.relay_channels" in " ".join(problems_of(alone, tables))


def test_what_limits_is_noted_and_on_the_page(made):
    limits = made.manifest["notes"]["limits_of_rows"]
    for said in ("least angle in the corridor", "latest release in the corridor", "rows can be heard with"):
        assert any(said in each for each in limits), said
    page = (made.folder / "report.html").read_text(encoding="utf-8")
    for said in (
        "least angle in the corridor",
        "Into the air",
        "Corridors of the entries",
        "protection asks",
    ):
        assert said in page, said
    warned = " ".join(made.manifest["warnings"])
    assert "contamination: what enters stays" in warned
    assert "radiation is not in this number" in warned


def test_the_row_asks_for_depth_and_the_chance_is_that_of_corridor_and_link(made):
    table, judged, study = made.read_table("opportunities"), made.read_table("judged"), made.study
    data = plan_data(study, table, made.targets(), judged=chances_from_table(study, judged))
    entry = np.array(table["kind"].to_pylist()) == "entry"
    chance = judged["chance_row_1"].to_numpy()
    assert (chance[~entry] == 0.0).all()
    inside = table["corridor_chance"].to_numpy(zero_copy_only=False)[entry]
    assert (chance[entry] <= inside * data.hardware[entry] + 1e-12).all()
    assert chance[entry].max() > 0.8


def test_an_entry_is_explained_step_by_step(made):
    number = of_kind(made, "entry")[0]["opportunity"]
    steps = {step.title: dict(step.lines) for step in explain_opportunity(made, number)}
    assert steps["1 Place"]["moves about"] == "Sun"
    assert "bisection" in steps["3 Corridor"]["law"]
    assert "Sutton" in steps["4b Loads"]["law"]
    assert "kind = flyby" in steps["8 Chance for each row"]['"small bodies"']


def test_profiles_are_of_the_front_and_end_where_the_probe_is_lost(made):
    profiles = made.read_table("profiles")
    entries = {row["opportunity"]: row for row in of_kind(made, "entry")}
    flown = {row["opportunity"] for row in made.read_table("plans").to_pylist()}
    assert set(profiles["opportunity"].to_pylist()) == flown & set(entries)
    numbers = profiles["opportunity"].to_numpy()
    for number in flown & set(entries):
        own = {name: profiles[name].to_numpy()[numbers == number] for name in profiles.column_names}
        row = entries[number]
        assert own["altitude_km"][0] == pytest.approx(row["interface_km"], abs=0.01)
        assert own["time_s"][-1] == pytest.approx(60.0 * row["descent_min"])
        assert own["pressure_bar"][-1] == pytest.approx(row["reached_bar"], rel=1e-3)
        assert own["decel_g"].max() == pytest.approx(row["peak_g"], rel=0.01)
        assert own["latitude_deg"][0] == pytest.approx(row["latitude_deg"], abs=1e-3)
        # steps of twenty seconds of a rate that changes slowly
        relayed = 1e-6 * float(np.trapezoid(own["relay_bit_s"], own["time_s"]))
        assert relayed == pytest.approx(row["relay_mbit"], rel=0.05)


def test_the_package_of_an_entry_ends_at_the_interface(made):
    hand_off(made.folder)
    folder = made.folder / "handoff"
    (first, *_) = sorted(folder.glob("probe_*_entry.oem"))
    stem = first.name.removesuffix(".oem")
    ends = read_segments(first)
    assert ends[-1].center == "VENUS"
    state = read_opm(folder / f"{stem}_interface.opm", center="VENUS")
    np.testing.assert_allclose(state.state, ends[-1].stretch.states[-1], atol=1e-8)
    assert np.isnan(state.covariance).all()
    assert read_opm(folder / f"{stem}_release.opm", center=ends[0].center).manoeuvre is not None
    assert "entries.csv" in {file.name for file in folder.iterdir()}
    text = (folder / "ENTRIES.txt").read_text(encoding="utf-8")
    for said in ("Seiff", "review of every entry", "radiation is not in this number", "end at the interface"):
        assert said in text, said


def test_reading_back_refuses_a_row_that_is_not_what_was_flown(made, tmp_path):
    from swarm.reach.approach.scene import ephemeris_of

    row = dict(of_kind(made, "entry")[0])
    row["angle_inertial_deg"] += 0.1
    with pytest.raises(ReadBackDiffers, match="the table has"):
        write_entries(made.study, [(0, row)], tmp_path, ephemeris=ephemeris_of(made.study))
    row = dict(of_kind(made, "entry")[0])
    row["interface_km"] += 1.0
    with pytest.raises(ReadBackDiffers, match="it ends at"):
        write_entries(made.study, [(0, row)], tmp_path, ephemeris=ephemeris_of(made.study))


def test_entries_that_the_protection_bars_are_told(tmp_path):
    """Every entry counts 1: a limit below that bars them all, which is said where flybys leave plans."""
    text = small(
        bodies="2000", counts="[2, 4]", slot_days="60.0", rule='"most-science"', clock_step_deg="180"
    )
    (tmp_path / "study.toml").write_text(
        text + "\n[protection]\nimpact_chance_max = { Venus = 0.5 }\n", encoding="utf-8"
    )
    run = run_all(tmp_path / "study.toml", tmp_path / "out", Options(workers=1), until="optimize")
    table = run.read_table("opportunities")
    count = table["kind"].to_pylist().count("entry")
    assert count > 0
    (said,) = [each for each in run.manifest["warnings"] if each.startswith("protection")]
    assert f"bars {count} of {table.num_rows} opportunities from every plan" in said
    assert "an entry, and an orbit's end, count 1" in said
