"""Budgets with best estimate, contingency and margin: mass by item, delta-v, tracking, recoil.

    contingency = expected - best estimate      what an item of its maturity is known to grow by
    margin      = maximum - expected            what the system keeps in hand

The terms are those of systems-engineering practice. A heavier probe needs more propellant for the same
delta-v, in proportion: structure, residual and what is burnt scale together (rocket equation).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numpy.typing import ArrayLike, NDArray

from swarm.encounter.power import power_balance
from swarm.encounter.propellant import ledger, probe_masses
from swarm.plan.data import column
from swarm.reach.mothership.mass import Releases, releases

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Masses:
    """A mass as estimated, as expected with maturity contingency, and at most with the system margin; (n,) kg."""

    best_kg: Floats
    expected_kg: Floats
    maximum_kg: Floats

    @property
    def contingency_kg(self) -> Floats:
        return self.expected_kg - self.best_kg

    @property
    def margin_kg(self) -> Floats:
        return self.maximum_kg - self.expected_kg


def mass_items(study: Study) -> dict[str, Masses]:
    """Return the masses of one probe and its dispenser by item, each (1,)."""
    probe, margins = probe_masses(study), study.margins
    items = {
        "probe structure": (probe.structure_kg, margins.probe_maturity_fraction),
        "propellant usable": (probe.usable_kg, margins.probe_maturity_fraction),
        "propellant residual": (probe.loaded_kg - probe.usable_kg, margins.probe_maturity_fraction),
        "dispenser": (study.probe.dispenser_kg, margins.dispenser_maturity_fraction),
    }
    return {name: _grown(kg, maturity, margins.system_fraction) for name, (kg, maturity) in items.items()}


def _grown(best_kg: float, maturity: float, system: float) -> Masses:
    best = np.array([best_kg])
    expected = best * (1.0 + maturity)
    return Masses(best, expected, expected * (1.0 + system))


def swarm_masses(study: Study, probes: ArrayLike) -> Masses:
    """Return the mass of so many probes, loaded, with their dispensers, (n,)."""
    one, count = mass_items(study).values(), np.asarray(probes, float)
    return Masses(
        *(count * sum(float(getattr(item, name)[0]) for item in one) for name in Masses.__dataclass_fields__)
    )


def mass_budget(study: Study, probes: int) -> pa.Table:
    """Return the mass budget of a swarm: a row an item and the total, with both conventions of the margin.

    margin_of_expected : margin / expected, and margin_of_maximum : margin / maximum; 20 % of the one is
    16.7 % of the other.
    """
    items = {name: _times(item, probes) for name, item in mass_items(study).items()}
    items["total"] = swarm_masses(study, np.array([probes]))
    return pa.table(
        {
            "item": list(items),
            "best_kg": _joined(items, "best_kg"),
            "contingency_kg": _joined(items, "contingency_kg"),
            "expected_kg": _joined(items, "expected_kg"),
            "margin_kg": _joined(items, "margin_kg"),
            "maximum_kg": _joined(items, "maximum_kg"),
            "margin_of_expected": _ratio(_joined(items, "margin_kg"), _joined(items, "expected_kg")),
            "margin_of_maximum": _ratio(_joined(items, "margin_kg"), _joined(items, "maximum_kg")),
        }
    )


def _times(item: Masses, probes: int) -> Masses:
    return Masses(item.best_kg * probes, item.expected_kg * probes, item.maximum_kg * probes)


def _joined(items: dict[str, Masses], name: str) -> Floats:
    return np.concatenate([getattr(item, name) for item in items.values()])


def _ratio(part: Floats, whole: Floats) -> Floats:
    return np.divide(part, whole, out=np.full_like(part, np.nan), where=whole > 0.0)


def delta_v_budget(
    study: Study, opportunities: pa.Table, plan: Ints, *, dv99_m_s: Floats | None = None
) -> pa.Table:
    """Return the delta-v of each probe of a plan: best estimate, contingency by the policy, and what is left.

    The statistical item is a 99th percentile and has no contingency. `carried_m_s` is what full tanks give;
    the margin is what is carried and not spent.
    """
    used = plan[plan >= 0]
    burn = column(opportunities, "burn_m_s")[used]
    spent = ledger(
        burn,
        probe=study.probe,
        margins=study.margins,
        correction_m_s=None if dv99_m_s is None else dv99_m_s[used],
    )
    full = ledger(
        study.probe.burn_limit_m_s,
        probe=study.probe,
        margins=study.margins,
        correction_m_s=study.delivery.correction_budget_m_s,
    )
    attitude = np.full_like(burn, study.margins.attitude_m_s)
    best = burn + spent.dv99_m_s + attitude
    carried = np.full_like(burn, float(full.total_m_s))
    return pa.table(
        {
            "probe": np.arange(len(used)),
            "opportunity": column(opportunities, "opportunity")[used],
            "deterministic_m_s": burn,
            "statistical_m_s": spent.dv99_m_s,
            "attitude_m_s": attitude,
            "best_m_s": best,
            "contingency_m_s": spent.total_m_s - best,
            "expected_m_s": spent.total_m_s,
            "carried_m_s": carried,
            "margin_m_s": carried - spent.total_m_s,
        }
    )


def power_budget(study: Study, opportunities: pa.Table, plan: Ints) -> pa.Table:
    """Return the power of each probe of a plan at its encounter: what panels give, what is drawn, what is left to talk.

    In the long run, the battery left aside: `swarm.encounter.power`.
    """
    used = plan[plan >= 0]
    ranges = column(opportunities, "sun_range_au")[used]
    balances = [power_balance(float(sun_range_au), study.probe) for sun_range_au in ranges]
    return pa.table(
        {
            "probe": np.arange(len(used)),
            "opportunity": column(opportunities, "opportunity")[used],
            "sun_range_au": ranges,
            "panel_w": np.array([each.panel_w for each in balances], dtype=float),
            "idle_w": np.array([each.idle_w for each in balances], dtype=float),
            "radio_w": np.array([each.radio_w for each in balances], dtype=float),
            "transmit_hours_per_day": np.array([each.hours_per_day for each in balances], dtype=float),
        }
    )


def release_recoil(study: Study, opportunities: pa.Table, plan: Ints) -> Releases:
    """Return mass and recoil of the mothership at each release of a plan, in order of release.

    The springs push along the burn of each probe: the mothership's turn to that axis is its own business. What
    leaves is the probe, loaded; its dispenser stays aboard.
    """
    used = plan[plan >= 0]
    order = np.argsort(column(opportunities, "release_jd_tdb")[used], kind="stable")
    burns = np.column_stack([column(opportunities, f"burn_{axis}_m_s") for axis in "xyz"])[used[order]]
    length = np.sqrt(np.einsum("ij,ij->i", burns, burns))[:, None]
    along = np.divide(burns, length, out=np.tile([1.0, 0.0, 0.0], (len(burns), 1)), where=length > 0.0)
    masses = np.full(len(used), study.probe.wet_mass_kg)
    return releases(study.mothership.mass_kg, masses, study.probe.spring_m_s * along)


def recoil_table(study: Study, opportunities: pa.Table, plan: Ints) -> pa.Table:
    """Return the releases of a plan as a table: date, masses, recoil and the probe's own change."""
    used = plan[plan >= 0]
    dates = column(opportunities, "release_jd_tdb")[used]
    order = np.argsort(dates, kind="stable")
    recoil = release_recoil(study, opportunities, plan)
    columns = {
        "probe": order,
        "opportunity": column(opportunities, "opportunity")[used[order]],
        "release_jd_tdb": dates[order],
        "mothership_before_kg": recoil.mass_before_kg,
        "mothership_after_kg": recoil.mass_after_kg,
    }
    for k, axis in enumerate("xyz"):
        columns[f"recoil_{axis}_m_s"] = recoil.recoil_m_s[:, k].copy()
        columns[f"probe_change_{axis}_m_s"] = recoil.probe_change_m_s[:, k].copy()
    return pa.table(columns)
