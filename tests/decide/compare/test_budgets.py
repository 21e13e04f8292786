"""Masses, delta-v, recoil and tracking against sums worked by hand."""

import math

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarm.encounter.propellant import probe_masses
from swarm.plan.budgets import (
    delta_v_budget,
    mass_budget,
    power_budget,
    recoil_table,
    release_recoil,
    swarm_masses,
)
from swarm.plan.tracking import plan_hours
from tests.helpers.small_cases import make_opportunities, make_study

MARGINS = {
    "deterministic_fraction": 0.05, "attitude_m_s": 2.0, "attitude_fraction": 1.0, "residual_fraction": 0.02,
    "probe_maturity_fraction": 0.10, "dispenser_maturity_fraction": 0.05, "system_fraction": 0.20,
}  # fmt: skip
PROBE = {
    "count": 12,
    "wet_mass_kg": 12.0,
    "dispenser_kg": 6.0,
    "burn_limit_m_s": 150.0,
    "isp_s": 220.0,
    "spring_m_s": 1.0,
}


def study(**margins):
    return make_study(
        probe=PROBE, margins={**MARGINS, **margins}, mothership={"mass_kg": 600.0},
        delivery={"correction_budget_m_s": 8.5},
    )  # fmt: skip


def as_rows(table, key):
    return {row[key]: row for row in table.to_pylist()}


def table_with(burns):
    burns = np.asarray(burns, float)
    n = len(burns)
    return make_opportunities(
        list(range(n)),
        burn_m_s=burns,
        burn_x_m_s=0.6 * burns,
        burn_y_m_s=-0.8 * burns,
        burn_z_m_s=0.0 * burns,
    )


def test_the_mass_of_twelve_probes_worked_by_hand():
    # per probe 12 kg loaded and 6 kg of dispenser. Expected: 12 x 1.10 = 13.2 and 6 x 1.05 = 6.3;
    # at most, with 20 % of the system: 15.84 and 7.56. Twelve of each.
    total = as_rows(mass_budget(study(), 12), "item")["total"]
    assert total["best_kg"] == pytest.approx(216.0, abs=1e-9)
    assert total["contingency_kg"] == pytest.approx(14.4 + 3.6, abs=1e-9)
    assert total["expected_kg"] == pytest.approx(234.0, abs=1e-9)
    assert total["margin_kg"] == pytest.approx(46.8, abs=1e-9)
    assert total["maximum_kg"] == pytest.approx(280.8, abs=1e-9)
    # 20 % of what is expected is 16.7 % of what is allowed for
    assert total["margin_of_expected"] == pytest.approx(0.2, abs=1e-12)
    assert total["margin_of_maximum"] == pytest.approx(1.0 / 6.0, abs=1e-12)


def test_the_propellant_of_a_probe_worked_by_hand():
    # full tanks: 150 x 1.05 + 8.5 + 2 x 2 = 170 m/s; exp(170 / (9.80665 x 220)) = 1.0819868; burnt 12 (1 - 1/that)
    burnt = 12.0 * (1.0 - math.exp(-170.0 / (9.80665 * 220.0)))
    items = as_rows(mass_budget(study(), 1), "item")
    assert burnt == pytest.approx(0.9093, abs=1e-3)
    assert items["propellant usable"]["best_kg"] == pytest.approx(burnt, abs=1e-12)
    assert items["propellant residual"]["best_kg"] == pytest.approx(0.02 * burnt, abs=1e-12)
    assert items["probe structure"]["best_kg"] == pytest.approx(12.0 - 1.02 * burnt, abs=1e-12)


@given(
    probes=st.integers(0, 40),
    maturity=st.floats(0.0, 1.0),
    system=st.floats(0.0, 1.0),
    residual=st.floats(0.0, 0.3),
)
def test_masses_add_up(probes, maturity, system, residual):
    asked = study(probe_maturity_fraction=maturity, system_fraction=system, residual_fraction=residual)
    table = mass_budget(asked, probes).to_pylist()
    for name in ("best_kg", "contingency_kg", "expected_kg", "margin_kg", "maximum_kg"):
        assert sum(row[name] for row in table[:-1]) == pytest.approx(table[-1][name], abs=1e-9)
    for row in table:
        assert row["best_kg"] + row["contingency_kg"] + row["margin_kg"] == pytest.approx(
            row["maximum_kg"], abs=1e-9
        )
    assert table[-1]["best_kg"] == pytest.approx(18.0 * probes, abs=1e-9)


def test_each_margin_changes_the_total_by_its_share():
    base = float(swarm_masses(study(), [1]).maximum_kg[0])
    assert float(swarm_masses(study(probe_maturity_fraction=0.2), [1]).maximum_kg[0]) - base == pytest.approx(
        12.0 * 0.1 * 1.2
    )
    assert float(
        swarm_masses(study(dispenser_maturity_fraction=0.1), [1]).maximum_kg[0]
    ) - base == pytest.approx(6.0 * 0.05 * 1.2)
    assert float(swarm_masses(study(system_fraction=0.3), [1]).maximum_kg[0]) - base == pytest.approx(
        (13.2 + 6.3) * 0.1
    )


def test_the_heavier_probe_still_has_its_delta_v():
    # structure, residual and burnt propellant grow together: the ratio that sets delta-v stays
    items = as_rows(mass_budget(study(), 1), "item")
    burnout = items["probe structure"]["maximum_kg"] + items["propellant residual"]["maximum_kg"]
    full = burnout + items["propellant usable"]["maximum_kg"]
    assert 9.80665 * 220.0 * math.log(full / burnout) == pytest.approx(170.0, abs=1e-9)


def test_the_delta_v_of_a_probe_worked_by_hand():
    # burn 100, statistical 3 (a 99th percentile, no margin), attitude 2: best 105.
    # Contingency 100 x 0.05 + 2 x 1 = 7, expected 112, carried 170, left 58.
    row = delta_v_budget(
        study(), table_with([100.0]), np.array([0, -1]), dv99_m_s=np.array([3.0])
    ).to_pylist()[0]
    found = [row[f"{name}_m_s"] for name in ("best", "contingency", "expected", "carried", "margin")]
    assert found == pytest.approx([105.0, 7.0, 112.0, 170.0, 58.0], abs=1e-9)


def test_momentum_of_the_releases_closes():
    asked, table = study(), table_with([100.0, 50.0, 120.0, 80.0])
    found = release_recoil(asked, table, np.array([0, 1, 2, 3]))
    probe_kg = asked.probe.wet_mass_kg
    push = probe_kg * found.probe_change_m_s + found.mass_after_kg[:, None] * found.recoil_m_s
    assert np.abs(push).max() < 1e-12
    separation = found.probe_change_m_s - found.recoil_m_s
    np.testing.assert_allclose(np.linalg.norm(separation, axis=1), 1.0, rtol=0, atol=1e-12)
    # 12 kg at 1 m/s from 600 kg: 20 mm/s, then a little more from what is left
    np.testing.assert_allclose(
        np.linalg.norm(found.recoil_m_s, axis=1), 12.0 / (600.0 - 12.0 * np.arange(4)), rtol=1e-12
    )
    assert found.mass_after_kg[-1] == 600.0 - 4 * probe_kg


def test_releases_come_in_order_of_date():
    asked, table = study(), table_with([100.0, 50.0, 120.0])
    rows = recoil_table(asked, table, np.array([0, 1, 2])).to_pylist()
    assert [row["release_jd_tdb"] for row in rows] == sorted(table["release_jd_tdb"].to_pylist())
    assert [row["mothership_before_kg"] for row in rows] == [600.0, 588.0, 576.0]
    assert probe_masses(asked).wet_kg == rows[0]["mothership_before_kg"] - rows[0]["mothership_after_kg"]


def test_tracking_hours_worked_by_hand():
    # 107 days from release to encounter: 100 of cruise at 4 h a week, then 7 + 7 days at 8 h
    table = make_opportunities([0], release_jd_tdb=[2463000.5], encounter_jd_tdb=[2463107.5])
    assert plan_hours(study(), table, np.array([0, -1])) == pytest.approx(
        100.0 / 7.0 * 4.0 + 14.0 * 8.0, abs=1e-9
    )
    assert plan_hours(study(), table, np.array([-1])) == 0.0


def test_power_at_the_encounter_is_worked_out_by_hand():
    """1 361 W/m^2 at 1 au (Kopp & Lean 2011) on 0.12 m^2 of cells of 0.3, three quarters of it at an angle, at 2 au."""
    study = make_study(
        probe={"count": 2, "panel_area_m2": 0.12, "panel_efficiency": 0.3, "panel_factor": 0.75, "idle_w": 5.0,
               "radio_dc_w": 30.0},
    )  # fmt: skip
    table = make_opportunities([0, 1]).append_column("sun_range_au", pa.array([2.0, 4.0]))
    near, far = power_budget(study, table, np.array([0, 1])).to_pylist()
    panel_w = 1361.0 * 0.12 * 0.3 * 0.75 / 4.0
    assert near["panel_w"] == pytest.approx(panel_w)
    assert near["radio_w"] == pytest.approx(panel_w - 5.0)
    assert near["transmit_hours_per_day"] == pytest.approx(24.0 * (panel_w - 5.0) / 30.0)
    # at 4 au the panels give 2.3 W: the idle load is not fed
    assert far["radio_w"] == far["transmit_hours_per_day"] == 0.0
