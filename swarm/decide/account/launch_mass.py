"""Does what is launched stay under what the launcher lifts? Best estimate, expected and at most, item by item."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pyarrow as pa

from swarm.plan.budgets import swarm_masses

if TYPE_CHECKING:
    from swarm.study.schema import Study
    from swarm.study.sections.accounts import LaunchSettings

_COLUMNS = ("best_kg", "contingency_kg", "expected_kg", "margin_kg", "maximum_kg")
Item = tuple[float, float, float]  # best estimate, expected, at most; kg


def launch_mass(study: Study) -> pa.Table | None:
    """Return a row an item, then their total, the capability, and what is left of it; None without [launch].

    Probes are those carried, loaded, with their dispensers: what is launched does not hang on the plan. `left` is
    negative where the launch does not close.
    """
    if (launch := study.launch) is None:
        return None
    items = _items(study, launch)
    total: Item = (
        sum(item[0] for item in items.values()),
        sum(item[1] for item in items.values()),
        sum(item[2] for item in items.values()),
    )
    lift = launch.capability_kg
    rows = items | {
        "total": total,
        "launch capability": (lift, lift, lift),
        "left": (lift - total[0], lift - total[1], lift - total[2]),
    }
    values = {name: _row(item) for name, item in rows.items()}
    return pa.table(
        {"item": list(values)} | {key: [row[k] for row in values.values()] for k, key in enumerate(_COLUMNS)}
    )


def left_kg(table: pa.Table) -> float:
    """What is left of the capability at the largest mass, kg; negative where the launch does not close."""
    return float(table["maximum_kg"][table.num_rows - 1].as_py())


def _items(study: Study, launch: LaunchSettings) -> dict[str, Item]:
    carried = [design.count for design in study.designs] if study.designs else study.probe.count
    probes = swarm_masses(study, [carried])
    dry = launch.mothership_dry_kg
    grown = dry * (1.0 + launch.mothership_maturity_fraction)
    return {
        "mothership, dry": (dry, grown, grown * (1.0 + study.margins.system_fraction)),
        "mothership, propellant": (launch.mothership_propellant_kg,) * 3,
        "probes with dispensers": (
            float(probes.best_kg[0]), float(probes.expected_kg[0]), float(probes.maximum_kg[0]),
        ),
        "adapter": (launch.adapter_kg,) * 3,
    }  # fmt: skip


def _row(item: Item) -> tuple[float, ...]:
    best, expected, most = item
    return best, expected - best, expected, most - expected, most
