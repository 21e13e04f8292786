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
from swarm.encounter.propellant import carried_m_s, ledger, planned_m_s, probe_masses
from swarm.plan.data import column
from swarm.reach.mothership.mass import Releases, releases
from swarm.study.by_design import by_design, design_numbers, probe_values

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
    """Return the masses of one probe of the only design and its dispenser by item, each (1,)."""
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
    """Return the mass of so many probes, loaded, with their dispensers, (n,).

    probes : (n,) how many; of a study with [[designs]] (n, d), how many of each
    """
    if study.designs:
        flown = np.asarray(probes, float)
        parts = [swarm_masses(own, flown[:, k]) for k, own in enumerate(study.by_design.values())]
        return Masses(*(sum(getattr(part, name) for part in parts) for name in Masses.__dataclass_fields__))
    one, count = mass_items(study).values(), np.asarray(probes, float)
    return Masses(
        *(count * sum(float(getattr(item, name)[0]) for item in one) for name in Masses.__dataclass_fields__)
    )


def flown_by_design(study: Study, opportunities: pa.Table, plans: Ints) -> Ints:
    """Return how many probes each of the plans flies as `swarm_masses` reads it: (p,), or (p, d) of [[designs]]."""
    used = plans >= 0
    if not study.designs:
        return used.sum(axis=1)
    design = np.append(design_numbers(study, opportunities), -1)[plans]  # unused places have none
    return np.stack([(design == k).sum(axis=1) for k in range(len(study.designs))], axis=1)


def columns_by_design(study: Study, opportunities: pa.Table, plans: Ints) -> dict[str, Ints]:
    """Return the columns of a front that say how many probes of each design its plans fly; none without designs."""
    if not study.designs:
        return {}
    flown = flown_by_design(study, opportunities, plans)
    return {f"probes_of_{design.name}": flown[:, k].copy() for k, design in enumerate(study.designs)}


def flown_of_front(study: Study, front: pa.Table) -> Ints:
    """Return how many probes the plans of a front fly, as `swarm_masses` reads it."""
    if not study.designs:
        return column(front, "probes")
    return np.stack([column(front, f"probes_of_{design.name}") for design in study.designs], axis=1)


def mass_budget(study: Study, probes: Ints) -> pa.Table:
    """Return the mass budget of a swarm: a row an item and the total, with both conventions of the margin.

    probes             : how many, as one row of `flown_by_design`
    margin_of_expected : margin / expected, and margin_of_maximum : margin / maximum; 20 % of the one is
    16.7 % of the other.
    """
    items = {
        f"{name}: {item}" if study.designs else item: _times(masses, int(count))
        for (name, own), count in zip(study.by_design.items(), np.atleast_1d(probes), strict=True)
        for item, masses in mass_items(own).items()
        # of a design that does not fly there is no mass, and no share of it
        if count or not study.designs
    }
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
    flown = opportunities.take(used)
    burn = planned_m_s(flown)
    corrections = None if dv99_m_s is None else dv99_m_s[used]
    spent = by_design(study, flown, lambda own, rows, _: _spent(own, burn[rows], rows, corrections))
    attitude = np.full_like(burn, study.margins.attitude_m_s)
    best = burn + spent[:, 0] + attitude
    carried = by_design(study, flown, lambda own, rows, _: np.full(len(rows), carried_m_s(own)))
    return pa.table(
        {
            "probe": np.arange(len(used)),
            "opportunity": column(flown, "opportunity"),
            "deterministic_m_s": burn,
            "statistical_m_s": spent[:, 0].copy(),
            "attitude_m_s": attitude,
            "best_m_s": best,
            "contingency_m_s": spent[:, 1] - best,
            "expected_m_s": spent[:, 1].copy(),
            "carried_m_s": carried,
            "margin_m_s": carried - spent[:, 1],
        }
    )


def power_budget(study: Study, opportunities: pa.Table, plan: Ints) -> pa.Table:
    """Return the power of each probe of a plan at its encounter: what panels give, what is drawn, what is left to talk.

    In the long run, the battery left aside: `swarm.encounter.power`.
    """
    flown = opportunities.take(plan[plan >= 0])
    balances = by_design(study, flown, lambda own, _, rows: _balances(own, rows))
    return pa.table(
        {
            "probe": np.arange(flown.num_rows),
            "opportunity": column(flown, "opportunity"),
            "sun_range_au": column(flown, "sun_range_au"),
            "panel_w": balances[:, 0],
            "idle_w": balances[:, 1],
            "radio_w": balances[:, 2],
            "transmit_hours_per_day": balances[:, 3],
        }
    )


def _balances(study: Study, flown: pa.Table) -> Floats:
    """(n, 4) power balances of the probes of one design."""
    found = [power_balance(float(range_au), study.probe) for range_au in column(flown, "sun_range_au")]
    return np.array(found, dtype=float).reshape(len(found), 4)


def _spent(study: Study, burn: Floats, rows: Ints, corrections: Floats | None) -> Floats:
    """(n, 2) corrections and sum of the ledger of burns of one design."""
    given = None if corrections is None else corrections[rows]
    spent = ledger(burn, probe=study.probe, margins=study.margins, correction_m_s=given)
    return np.column_stack([spent.dv99_m_s, spent.total_m_s])


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
    flown = opportunities.take(used[order])
    springs = probe_values(study, flown, "spring_m_s")[:, None]
    return releases(study.mothership.mass_kg, probe_values(study, flown, "wet_mass_kg"), springs * along)


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
