"""Low passes flown sample by sample in the field, beside the covariances that the judgement carries by matrices."""

import numpy as np
import pyarrow.compute as pc
import pytest

from swarm.encounter.error_model import Errors, errors_of
from swarm.encounter.pass_table import cases_of_table
from swarm.encounter.pass_worth import worth_of
from swarm.reach.approach.scene import ephemeris_of
from swarm.refine import pass_dispersion
from swarm.refine.pass_dispersion import disperse_pass
from swarm.refine.pass_path import field_of_pass
from swarm.refine.passes_dispersed import dispersed_passes, spread_lines
from swarm.run.tables import parquet_tables
from swarm.run.tables.declaration import problems_of
from swarm.study.study_file import read_study
from tests.helpers.serial_pool import Serial
from tests.helpers.skimming import demonstration, screening_of, study_in

SAMPLES = 200
# Four times the spread of a sigma that is counted from so many samples.
ALLOWED = 4.0 / np.sqrt(2.0 * SAMPLES)


@pytest.fixture(scope="module")
def passes(tmp_path_factory):
    text = demonstration("sorrel", altitudes_km="[250]", release_days_before="[15]", clock_step_deg="90")
    study = read_study(study_in(tmp_path_factory.mktemp("passes"), text))
    return study.with_keys("refine", pass_samples=SAMPLES), screening_of(study).opportunities


def flown(study, row):
    ephemeris = ephemeris_of(study)
    return disperse_pass(study, row, field_of_pass(row, ephemeris), ephemeris)


def test_what_is_flown_is_what_was_judged(passes):
    """Two ways to one spread: every sample in the field, and matrices; to what so many samples tell."""
    study, table = passes
    judged = worth_of(study, cases_of_table(table))
    for k, row in enumerate(table.to_pylist()[:2]):
        spread = flown(study, row)
        for found, cov in (
            (spread.covariance_km2, judged.delivery_cov_km2[k]),
            (spread.dead_covariance_km2, judged.start_cov_km2[k]),
        ):
            assert np.sqrt(np.diag(found)) == pytest.approx(np.sqrt(cov[:2]), rel=ALLOWED)
        mean = spread.b_km.mean(axis=0) - spread.aim_km
        assert np.abs(mean).max() < 4.0 * np.sqrt(judged.delivery_cov_km2[k][:2].max() / SAMPLES)
        assert np.quantile(spread.spent_m_s, 0.99) == pytest.approx(judged.dv99_needed_m_s[k], rel=0.25)
        assert spread.heights_km.std() == pytest.approx(judged.sigma_altitude_km[k], rel=ALLOWED)
        # a tail of several sigma: where sigma is known to a tenth, its logarithm to a quarter
        flown_power, judged_power = np.log10(spread.impact_chance), np.log10(judged.impact_chance[k])
        assert flown_power == pytest.approx(judged_power, rel=0.25)
        assert spread.hits == 0


def test_corrections_lead_back_to_the_aim_point(passes, monkeypatch):
    """A start that errs, and nothing else: of tens of kilometres corrections leave metres."""
    study, table = passes
    errors = errors_of(study)
    perfect = Errors(*[np.zeros_like(value) for value in errors])._replace(
        mothership_km=20.0 * errors.mothership_km, mothership_km_s=20.0 * errors.mothership_km_s,
        after_burn_s=errors.after_burn_s, before_s=errors.before_s, turnaround_s=errors.turnaround_s,
    )  # fmt: skip
    monkeypatch.setattr(pass_dispersion, "errors_of", lambda _: perfect)
    row = {**table.to_pylist()[0], "ephemeris_sigma_km": 0.0}
    spread = flown(study, row)
    assert np.sqrt(np.diag(spread.dead_covariance_km2)).max() > 10.0
    assert np.linalg.norm(spread.b_km - spread.aim_km, axis=1).max() < 0.05
    # what the ground does not know stays: mutation of the same
    monkeypatch.setattr(pass_dispersion, "errors_of", lambda _: perfect._replace(probe_km=5.0, sight_rad=1.0))
    blind = flown(study, row)
    assert np.sqrt(np.diag(blind.covariance_km2)).max() > 2.0


def test_the_table_hangs_on_the_seed_and_the_opportunity_alone(passes):
    study, table = passes
    rows = table.to_pylist()[:2]
    tables, said = dispersed_passes(study, 7, [(0, rows[0]), (1, rows[1])], pool=Serial())
    assert said == []
    assert set(tables) == {"dispersed_passes", "bound_after"}
    for name, table in tables.items():
        assert problems_of(parquet_tables()[name], table) == []
    assert tables["bound_after"]["bound"].to_pylist() == [0, 0]
    made = tables["dispersed_passes"]
    again, _ = dispersed_passes(study, 7, [(1, rows[1]), (0, rows[0])], pool=Serial())
    assert again["dispersed_passes"].to_pylist() == made.to_pylist()[::-1]
    first = made.to_pylist()[0]
    assert first["height_low_km"] < first["height_median_km"] < first["height_high_km"]
    assert first["hit_chance_high"] == pytest.approx(1.0 - 0.025 ** (1.0 / SAMPLES), rel=1e-6)
    assert "pass of Europa between" in spread_lines(made)[0]


def test_a_judgement_that_is_off_is_said(passes):
    """Matrices three times too large: the flights do not have that spread."""
    study, table = passes
    row = table.to_pylist()[0]
    wrong = {**row, "by_burn": [3.0 * value for value in row["by_burn"]]}
    _, said = dispersed_passes(study, 7, [(0, wrong)], pool=Serial())
    assert any("without corrections arrives to" in text for text in said)


@pytest.mark.parametrize("steer", ["carrier", "spin"])
def test_passes_that_the_mothership_steers_are_dispersed_too(tmp_path, steer):
    """The probe's own burn is 0: what it was given errs as a burn does, and nobody is dead before it."""
    text = demonstration("sorrel", altitudes_km="[250]", release_days_before="[15]", clock_step_deg="90")
    text = text.replace("clock_step_deg = 90", f'clock_step_deg = 90\nsteer = "{steer}"')
    text = text.replace(
        "mass_kg = 900.0", "mass_kg = 900.0\nspin_rpm = 60.0\nspin_radius_m = 1.0\npropellant_kg = 80.0"
    )
    study = read_study(study_in(tmp_path, text)).with_keys("refine", pass_samples=SAMPLES)
    table = screening_of(study).opportunities
    row = next(row for row in table.to_pylist() if row["steer"] == steer)
    judged = worth_of(study, cases_of_table(table.filter(pc.equal(table["opportunity"], row["opportunity"]))))
    assert row["burn_m_s"] == 0.0
    spread = flown(study, row)
    for found, cov in (
        (spread.covariance_km2, judged.delivery_cov_km2[0]),
        (spread.dead_covariance_km2, judged.start_cov_km2[0]),
    ):
        assert np.sqrt(np.diag(found)) == pytest.approx(np.sqrt(cov[:2]), rel=ALLOWED)
    assert np.log10(spread.impact_chance) == pytest.approx(np.log10(judged.impact_chance[0]), rel=0.25)
    made, said = dispersed_passes(study, 7, [(0, row)], pool=Serial())
    assert made["dispersed_passes"].num_rows == 1
    assert not any("not dispersed" in text for text in said)
