"""Delta-v ledger and propellant of identical probes.

A probe leaves with its tanks full. Its mass at burnout, `dry_mass_kg`, follows from the wet mass and the
ledger of a main burn at the limit. The residual that no valve gets out is still aboard at burnout, so it
belongs to that mass and to what is loaded, never to what a plan consumes: wet mass = structure + loaded,
exactly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtri

from swarm.study.by_design import by_design
from targets.base.constants import STANDARD_GRAVITY_M_S2

if TYPE_CHECKING:
    from swarm.study.schema import MarginSettings, ProbeSettings, Study

Floats = NDArray[np.float64]

# 99th percentile of the length of a 3-D isotropic normal vector, in units of its sigma: 3.368, the root
# of the chi-square value with 3 degrees of freedom that is exceeded with chance 0.01.
LENGTH_99_SIGMAS = math.sqrt(float(chdtri(3, 0.01)))


@dataclass(frozen=True)
class Ledger:
    """What a main burn costs in all, each (n,) in m/s."""

    burn_m_s: Floats
    deterministic_margin_m_s: Floats
    dv99_m_s: Floats
    attitude_m_s: Floats
    total_m_s: Floats


@dataclass(frozen=True)
class ProbeMasses:
    """One probe, kg: wet = structure + loaded; dry = wet less what can be burnt = structure + residual."""

    wet_kg: float
    dry_kg: float
    usable_kg: float
    loaded_kg: float
    structure_kg: float


def later_m_s(opportunities: pa.Table) -> Floats:
    """(n,) what is planned after the encounter: insertion into an orbit and its upkeep; 0 of other kinds."""
    if "later_m_s" not in opportunities.column_names:
        return np.zeros(opportunities.num_rows)
    return np.nan_to_num(np.array(opportunities["later_m_s"].to_numpy(zero_copy_only=False), dtype=float))


def planned_m_s(opportunities: pa.Table) -> Floats:
    """(n,) all that is planned of each, without margins and corrections: what burns are charged by."""
    return np.array(opportunities["burn_m_s"].to_numpy(), dtype=float) + later_m_s(opportunities)


def dv99_m_s(burn_m_s: ArrayLike, probe: ProbeSettings) -> Floats:
    """Bound the 99th percentile of the correction that undoes the execution error of the main burn.

    Along the burn and across it the fixed and the proportional part add in quadrature; the larger of the
    two sigmas is used on all three axes, so the true percentile of the error ellipsoid is never larger.
    """
    proportional = max(probe.execution_proportional, 1e-3 * probe.execution_pointing_mrad)
    sigma_m_s = np.hypot(probe.execution_fixed_m_s, proportional * np.asarray(burn_m_s, float))
    return LENGTH_99_SIGMAS * sigma_m_s


def ledger(
    burn_m_s: ArrayLike,
    *,
    probe: ProbeSettings,
    margins: MarginSettings,
    correction_m_s: ArrayLike | None = None,
) -> Ledger:
    """Return burn + deterministic margin + dV99 + attitude control with its margin.

    correction_m_s : (n,) dV99 of each; the allowance `dv99_m_s` for the burn unless given

    dV99 is already a 99th percentile and gets no margin of its own.
    """
    burn = np.asarray(burn_m_s, float)
    margin = margins.deterministic_fraction * burn
    correction = dv99_m_s(burn, probe) if correction_m_s is None else np.asarray(correction_m_s, float)
    attitude = np.full_like(burn, margins.attitude_m_s * (1.0 + margins.attitude_fraction))
    return Ledger(burn, margin, correction, attitude, burn + margin + correction + attitude)


def burnt_fraction(dv_m_s: ArrayLike, isp_s: float) -> Floats:
    """Return propellant per mass at burnout, exp(dv / (g0 Isp)) - 1 (rocket equation)."""
    return np.expm1(np.asarray(dv_m_s, float) / (STANDARD_GRAVITY_M_S2 * isp_s))


def burn_seconds(study: Study, burn_m_s: Floats) -> Floats:
    """Return how long the thruster of the only design burns for an impulse of full tanks, (n,).

    The mass spent is m0 (1 - exp(-dv / (g0 Isp))).
    """
    exhaust_m_s = STANDARD_GRAVITY_M_S2 * study.probe.isp_s
    spent_kg = -study.probe.wet_mass_kg * np.expm1(-burn_m_s / exhaust_m_s)
    return seconds_of(study, spent_kg)


def seconds_of(study: Study, spent_kg: Any) -> Any:
    """Return how long the thruster of the only design takes to spend a mass: over the mass flow, thrust / (g0 Isp)."""
    return spent_kg * (STANDARD_GRAVITY_M_S2 * study.probe.isp_s) / study.probe.thrust_n


def _full_tanks(study: Study) -> Ledger:
    """The ledger of a main burn at the limit, with the study's allowance for corrections."""
    return ledger(
        study.probe.burn_limit_m_s,
        probe=study.probe,
        margins=study.margins,
        correction_m_s=study.delivery.correction_budget_m_s,
    )


def probe_masses(study: Study) -> ProbeMasses:
    """Fix the masses of the identical probes from wet mass and burn limit."""
    limit = _full_tanks(study)
    wet_kg = study.probe.wet_mass_kg
    dry_kg = wet_kg / (1.0 + float(burnt_fraction(limit.total_m_s, study.probe.isp_s)))
    usable_kg = wet_kg - dry_kg
    loaded_kg = usable_kg * (1.0 + study.margins.residual_fraction)
    return ProbeMasses(wet_kg, dry_kg, usable_kg, loaded_kg, wet_kg - loaded_kg)


def usable_kg(study: Study, opportunities: pa.Table) -> Floats:
    """Return what the tank of the probe that flies each opportunity gives, (n,)."""
    return by_design(
        study, opportunities, lambda own, rows, _: np.full(len(rows), probe_masses(own).usable_kg)
    )


def loaded_kg(study: Study, opportunities: pa.Table) -> Floats:
    """Return what is loaded into the probe that flies each opportunity, (n,)."""
    return by_design(
        study, opportunities, lambda own, rows, _: np.full(len(rows), probe_masses(own).loaded_kg)
    )


def loaded_of(plans: NDArray[np.int64], loaded: Floats) -> Floats:
    """Return what is loaded into the probes of each plan, (p,): full probes times their number, design by design.

    plans : (p, probes) rows of `loaded`, negative for an unused place
    """
    used, total = plans >= 0, np.zeros(len(plans))
    for kilograms in np.unique(loaded):
        total += (used & (loaded[plans] == kilograms)).sum(axis=1) * kilograms
    return total


def all_tanks_kg(study: Study, probes: int) -> float:
    """Return what the tanks of so many probes give; of several designs, those with the fullest tanks."""
    if not study.designs:
        return probes * probe_masses(study).usable_kg
    tanks = [kg for own in study.by_design.values() for kg in [probe_masses(own).usable_kg] * own.probe.count]
    return sum(sorted(tanks, reverse=True)[:probes])


def carried_m_s(study: Study) -> float:
    """Return the delta-v of full tanks: the ledger of a main burn at the limit."""
    return float(_full_tanks(study).total_m_s)


def propellant_kg(burn_m_s: ArrayLike, study: Study, *, dv99_m_s: ArrayLike | None = None) -> Floats:
    """Return what one probe consumes for a main burn with its ledger, m_dry (exp(dv/(g0 Isp)) - 1), (n,).

    dv99_m_s : (n,) of each; the allowance for the execution error of the burn unless given
    """
    spent = ledger(burn_m_s, probe=study.probe, margins=study.margins, correction_m_s=dv99_m_s)
    return probe_masses(study).dry_kg * burnt_fraction(spent.total_m_s, study.probe.isp_s)
