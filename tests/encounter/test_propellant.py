"""Ledger, masses and propellant against the rocket equation and a budget worked by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from swarm.encounter.propellant import LENGTH_99_SIGMAS, dv99_m_s, ledger, probe_masses, propellant_kg
from tests.helpers.small_cases import make_study

NO_MARGINS = {
    "deterministic_fraction": 0.0, "attitude_m_s": 0.0, "attitude_fraction": 0.0, "residual_fraction": 0.0,
}  # fmt: skip
NO_ERRORS = {"execution_fixed_m_s": 0.0, "execution_proportional": 0.0, "execution_pointing_mrad": 0.0}


@pytest.mark.parametrize(
    ("burn_m_s", "isp_s", "kg"),
    # Rocket equation per wet mass, computed independently: 12 kg.
    [(100.0, 220.0, 0.544), (50.0, 60.0, 0.978), (300.0, 220.0, 1.558)],
)
def test_rocket_equation(burn_m_s: float, isp_s: float, kg: float) -> None:
    probe = {"wet_mass_kg": 12.0, "burn_limit_m_s": burn_m_s, "isp_s": isp_s, **NO_ERRORS}
    study = make_study(probe=probe, margins=NO_MARGINS)
    assert probe_masses(study).usable_kg == pytest.approx(kg, abs=5e-4)
    assert float(propellant_kg(burn_m_s, study)) == pytest.approx(kg, abs=5e-4)


def test_99_percent_length_of_normal_vectors() -> None:
    """Printed: 3.368 sigma in three dimensions; 2.576 in one and 3.035 in two bound the family."""
    assert pytest.approx(3.368, abs=5e-4) == LENGTH_99_SIGMAS
    assert stats.chi(1).ppf(0.99) == pytest.approx(2.576, abs=5e-4)
    assert stats.chi(2).ppf(0.99) == pytest.approx(3.035, abs=5e-4)


def test_dv99_bounds_the_sampled_execution_error() -> None:
    """Monte Carlo of the error ellipsoid: the bound is never below, and not more than a fifth above."""
    probe = make_study().probe
    rng = np.random.default_rng(1)
    burn_m_s = 100.0
    along = math.hypot(probe.execution_fixed_m_s, probe.execution_proportional * burn_m_s)
    across = math.hypot(probe.execution_fixed_m_s, 1e-3 * probe.execution_pointing_mrad * burn_m_s)
    errors = rng.normal(size=(400_000, 3)) * [along, across, across]
    sampled_m_s = np.quantile(np.linalg.norm(errors, axis=1), 0.99)
    assert sampled_m_s < float(dv99_m_s(burn_m_s, probe)) < 1.2 * sampled_m_s


def test_margins_worked_by_hand() -> None:
    """Burn 100 m/s: +5 % = 5; dV99 = 3.368214 sqrt(.005^2 + 1.5^2) = 5.05235; attitude 2 + 100 % = 4: 114.05235.

    At the limit of 150 m/s: 7.5, 7.57850, 4; in all 169.07850, so m_dry = 12 exp(-169.07850 / (9.80665 * 220)) =
    11.095477 kg, and 100 m/s cost 11.095477 (exp(114.05235 / 2157.463) - 1) = 0.602333 kg (desk calculator).
    """
    study = make_study()
    spent = ledger([100.0, 150.0], probe=study.probe, margins=study.margins)
    assert spent.deterministic_margin_m_s == pytest.approx([5.0, 7.5])
    assert spent.dv99_m_s == pytest.approx([5.05235, 7.57850], abs=5e-6)
    assert spent.attitude_m_s == pytest.approx([4.0, 4.0])
    assert spent.total_m_s == pytest.approx([114.05235, 169.07850], abs=5e-6)
    assert probe_masses(study).dry_kg == pytest.approx(11.095477, abs=1e-6)
    assert float(propellant_kg(100.0, study)) == pytest.approx(0.602333, abs=1e-6)


def test_wet_mass_is_honoured_with_residuals() -> None:
    """Structure and load make the wet mass; a full tank burnt at the limit leaves dry mass, residual included."""
    study = make_study(margins={"residual_fraction": 0.05})
    masses = probe_masses(study)
    assert masses.structure_kg + masses.loaded_kg == pytest.approx(masses.wet_kg, abs=1e-12)
    assert float(propellant_kg(study.probe.burn_limit_m_s, study)) == pytest.approx(
        masses.usable_kg, abs=1e-12
    )
    assert masses.wet_kg - masses.usable_kg == pytest.approx(masses.dry_kg, abs=1e-12)
    assert masses.loaded_kg == pytest.approx(1.05 * masses.usable_kg)


def test_residuals_change_what_is_loaded_but_not_what_is_consumed() -> None:
    none, some = (make_study(margins={"residual_fraction": f}) for f in (0.0, 0.05))
    assert probe_masses(some).loaded_kg > probe_masses(none).loaded_kg
    assert float(propellant_kg(80.0, some)) == float(propellant_kg(80.0, none))


@pytest.mark.parametrize(
    "change",
    [
        {"margins": {"deterministic_fraction": 0.1}},
        {"margins": {"attitude_m_s": 4.0}},
        {"probe": {"execution_pointing_mrad": 30.0}},
        {"probe": {"isp_s": 60.0}},
    ],
)
def test_every_margin_matters(change: dict) -> None:
    """Share of the wet mass that the burn at the limit takes grows with each margin."""
    assert probe_masses(make_study(**change)).usable_kg > 1.01 * probe_masses(make_study()).usable_kg
