"""Physical constants, each with its unit in the name and its source beside it.

GM values: Park, Folkner, Williams, Boggs 2021, "The JPL Planetary and Lunar Ephemerides DE440 and DE441",
Astron. J. 161:105, table 2; they are also in the comment area of the kernel itself, and
tests/targets/base/test_constants_and_time.py reads them from there.
"""

from __future__ import annotations

import math

AU_KM = 149_597_870.7  # IAU 2012 resolution B2, exact
DAY_S = 86_400.0
JULIAN_YEAR_S = 365.25 * DAY_S
J2000_JD_TDB = 2_451_545.0
SPEED_OF_LIGHT_KM_S = 299_792.458  # exact
STANDARD_GRAVITY_M_S2 = 9.80665  # exact, 3rd CGPM 1901
OBLIQUITY_J2000_RAD = math.radians(84_381.448 / 3600.0)  # IAU 1976, the value behind ecliptic J2000 elements

GM_SUN_KM3_S2 = 132_712_440_041.279419

GM_MERCURY_KM3_S2 = 22_031.868551
GM_VENUS_KM3_S2 = 324_858.592
GM_EARTH_KM3_S2 = 398_600.435507
GM_MOON_KM3_S2 = 4_902.800118
GM_MARS_SYSTEM_KM3_S2 = 42_828.375816
GM_JUPITER_SYSTEM_KM3_S2 = 126_712_764.1
GM_SATURN_SYSTEM_KM3_S2 = 37_940_584.8418
GM_URANUS_SYSTEM_KM3_S2 = 5_794_556.4
GM_NEPTUNE_SYSTEM_KM3_S2 = 6_836_527.10058
