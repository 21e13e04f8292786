"""A study of low passes and one that mixes them with flybys, from the study file to the page."""

from pathlib import Path

import numpy as np
import pytest

from swarm.app.pipeline import Options, run_all, run_one
from swarm.decide.explain import explain_opportunity
from swarm.plan.data import plan_data
from swarm.plan.judged import chances_from_table
from swarm.study.kind_names import FLYBY, LOW_PASS
from targets.base.errors import NothingFeasible
from targets.catalogue.places import is_place
from targets.masses.massive import mass_named
from tests.helpers.ledum import FEW_SAMPLES, QUICK
from tests.helpers.places import ROOT
from tests.helpers.skimming import with_keys

HAREBELL = (ROOT / "runs" / "harebell" / "study.toml").read_text(encoding="utf-8")
SORREL = (ROOT / "runs" / "sorrel" / "study.toml").read_text(encoding="utf-8")


def small(text: str, **changes: str) -> str:
    """Small enough for every day: fewer bodies, dates, heights and clock angles, and a short search."""
    return with_keys(text, **changes) + QUICK + FEW_SAMPLES


def run(folder: Path, text: str, until: str | None = None):
    folder.mkdir()
    (folder / "study.toml").write_text(text, encoding="utf-8")
    (folder / "sorrel.oem").write_bytes((ROOT / "runs" / "sorrel" / "sorrel.oem").read_bytes())
    return run_all(folder / "study.toml", folder / "out", Options(workers=1), until=until)


@pytest.fixture(scope="module")
def mixed(tmp_path_factory):
    text = small(
        HAREBELL, bodies="20_000", altitudes_km="[600, 3000]", release_days_before="[150]",
        clock_step_deg="30", slot_days="40.0", counts="[1, 3]", burn_limit_m_s="600.0",
    )  # fmt: skip
    return run(tmp_path_factory.mktemp("mixed") / "run", text)


def test_both_kinds_stand_in_one_table_and_in_one_front(mixed):
    table = mixed.read_table("opportunities")
    kinds = np.array(table["kind"].to_pylist())
    assert set(kinds) == {FLYBY, LOW_PASS}
    targets, index = mixed.targets(), table["target_index"].to_numpy()
    place = is_place(targets)
    assert targets.target[place].tolist() == ["Jupiter"]
    assert (place[index] == (kinds == "low-pass")).all()
    assert targets.target[index].tolist() == table["target"].to_pylist()
    places = mixed.read_table("places").to_pylist()
    assert [(row["name"], row["naif_id"], row["class"]) for row in places] == [("Jupiter", 599, "-")]
    flown = {row["opportunity"] for row in mixed.read_table("plans").to_pylist()}
    met = {
        kind for kind, number in zip(kinds, table["opportunity"].to_pylist(), strict=True) if number in flown
    }
    assert met == {FLYBY, LOW_PASS}


def test_two_probes_of_a_plan_may_pass_one_planet(mixed):
    table = mixed.read_table("opportunities")
    name = dict(zip(table["opportunity"].to_pylist(), table["target"].to_pylist(), strict=True))
    plans: dict[int, list[str]] = {}
    for row in mixed.read_table("plans").to_pylist():
        plans.setdefault(row["plan"], []).append(name[row["opportunity"]])
    for visited in plans.values():
        bodies = [target for target in visited if target != "Jupiter"]
        assert len(set(bodies)) == len(bodies)
        assert visited.count("Jupiter") <= 2


def test_passes_are_where_they_were_asked_for(mixed):
    """Height over the equatorial radius as asked, to 0.01 km; over the ellipsoid more, by up to the flattening."""
    passes = mixed.read_table("passes").to_pylist()
    jupiter = mass_named("Jupiter")
    flat = jupiter.radius_km - jupiter.polar_radius_km
    for row in passes:
        lowest = min((600.0, 3000.0), key=lambda asked, row=row: abs(row["altitude_km"] - asked - 0.5 * flat))
        assert -0.02 <= row["altitude_km"] - lowest <= flat + 0.02
    wide = mixed.read_table("opportunities")
    assert np.isfinite(wide["altitude_km"].to_numpy(zero_copy_only=False)).sum() == len(passes)


def test_judging_reads_of_the_tables_what_the_screen_flew(mixed):
    """The chance of the row, and the impact chance judged at the screen, follow from what is written."""
    table, judged, study = mixed.read_table("opportunities"), mixed.read_table("judged"), mixed.study
    data = plan_data(study, table, mixed.targets(), judged=chances_from_table(study, judged))
    passes = np.array(table["kind"].to_pylist()) == "low-pass"
    # every pass is a visit of its own
    assert len(set(data.target[passes].tolist())) == passes.sum()
    fits = judged["chance_row_1"].to_numpy()
    assert (fits[~passes] == 0.0).all()
    assert (judged["chance_row_0"].to_numpy()[passes] == 0.0).all()
    lit = (table["sun_elevation_deg"].to_numpy(zero_copy_only=False) >= 0.0) & (
        table["pixel_m"].to_numpy(zero_copy_only=False) <= 40.0
    )
    assert (fits[passes & ~lit] == 0.0).all()
    assert fits[passes & lit].max() > 0.3


def test_counts_recourse_and_page_are_there(mixed):
    assert mixed.read_table("counts").num_rows == 2
    page = (mixed.folder / "report.html").read_text(encoding="utf-8")
    assert "Jupiter" in page


def test_a_pass_is_explained_step_by_step(mixed):
    number = mixed.read_table("passes")["opportunity"][0].as_py()
    steps = {step.title: dict(step.lines) for step in explain_opportunity(mixed, number)}
    assert steps["1 Place"]["moves about"] == "Sun"
    assert "Newton" in steps["3 Aim"]["law"]
    assert "kind = flyby" in steps["8 Chance for each row"]['"any body of the belt"']


@pytest.fixture(scope="module")
def sorrel(tmp_path_factory):
    text = small(
        SORREL,
        altitudes_km="[400, 200, 100]",
        release_days_before="[20, 10]",
        clock_step_deg="60",
        counts="[1, 2]",
    )
    return run(tmp_path_factory.mktemp("sorrel") / "run", text)


def test_no_plan_is_over_the_limit_on_impacts(sorrel):
    """The mothership stays inside Jupiter's sphere throughout: no flyby is offered, and passes are all there is."""
    table = sorrel.read_table("opportunities")
    assert set(table["kind"].to_pylist()) == {"low-pass"}
    assert set(table["center"].to_pylist()) == {"Jupiter"}
    chance = dict(zip(table["opportunity"].to_pylist(), table["impact_chance"].to_pylist(), strict=True))
    assert max(chance.values()) <= 1e-4
    total: dict[int, float] = {}
    for row in sorrel.read_table("plans").to_pylist():
        total[row["plan"]] = total.get(row["plan"], 0.0) + chance[row["opportunity"]]
    assert max(total.values()) <= 1e-4
    assert sorrel.read_table("targets").num_rows == 0
    assert any("may harbour life" in text for text in sorrel.manifest["warnings"])
    assert any(
        "over the limit on impacts" in text for text in sorrel.manifest["notes"]["mothership"]["notes"]
    )


def test_a_limit_that_no_pass_keeps_is_told_with_the_least_chance(tmp_path):
    text = small(
        SORREL.replace("1e-4 }", "0.0 }"), altitudes_km="[100]", release_days_before="[10]", clock_step_deg="90",
        counts="[1]",
    )  # fmt: skip
    with pytest.raises(NothingFeasible, match="none of which keeps the limit on impacts") as refusal:
        run(tmp_path / "none", text, "front")
    assert "the least found is" in refusal.value.limit


def test_the_page_shows_the_passes_and_says_first_what_to_beware_of(sorrel):
    page = (sorrel.folder / "report.html").read_text(encoding="utf-8")
    assert page.index("Europa may harbour life") < page.index("The answer</h3>")
    assert "the limit of the study is 0.0001" in page
    assert "Low passes</h3>" in page
    drawn = {file.stem for file in (sorrel.folder / "figures").iterdir()}
    stems = ("around_jupiter", "around_europa", "pass_aims", "pass_nearest", "pass_trade", "ground")
    assert {f"{stem}_at_europa" for stem in stems} <= drawn
    for stem in stems:
        assert f'id="fig-{stem}_at_europa"' in page
    assert {"pass_paths", "ground_tracks", "pass_trade", "dispersed_passes", "bound_after"} <= {
        file.stem for file in sorrel.folder.iterdir()
    }


def test_a_planet_met_by_a_leg_to_its_centre_has_no_path_of_the_mothership(mixed):
    """And may not harbour life: nothing is said of that."""
    other = (mixed.folder / "report.html").read_text(encoding="utf-8")
    assert "harbour life" not in other
    assert set(mixed.read_table("pass_paths")["what"].to_pylist()) == {"probe"}


def test_the_package_of_the_chosen_plan_holds_its_passes(sorrel):
    """The whole way by the stages: what is handed over is listed and was read back."""
    plan = sorrel.manifest["notes"]["summary"]["plan"]
    done = run_one("handoff", sorrel.folder, Options(workers=1), plan=plan)
    noted = done.manifest["notes"]["handoff"]
    assert {"passes.csv", "PASSES.txt", "passes.bsp"} <= set(noted["files"])
    assert 0.0 < noted["read_back_m"] < 10.0
