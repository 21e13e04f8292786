"""What the page draws of the B-planes of entries."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa

from swarm.reach.approach.entry_goals import Interface, entry_aim_km
from swarm.report.drawn import aim_rings
from targets.masses.massive import mass_named

if TYPE_CHECKING:
    from swarm.study.schema import Study


def entry_rings(study: Study, opportunities: pa.Table, judged: pa.Table) -> pa.Table:
    """Return the rings of each entry's B-plane: what must not be hit is what is steeper than the corridor.

    keepout_km : |B| of the steep edge, at the row's clock angle; 0 where straight down is not too steep
    """
    table = aim_rings(study, opportunities, judged)
    inner = np.array([_steep_km(row) for row in opportunities.to_pylist()])
    for name, values in (("keepout_km", inner), ("slew_km", np.zeros(len(inner)))):
        table = table.set_column(table.column_names.index(name), name, pa.array(values, pa.float64()))
    return table


def _steep_km(row: dict) -> float:
    steep = row["corridor_steep_deg"]
    return 0.0 if steep is None or not steep < 90.0 else corridor_aim_km(row, steep)


def corridor_aim_km(row: dict, angle_deg: float) -> float:
    """|B| of an inertial angle at the clock angle of a row of `entries`, whose own aim and angle belong together."""
    body = mass_named(row["target"])
    interface = Interface(
        row["interface_km"], body.radius_km, body.polar_radius_km, np.array([0.0, 0.0, 1.0])
    )

    def formula_km(deg: float) -> float:
        return float(entry_aim_km(math.radians(deg), row["v_inf_km_s"], body.gm_km3_s2, interface))

    own = math.hypot(row["b_t_km"], row["b_r_km"])
    return max(own + formula_km(angle_deg) - formula_km(row["angle_inertial_deg"]), 0.0)
