"""Entries that the mothership aims, from study file to page and package: its burns, its days on their way, its risk."""

import math

import numpy as np
import pytest

from swarm.app.pipeline import Options, run_all
from swarm.app.surface import hand_off
from swarm.decide.explain import explain_opportunity
from swarm.plan.data import plan_data
from swarm.plan.judged import chances_from_table
from swarm.plan.verify import Tables, problems_of
from swarm.refine.handoff.opm import read_opm
from tests.helpers.ledum import small


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("aimed")
    text = small(
        bodies="1000", counts="[2, 4]", slot_days="80.0", rule='"most-science"', release_spacing_days="2.0",
        clock_step_deg="180", release_days_before="[12, 9]",
    )  # fmt: skip
    text = text.replace('designs             = ["shell"]\n', 'designs = ["shell"]\nsteer = "carrier"\n')
    text = text.replace("relay_channels = 2", "relay_channels = 2\npropellant_kg = 60.0")
    # of one day only one release is flown: on other days than the entries, the passes leave some for them
    before, name, passes = text.partition('"night side"')
    text = before + name + passes.replace("[12, 9]", "[14.5, 6.5]", 1)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return run_all(folder / "study.toml", folder / "out", Options(workers=1))


def entries(run):
    return [row for row in run.read_table("opportunities").to_pylist() if row["kind"] == "entry"]


def test_the_probe_burns_nothing_and_the_mothership_pays(made):
    ship = made.study.mothership
    for row in entries(made):
        assert row["steer"] == "carrier"
        assert row["burn_m_s"] == 0.0
        assert row["burn_jd_tdb"] == row["release_jd_tdb"]
        given = math.hypot(*(row[f"aimed_{axis}_m_s"] for axis in "xyz"))
        assert given == pytest.approx(row["carrier_out_m_s"], rel=1e-12)
        both = row["carrier_out_m_s"] + row["carrier_back_m_s"]
        kilograms = ship.mass_kg * (math.exp(both / (9.80665 * ship.isp_s)) - 1.0)
        assert row["carrier_propellant_kg"] == pytest.approx(kilograms, rel=1e-12)
        assert row["carrier_propellant_kg"] <= 60.0
        assert row["impact_course_days"] == 2.0
        assert 0.0 < row["carrier_impact_chance"] <= ship.divert_failure


def test_a_plan_is_charged_for_all_of_it(made):
    """The front's sums are those of its probes; the tank holds; the checker says so of its own."""
    known = {row["opportunity"]: row for row in made.read_table("opportunities").to_pylist()}
    plans = made.read_table("plans").to_pylist()
    steered = 0
    for row in made.read_table("front").to_pylist():
        own = [known[each["opportunity"]] for each in plans if each["plan"] == row["plan"]]
        kilograms = math.fsum(each["carrier_propellant_kg"] or 0.0 for each in own)
        chance = math.fsum(
            (each["impact_chance"] or 0.0) + (each["carrier_impact_chance"] or 0.0) for each in own
        )
        assert row["carrier_propellant_kg"] == pytest.approx(kilograms, rel=1e-12)
        assert row["impact_chance"] == pytest.approx(chance, rel=1e-12)
        assert kilograms <= 60.0
        steered = max(steered, sum(each["steer"] == "carrier" for each in own))
    assert steered >= 1
    assert problems_of(made.study, tables_of(made)) == []


def tables_of(made, **planted):
    relayed = dict(
        zip(
            *(made.read_table("judged")[name].to_pylist() for name in ("opportunity", "relayed")), strict=True
        )
    )
    table = made.read_table("opportunities")
    rows = [row | (planted if row["steer"] == "carrier" else {}) for row in table.to_pylist()]
    changed = type(table).from_pylist(rows, schema=table.schema)
    return Tables(changed, made.read_table("front"), made.read_table("plans"), relayed=relayed)


@pytest.mark.parametrize(
    ("planted", "said"),
    [
        ({"carrier_propellant_kg": 0.0}, "two burns take"),
        ({"carrier_impact_chance": 0.5}, "carrier_impact_chance is 0.5"),
        ({"impact_course_days": 30.0}, "divert_after_days"),
        ({"steer": "probe"}, "approach.steer is carrier"),
    ],
)
def test_the_checker_finds_what_is_planted(made, planted, said):
    assert said in " ".join(problems_of(made.study, tables_of(made, **planted)))


def test_the_chance_that_it_follows_counts_against_the_limit(made):
    """Every entry counts 1, being an impact; what the mothership risks comes on top, where that is included."""
    known = {row["opportunity"]: row for row in made.read_table("opportunities").to_pylist()}
    plans: dict[int, list[dict]] = {}
    for row in made.read_table("plans").to_pylist():
        plans.setdefault(row["plan"], []).append(known[row["opportunity"]])
    entering = {plan: own for plan, own in plans.items() if any(each["kind"] == "entry" for each in own)}
    assert entering
    limited = made.study.with_keys("protection", impact_chance_max={"Venus": 0.5})
    for included in (True, False):
        told = problems_of(limited.with_keys("protection", carrier_included=included), tables_of(made))
        for plan, own in entering.items():
            parts = ("impact_chance", *["carrier_impact_chance"] * included)
            total = math.fsum(each[part] or 0.0 for each in own for part in parts)
            assert f"plan {plan}: protection.impact_chance_max.Venus: {total:.4g}, the limit is 0.5" in told


def test_judging_again_reads_what_puts_the_probe_on_its_way(made):
    """The chances of the table are those of the impulse that the mothership gives; no correction is flown."""
    table, judged, study = made.read_table("opportunities"), made.read_table("judged"), made.study
    entry = np.array(table["kind"].to_pylist()) == "entry"
    data = plan_data(study, table, made.targets(), judged=chances_from_table(study, judged))
    inside = table["corridor_chance"].to_numpy(zero_copy_only=False)[entry]
    assert len(set(inside.round(2))) > 3
    assert (judged["chance_row_1"].to_numpy()[entry] <= inside * data.hardware[entry] + 1e-12).all()
    assert set(judged["corrections"].to_numpy()[entry]) == {0}


def test_it_is_told_everywhere(made):
    number = entries(made)[0]["opportunity"]
    steps = {step.title: dict(step.lines) for step in explain_opportunity(made, number)}
    assert "fails to divert with 0.001" in steps["4d Mothership"]["chance that it hits"]
    assert steps["4d Mothership"]["on the probe's course"] == "2 d"
    page = (made.folder / "report.html").read_text(encoding="utf-8")
    assert "The mothership is on the course of a probe at Venus for up to 2 days" in page


def test_the_package_says_whose_impulse_it_is(made):
    hand_off(made.folder)
    folder = made.folder / "handoff"
    (first, *_) = sorted(folder.glob("probe_*_entry.oem"))
    assert "the mothership's: the probe burns nothing" in first.read_text(encoding="ascii")
    stem = first.name.removesuffix(".oem")
    assert not (folder / f"{stem}_release.opm").exists()
    center = "SUN" if "SUN" in first.read_text(encoding="ascii").split("CENTER_NAME")[1][:12] else "VENUS"
    assert read_opm(folder / f"{stem}_after_burn.opm", center=center).manoeuvre is None
    head, row = (folder / "entries.csv").read_text(encoding="utf-8").splitlines()[:2]
    told = dict(zip(head.split(","), row.split(","), strict=True))
    assert told["steer"] == "carrier"
    assert float(told["carrier_propellant_kg"]) > 0.0
