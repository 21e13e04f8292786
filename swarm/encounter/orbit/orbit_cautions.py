"""What is to be said beside orbits about a body: what ends there, how well the field and the average are known."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from swarm.encounter.orbit.orbit_asked import field_of_body, never_there
from swarm.reach.approach.scene import ephemeris_of
from swarm.study.kind_names import ORBIT
from swarm.study.lowest import lowest_km
from targets.masses.massive import SUN, Mass, mass_named
from targets.masses.where import Ephemeris

if TYPE_CHECKING:
    from swarm.study.schema import Study
    from swarm.study.sections.approach import ApproachSettings
    from targets.gravity.harmonic_field import GravityField

# Growth of the eccentricity in one revolution above which an average over it is poor: between Io (2.3 %), whose orbits
# it moves rightly to some hundredths, and Enceladus (13 %), where a quarter is wrong. Against the field flown:
# tests/encounter/orbit/test_where_averages_are_poor.py.
GROWTH_MOST = 0.05


def growth_a_revolution(body: Mass, a_km: float) -> float:
    """By how much the parent's pull makes a near-circular polar orbit grow in eccentricity, as a share, in one turn.

    The rate is 0.75 sqrt(6) n'^2/n by the quadrupole of Lidov and Kozai, n' the mean motion of the body about its
    parent and n that of the orbit: from memory; J2 of the body, which slows it, is left out.
    """
    squared = mass_named(body.parent).gm_km3_s2 / body.distance_km**3 * a_km**3 / body.gm_km3_s2
    return 2.0 * math.pi * 0.75 * math.sqrt(6.0) * squared


def cautions_of(study: Study) -> list[str]:
    """Sentences on every approach of orbits that a study asks for, each once."""
    ephemeris = ephemeris_of(study)
    asks = [ask for ask in study.approach if ask.kind == ORBIT and not never_there(study, ask)]
    said = [
        each
        for ask in asks
        for each in orbit_cautions(
            ask, mass_named(ask.body), ephemeris, field_of_body(study, mass_named(ask.body))
        )
    ]
    return list(dict.fromkeys(said))


def orbit_cautions(ask: ApproachSettings, body: Mass, ephemeris: Ephemeris, field: GravityField) -> list[str]:
    """What stands beside the orbits of one approach."""
    least = min(ask.periapsis_km or (body.radius_km,))
    said = [
        f"relief of {body.name} reaches {lowest_km(ask):g} km over the ellipsoid; an orbit ends where its lowest point "
        "is there, whatever stands below",
        f"nothing takes a probe away from {body.name} when its work ends: it comes down there. Where others fly or "
        "stand, their rules and those on debris, historic sites and protected regions come first",
    ]
    wanted = math.pi * body.radius_km / least
    if field.full_degree < wanted:
        said.append(
            f"at {least:g} km a field is felt to degree {wanted:.0f}; that of {body.name} is full to "
            f"{field.full_degree}: heights are good to kilometres in a month (massive.gravity takes a fuller table)"
        )
    if ask.capture == "spiral":
        said.append(
            "speeds of spirals are an upper bound: excess speed is taken off far out, at its full price"
        )
    said += _of_averages(ask, body)
    known = ephemeris.whereabouts(body)
    if known.approximate:
        said.append(f"{body.name} is placed by a {known.ephemeris}, to {known.error_km:.3g} km")
    if body.may_harbour_life:
        said.append(f"{body.name} may harbour life: an orbit that ends there is an impact with chance 1")
    return said


def _of_averages(ask: ApproachSettings, body: Mass) -> list[str]:
    """Where the parent moves an orbit within one revolution, its average says little."""
    if body.parent == SUN:
        return []
    highest = max((*(ask.apoapsis_km or ()), *(ask.periapsis_km or (0.0,))))
    a_km = body.radius_km + 0.5 * (highest + min(ask.periapsis_km or (highest,)))
    growth = growth_a_revolution(body, a_km)
    if growth <= GROWTH_MOST:
        return []
    return [
        f"{body.parent} pulls an orbit about {body.name} out of shape by {growth:.0%} in each revolution: averages "
        "over one are poor there, what they move it by is wrong by a fifth and more, and so is how long it lives"
    ]
