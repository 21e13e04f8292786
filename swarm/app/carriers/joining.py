"""Fronts and bounds of several motherships joined: what no plan of any of them beats, and what none can exceed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.optimize.archive import Archive, merged

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Quarters of the most propellant on the joined front: where `carriers` tells each mothership's best science.
SHARES = (0.25, 0.5, 0.75, 1.0)
# A plan is within a level where it is but for rounding.
_TIE = 1e-12


@dataclass(frozen=True)
class OfCarrier:
    """A mothership that was searched: its number, the tables of its run, and what its own burns take.

    burn_kg : propellant of its burns; `charged_kg` of it stands in the plans' propellant
    """

    number: int
    front: pa.Table
    plans: pa.Table
    bound: pa.Table
    burn_kg: float = 0.0
    charged_kg: float = 0.0


def joined_front(flown: Sequence[OfCarrier]) -> tuple[pa.Table, pa.Table]:
    """`front` and `plans` of all motherships together: plans that no other one beats, numbered anew.

    Each names its mothership (`carrier`) and its number in that one's own front (`plan_of_carrier`). Of two that are
    equal in science, propellant and risk that of the mothership listed first stays.
    """
    fronts = [_charged(each) for each in flown]
    table = _filled(pa.concat_tables(fronts, promote_options="default"))
    table = table.take(pa.array(_unbeaten(_costs(table))))
    table = table.set_column(
        table.column_names.index("plan"), "plan", pa.array(np.arange(table.num_rows), pa.int64())
    )
    return table, _plans_of(table, flown)


def _charged(each: OfCarrier) -> pa.Table:
    n, front = each.front.num_rows, each.front
    kilograms = front["propellant_kg"].to_numpy() + each.charged_kg
    front = front.set_column(front.column_names.index("propellant_kg"), "propellant_kg", pa.array(kilograms))
    for name, values in (
        ("carrier", pa.array(np.full(n, each.number), pa.int64())),
        ("plan_of_carrier", front["plan"]),
        ("carrier_propellant_kg", pa.array(each.burn_kg + _steering_kg(front))),
    ):
        at = front.column_names.index(name) if name in front.column_names else -1
        front = front.append_column(name, values) if at < 0 else front.set_column(at, name, values)
    return front


def _steering_kg(front: pa.Table) -> Floats:
    """(n,) what a mothership burns to steer for the probes of each plan."""
    name = "carrier_propellant_kg"
    return front[name].to_numpy() if name in front.column_names else np.zeros(front.num_rows)


def _filled(table: pa.Table) -> pa.Table:
    """Shares of science that rest on an attribute which one mothership's targets have and another's do not: none."""
    for k, name in enumerate(table.column_names):
        if table[name].null_count:
            table = table.set_column(k, name, table[name].fill_null(0))
    return table.combine_chunks()


def _costs(front: pa.Table) -> Floats:
    """(n, 3) what is to be small."""
    signed = (("science", -1.0), ("propellant_kg", 1.0), ("risk", 1.0))
    return np.column_stack([sign * front[name].to_numpy() for name, sign in signed])


def _unbeaten(costs: Floats) -> Ints:
    """Rows that no other row beats, as the search decides it, in order; the first of equal ones."""
    rows = np.arange(len(costs), dtype=np.int64)[:, None]
    return np.sort(merged([Archive(rows, costs)]).plans[:, 0])


def _plans_of(front: pa.Table, flown: Sequence[OfCarrier]) -> pa.Table:
    """The probes of the joined plans; `opportunity` is one of the mothership's own table."""
    by_number = {each.number: each.plans for each in flown}
    parts = []
    numbers = zip(*(front[name].to_pylist() for name in ("plan", "carrier", "plan_of_carrier")), strict=True)
    for plan, carrier, own in numbers:
        plans = by_number[carrier]
        mine = plans.filter(pa.array(plans["plan"].to_numpy() == own))
        for name, value in (("plan", plan), ("carrier", carrier)):
            values = pa.array(np.full(mine.num_rows, value), pa.int64())
            at = mine.column_names.index(name) if name in mine.column_names else -1
            mine = mine.append_column(name, values) if at < 0 else mine.set_column(at, name, values)
        parts.append(mine)
    return pa.concat_tables(parts).combine_chunks()


def joined_bound(flown: Sequence[OfCarrier], front: pa.Table) -> pa.Table:
    """Levels of propellant with the most science that any plan of any mothership may have: the largest of their bounds.

    Between two levels of a mothership the bound of the next one holds, above its last level none is proven: joined
    levels end at the least of the last ones.
    """
    levels = [each.bound["propellant_kg"].to_numpy() + each.charged_kg for each in flown]
    last = min(float(own[-1]) for own in levels)
    joined = np.unique(np.concatenate(levels))
    joined = joined[joined <= last]
    upper = np.full(len(joined), -np.inf)
    for each in flown:
        upper = np.maximum(upper, upper_within(each, joined))
    probes = max(each.bound["probes"][0].as_py() for each in flown)
    return pa.table(
        {
            "probes": np.full(len(joined), probes, dtype=np.int64),
            "propellant_kg": joined,
            "science_upper": upper,
            "science_best": best_within(front, joined),
        }
    )


def upper_within(each: OfCarrier, levels_kg: Floats) -> Floats:
    """(levels,) what no plan of a mothership has more science than within each level; 1 above its last."""
    own = each.bound["propellant_kg"].to_numpy() + each.charged_kg
    upper = np.append(each.bound["science_upper"].to_numpy(), 1.0)
    return np.asarray(upper[np.searchsorted(own, levels_kg, side="left")])


def best_within(front: pa.Table, levels_kg: Floats) -> Floats:
    """(levels,) most science of the plans of a front within each level; 0 where none is."""
    kilograms, science = front["propellant_kg"].to_numpy(), front["science"].to_numpy()
    return np.array([science[kilograms <= kg + _TIE].max(initial=0.0) for kg in levels_kg])


def best_of(each: OfCarrier, levels_kg: Floats) -> Floats:
    """(levels,) most science of one mothership's plans within each level, its own burns charged."""
    return best_within(_charged(each), levels_kg)
