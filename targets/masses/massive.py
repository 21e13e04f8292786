"""Planets and large moons: gravity, size, relief, atmosphere. Every number with its source; units in the names.

GM      : public kernel gm_de440.tpc (JPL); satellites from the satellite ephemerides it names
radii   : Archinal et al. 2018, "Report of the IAU Working Group on Cartographic Coordinates and Rotational Elements:
          2015", Celest. Mech. Dyn. Astron. 130:22, as in the public pck00011.tpc; the longer equatorial one of a moon
          of three axes, so that no part of its figure is outside
J2, J4  : not normalised, of `j_radius_km`; from memory, papers named beside them. 0 where none is known well
terrain : highest relief above the ellipsoid, from memory; irregular moons are inside their longest axis
interface : where an atmosphere begins to matter; common practice, no source (Titan and Jupiter: the flown probes')
distance: mean distance from the planet, from memory (JPL, "Planetary satellite mean elements")
"""

from __future__ import annotations

from dataclasses import dataclass

from targets.base import constants as k
from targets.base.constants import AU_KM, GM_SUN_KM3_S2

SUN = "Sun"


@dataclass(frozen=True)
class Mass:
    """A planet or a moon; the polar axis is the short one.

    number       : SPICE's
    parent       : the body it moves about
    distance_km  : mean distance from it
    j_radius_km  : that J2 and J4 belong to
    terrain_km   : highest relief above the ellipsoid
    interface_km : height at which a path is an entry; None where there is no atmosphere to speak of
    eccentricity : of a moon's orbit, for what an approximate place is worth
    may_harbour_life : impact of an icy world with water below is a concern of planetary protection
    """

    name: str
    number: int
    parent: str
    gm_km3_s2: float
    radius_km: float
    polar_radius_km: float
    distance_km: float
    terrain_km: float
    j2: float = 0.0
    j4: float = 0.0
    j_radius_km: float = 0.0
    interface_km: float | None = None
    eccentricity: float = 0.0
    may_harbour_life: bool = False

    @property
    def influence_km(self) -> float:
        """Radius of the sphere of influence, a (m/M)^(2/5)."""
        about = GM_SUN_KM3_S2 if self.parent == SUN else mass_named(self.parent).gm_km3_s2
        return self.distance_km * (self.gm_km3_s2 / about) ** 0.4

    @property
    def lowest_km(self) -> float:
        """Height above the ellipsoid below which something is hit, or a pass is an entry."""
        return self.terrain_km if self.interface_km is None else max(self.terrain_km, self.interface_km)

    @property
    def mean_radius_km(self) -> float:
        return (2.0 * self.radius_km + self.polar_radius_km) / 3.0


# Semi-major axes of planets: Standish, "Keplerian elements for approximate positions of the major planets", JPL.
MASSES: tuple[Mass, ...] = (
    Mass("Mercury", 199, SUN, k.GM_MERCURY_KM3_S2, 2440.53, 2438.26, 0.387_099_27 * AU_KM, 4.5,
         j2=5.03e-5, j_radius_km=2440.0),  # Genova et al. 2019
    Mass("Venus", 299, SUN, k.GM_VENUS_KM3_S2, 6051.8, 6051.8, 0.723_335_66 * AU_KM, 11.0,
         j2=4.404e-6, j_radius_km=6051.0, interface_km=200.0),  # Konopliv et al. 1999
    Mass("Earth", 399, SUN, k.GM_EARTH_KM3_S2, 6378.1366, 6356.7519, 1.000_002_61 * AU_KM, 8.9,
         j2=1.082_626e-3, j4=-1.6199e-6, j_radius_km=6378.1363, interface_km=122.0),  # EGM96
    Mass("Mars", 499, SUN, 42_828.373_620_699, 3396.19, 3376.20, 1.523_710_34 * AU_KM, 21.3,
         j2=1.9566e-3, j4=-1.54e-5, j_radius_km=3396.0, interface_km=125.0),  # Genova et al. 2016
    Mass("Jupiter", 599, SUN, 126_686_531.900_37, 71_492.0, 66_854.0, 5.202_887_00 * AU_KM, 0.0,
         j2=1.469_657_2e-2, j4=-5.866_09e-4, j_radius_km=71_492.0, interface_km=450.0),  # Iess et al. 2018
    Mass("Saturn", 699, SUN, 37_931_206.234_362, 60_268.0, 54_364.0, 9.536_675_94 * AU_KM, 0.0,
         j2=1.629_057e-2, j4=-9.353_14e-4, j_radius_km=60_330.0, interface_km=500.0),  # Iess et al. 2019
    Mass("Uranus", 799, SUN, 5_793_951.256_527, 25_559.0, 24_973.0, 19.189_164_64 * AU_KM, 0.0,
         j2=3.510_68e-3, j4=-3.417e-5, j_radius_km=25_559.0, interface_km=500.0),  # Jacobson 2014
    Mass("Neptune", 899, SUN, 6_835_103.145_462, 24_764.0, 24_341.0, 30.069_922_76 * AU_KM, 0.0,
         j2=3.408_43e-3, j4=-3.34e-5, j_radius_km=25_225.0, interface_km=500.0),  # Jacobson 2009
    Mass("Moon", 301, "Earth", k.GM_MOON_KM3_S2, 1737.4, 1737.4, 384_400.0, 10.8,
         j2=2.0321e-4, j_radius_km=1738.0, eccentricity=0.0554),  # GRAIL, Lemoine et al. 2013
    Mass("Phobos", 401, "Mars", 7.087_546e-4, 13.0, 9.1, 9376.0, 0.5, eccentricity=0.0151),
    Mass("Deimos", 402, "Mars", 9.615_570e-5, 7.8, 5.1, 23_458.0, 0.5, eccentricity=0.0002),
    Mass("Io", 501, "Jupiter", 5959.915_466_180_5, 1829.4, 1815.7, 421_800.0, 17.5,
         j2=1.8595e-3, j_radius_km=1821.6, eccentricity=0.0041),  # Anderson et al. 2001
    Mass("Europa", 502, "Jupiter", 3202.712_099_607_3, 1562.6, 1559.5, 671_100.0, 2.0,
         j2=4.355e-4, j_radius_km=1565.0, eccentricity=0.0094, may_harbour_life=True),  # Anderson et al. 1998
    Mass("Ganymede", 503, "Jupiter", 9887.832_752_719_6, 2631.2, 2631.2, 1_070_400.0, 2.0,
         j2=1.2753e-4, j_radius_km=2631.2, eccentricity=0.0013, may_harbour_life=True),  # Anderson et al. 1996
    Mass("Callisto", 504, "Jupiter", 7179.283_402_579_8, 2410.3, 2410.3, 1_882_700.0, 2.0,
         j2=3.27e-5, j_radius_km=2410.3, eccentricity=0.0074),  # Anderson et al. 2001
    Mass("Mimas", 601, "Saturn", 2.503_488_768, 207.8, 190.6, 185_539.0, 7.0, eccentricity=0.0196),
    Mass("Enceladus", 602, "Saturn", 7.210_366_688_6, 256.6, 248.3, 238_042.0, 2.0,
         j2=5.4352e-3, j_radius_km=252.1, eccentricity=0.0047, may_harbour_life=True),  # Iess et al. 2014
    Mass("Tethys", 603, "Saturn", 41.213_528_854_9, 538.4, 526.3, 294_672.0, 6.0, eccentricity=0.0001),
    Mass("Dione", 604, "Saturn", 73.116_071_724_8, 563.4, 559.6, 377_415.0, 4.0, eccentricity=0.0022),
    Mass("Rhea", 605, "Saturn", 153.941_751_914_7, 765.0, 762.4, 527_068.0, 6.0, eccentricity=0.001),
    Mass("Titan", 606, "Saturn", 8978.137_095_521, 2575.15, 2574.47, 1_221_870.0, 3.4,
         j2=3.36e-5, j_radius_km=2575.0, interface_km=1270.0, eccentricity=0.0288,
         may_harbour_life=True),  # Iess et al. 2010
    Mass("Triton", 801, "Neptune", 1428.495_462_910_5, 1352.6, 1352.6, 354_759.0, 1.0, eccentricity=0.0,
         interface_km=300.0),
)  # fmt: skip
_BY_NAME = {body.name: body for body in MASSES}
NAMES = tuple(_BY_NAME)


def mass_named(name: str) -> Mass:
    """The body of a name. Raises KeyError."""
    return _BY_NAME[name]


def planet_of(body: Mass) -> Mass:
    """The planet whose field a body is in: its own, or the one it moves about."""
    return body if body.parent == SUN else mass_named(body.parent)


def moons_of(planet: Mass) -> tuple[Mass, ...]:
    return tuple(body for body in MASSES if body.parent == planet.name)
