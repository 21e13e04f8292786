"""The atmospheres that ship: Venus, Titan, Earth, Mars, Jupiter. Every one with its source.

Venus and Titan are published tables; Earth is the US Standard Atmosphere from its seven layers, with its printed values
above 86 km; Mars and Jupiter are hydrostatic from a temperature stated here, and marked approximate.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from targets.atmospheres.atmosphere import Atmosphere, raised_to
from targets.atmospheres.hydrostatic import hydrostatic_rows
from targets.base.constants import STANDARD_GRAVITY_M_S2
from targets.masses.massive import mass_named

Floats = NDArray[np.float64]

_BAR_PA = 1e5

# Seiff 1983, "Thermal structure of the atmosphere of Venus", in *Venus*, Univ. of Arizona Press: mean, every 5 km.
_VENUS_DENSITY = (
    64.79, 49.87, 37.72, 27.95, 20.39, 14.57, 10.15, 6.831, 4.404, 2.693, 1.594, 0.9207, 0.4694, 0.2055, 0.08393,
    0.03236, 0.01186, 0.003900, 0.001151, 0.0003040, 0.0000789,
)  # fmt: skip
_VENUS_TEMPERATURE = (
    735.3, 696.8, 658.2, 620.8, 580.7, 539.2, 496.9, 455.5, 417.6, 385.4, 350.5, 302.3, 262.8, 243.2, 229.8, 215.4,
    197.1, 181.0, 169.4, 168.2, 175.4,
)  # fmt: skip
_VENUS_BAR = (
    92.10, 66.65, 47.39, 33.04, 22.52, 14.93, 9.581, 5.917, 3.501, 1.979, 1.066, 0.5314, 0.2357, 0.09599, 0.03690,
    0.01335, 0.004476, 0.001351, 3.736e-4, 9.814e-5, 2.660e-5,
)  # fmt: skip
_VENUS_SCALE_KM = 3.9  # above 100 km: own choice, without effect on loads

# Justus, Braun 2007, "Atmospheric environments for entry, descent and landing (EDL)", NASA: 0(10)100, 150(50)900 km.
_TITAN_DENSITY = (
    5.270, 3.467, 2.144, 1.233, 0.6731, 0.3575, 0.1825, 0.08264, 0.04788, 0.03155, 0.02219, 5.024e-3, 1.393e-3,
    4.612e-4, 1.673e-4, 6.282e-5, 2.438e-5, 9.806e-6, 4.114e-6, 1.718e-6, 7.129e-7, 2.931e-7, 1.173e-7, 4.653e-8,
    1.868e-8, 7.934e-9, 3.404e-9,
)  # fmt: skip
_TITAN_TEMPERATURE = (
    92.89, 83.29, 76.44, 72.20, 70.51, 71.16, 76.62, 103.46, 122.88, 133.97, 140.80, 159.23, 173.76, 181.72, 181.72,
    181.72, 181.72, 180.81, 173.96, 167.06, 160.09, 153.04, 148.62, 148.62, 148.62, 148.62, 148.62,
)  # fmt: skip
# Nitrogen with 1.65 % to 5 % of methane, as an ideal gas from density and temperature: some percent near the ground.
_TITAN_MOLAR_G = 27.6

# US Standard Atmosphere, 1976 (NOAA, NASA, USAF): base heights (geopotential km) and lapse rates (K/km) of its layers.
_LAYERS_KM = (0.0, 11.0, 20.0, 32.0, 47.0, 51.0, 71.0, 84.852)
_LAPSE_K_KM = (-6.5, 0.0, 1.0, 2.8, 0.0, -2.8, -2.0)
_ZERO_K, _ZERO_PA = 288.15, 101_325.0
_EARTH_RADIUS_KM, _GAS_J_KMOL_K, _EARTH_MOLAR = 6356.766, 8314.32, 28.9644
# Its printed table above the layers: height km, density kg/m^3, pressure Pa, temperature K.
_ABOVE_LAYERS = (
    (90, 3.416e-6, 1.8359e-1, 186.87), (95, 1.393e-6, 7.5966e-2, 188.42), (100, 5.604e-7, 3.2011e-2, 195.08),
    (105, 2.325e-7, 1.4477e-2, 208.84), (110, 9.708e-8, 7.1042e-3, 240.00), (115, 4.289e-8, 4.0096e-3, 300.00),
    (120, 2.222e-8, 2.5382e-3, 360.00), (130, 8.152e-9, 1.2505e-3, 469.27), (140, 3.831e-9, 7.2028e-4, 559.63),
    (150, 2.076e-9, 4.5422e-4, 634.39), (160, 1.233e-9, 3.0395e-4, 696.29), (180, 5.194e-10, 1.5271e-4, 790.07),
    (200, 2.541e-10, 8.4736e-5, 854.56),
)  # fmt: skip

# Temperatures by pressure (Pa, K), smoothed by hand and from memory of: Seiff 1982, "Post-Viking models for the
# structure of the summer atmosphere of Mars", Adv. Space Res. 2:3; Seiff et al. 1998, "Thermal structure of Jupiter's
# atmosphere near the edge of a 5-um hot spot", J. Geophys. Res. 103:22857.
_MARS = (
    (1100, 217.0), (610, 214.0), (246, 205.0), (95, 188.3), (34, 175.0), (11.4, 162.4), (3.5, 152.2), (1.0, 144.2),
    (0.27, 139.5), (0.072, 139.0), (5e-3, 139.0), (1e-3, 136.0), (1e-5, 170.0), (1e-7, 200.0),
)  # fmt: skip
_JUPITER = (
    (2.2e6, 428.0), (1e6, 338.0), (5e5, 275.0), (2e5, 205.0), (1e5, 166.1), (5e4, 134.0), (2.6e4, 114.0),
    (1.4e4, 110.0), (1e4, 113.0), (3e3, 130.0), (1e3, 150.0), (1e2, 160.0), (1.0, 165.0), (0.1, 200.0), (0.03, 350.0),
    (0.01, 500.0), (1e-3, 750.0), (1e-4, 900.0), (1e-5, 950.0),
)  # fmt: skip


def _venus() -> Atmosphere:
    columns = [
        np.arange(0.0, 101.0, 5.0),
        np.array(_VENUS_DENSITY),
        _BAR_PA * np.array(_VENUS_BAR),
        np.array(_VENUS_TEMPERATURE),
    ]
    rows = raised_to(200.0, columns, scale_height_km=_VENUS_SCALE_KM, step_km=100.0)
    source = "Seiff 1983, mean, 0 to 100 km; above, a scale height of 3.9 km"
    return Atmosphere("venus-mean", "Venus", "CO2", source, False, *rows)


def _titan() -> Atmosphere:
    height = np.concatenate([np.arange(0.0, 101.0, 10.0), np.arange(150.0, 901.0, 50.0)])
    density, temperature = np.array(_TITAN_DENSITY), np.array(_TITAN_TEMPERATURE)
    pressure = density * _GAS_J_KMOL_K / _TITAN_MOLAR_G * temperature
    last = 50.0 / np.log(density[-2] / density[-1])
    rows = raised_to(1300.0, [height, density, pressure, temperature], scale_height_km=last, step_km=400.0)
    source = "Justus & Braun 2007, 0 to 900 km; above, its last scale height; pressure by the gas law"
    return Atmosphere("titan-mean", "Titan", "N2", source, False, *rows)


def _earth() -> Atmosphere:
    height = np.arange(0.0, 87.0)
    temperature, pressure = us_1976_layers(height)
    density = pressure * _EARTH_MOLAR / (_GAS_J_KMOL_K * temperature)
    above = np.array(_ABOVE_LAYERS).T
    rows = [
        np.concatenate(pair) for pair in zip((height, density, pressure, temperature), above, strict=True)
    ]
    source = "US Standard Atmosphere 1976: its layers to 86 km, its table to 200 km"
    return Atmosphere("earth-1976", "Earth", "air", source, False, *rows)


def us_1976_layers(height_km: Floats) -> tuple[Floats, Floats]:
    """Molecular-scale temperature K and pressure Pa at geometric heights up to 86 km."""
    z = _EARTH_RADIUS_KM * height_km / (_EARTH_RADIUS_KM + height_km)
    hydrostatic = 1e3 * STANDARD_GRAVITY_M_S2 * _EARTH_MOLAR / _GAS_J_KMOL_K  # K/km
    temperature, pressure = np.empty_like(z), np.empty_like(z)
    base_k, base_pa = _ZERO_K, _ZERO_PA
    for low, high, lapse in zip(_LAYERS_KM, _LAYERS_KM[1:], _LAPSE_K_KM, strict=False):
        inside = (z >= low - 1e-9) & (z <= high + 1e-2)
        for rows, at in ((inside, z[inside]), (None, np.array([high]))):
            t = base_k + lapse * (at - low)
            cooler = (
                hydrostatic * (at - low) / base_k
                if lapse == 0.0
                else hydrostatic / lapse * np.log(t / base_k)
            )
            p = base_pa * np.exp(-cooler)
            if rows is not None:
                temperature[rows], pressure[rows] = t, p
        base_k, base_pa = float(t[0]), float(p[0])
    return temperature, pressure


def _mars() -> Atmosphere:
    stated = np.array(_MARS).T
    rows = hydrostatic_rows(
        *stated,
        at_zero_pa=610.0,
        molar_g=43.34,
        gravity_m_s2=3.71,
        radius_km=mass_named("Mars").mean_radius_km,
    )
    source = "hydrostatic, from temperatures from memory of Seiff 1982 (northern summer, mean)"
    return Atmosphere("mars-summer", "Mars", "CO2", source, True, *rows)


def _jupiter() -> Atmosphere:
    stated = np.array(_JUPITER).T
    # gravity at the equator, less what the planet's turning takes: GM/R^2 (1 + 3/2 J2) - w^2 R
    rows = hydrostatic_rows(
        *stated,
        at_zero_pa=_BAR_PA,
        molar_g=2.30,
        gravity_m_s2=23.12,
        radius_km=mass_named("Jupiter").radius_km,
    )
    source = "hydrostatic, from temperatures from memory of Seiff et al. 1998; height 0 at 1 bar"
    return Atmosphere("jupiter-equator", "Jupiter", "H2/He", source, True, *rows)


_MAKERS = {
    "venus-mean": _venus,
    "titan-mean": _titan,
    "earth-1976": _earth,
    "mars-summer": _mars,
    "jupiter-equator": _jupiter,
}
NAMES = tuple(_MAKERS)
_OF_BODY = {
    "Venus": "venus-mean",
    "Titan": "titan-mean",
    "Earth": "earth-1976",
    "Mars": "mars-summer",
    "Jupiter": "jupiter-equator",
}


@lru_cache(maxsize=len(_MAKERS))
def atmosphere_named(name: str) -> Atmosphere:
    """The shipped atmosphere of a name. Raises KeyError."""
    return _MAKERS[name]()


def shipped_for(body: str) -> str | None:
    """The name of the atmosphere that ships for a body; None where none does."""
    return _OF_BODY.get(body)
