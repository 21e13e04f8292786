"""An atmosphere as a table with its source, and what may be asked of one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from targets.atmospheres.air import Air

Floats = NDArray[np.float64]

# Ratio of specific heats by gas, cold to warm: handbook values, from memory; they decide when a Mach number is met.
HEAT_RATIO = {"N2": 1.40, "air": 1.40, "CO2": 1.30, "H2/He": 1.45}
# What a body's air mostly is.
GAS_OF_BODY = {
    "Venus": "CO2", "Earth": "air", "Mars": "CO2", "Titan": "N2", "Triton": "N2", "Jupiter": "H2/He", "Saturn": "H2/He",
    "Uranus": "H2/He", "Neptune": "H2/He",
}  # fmt: skip


@dataclass(frozen=True, eq=False)
class Atmosphere:
    """Rows that rise in height above the ellipsoid (above 1 bar where there is no ground).

    gas         : "N2", "air", "CO2" or "H2/He": what heating hangs on
    approximate : made from a stated temperature, not measured or published as a table
    """

    name: str
    body: str
    gas: str
    source: str
    approximate: bool
    height_km: Floats
    density_kg_m3: Floats
    pressure_pa: Floats
    temperature_k: Floats

    def air(self, spread: float = 0.0, sigma: tuple[float, float] = (0.0, 0.0), top_km: float = 1.0) -> Air:
        """What compiled code reads, its density off by so many standard deviations.

        sigma  : of the logarithm of density at height 0 and at `top_km`; linear between, constant above
        spread : how many of them, the same at every height
        """
        share = np.clip(self.height_km / top_km, 0.0, 1.0)
        off = spread * (sigma[0] + share * (sigma[1] - sigma[0]))
        return Air(
            np.ascontiguousarray(self.height_km, dtype=float),
            np.log(self.density_kg_m3) + off,
            np.log(self.pressure_pa),
            np.ascontiguousarray(self.temperature_k, dtype=float),
            HEAT_RATIO[self.gas],
        )


def raised_to(
    top_km: float, columns: list[Floats], *, scale_height_km: float, step_km: float
) -> list[Floats]:
    """Rows of height, density, pressure, temperature continued to a height by one scale height."""
    height, density, pressure, temperature = columns
    more = np.arange(height[-1] + step_km, top_km + step_km, step_km)
    thinner = np.exp(-(more - height[-1]) / scale_height_km)
    return [
        np.concatenate([height, more]),
        np.concatenate([density, density[-1] * thinner]),
        np.concatenate([pressure, pressure[-1] * thinner]),
        np.concatenate([temperature, np.full(len(more), temperature[-1])]),
    ]
