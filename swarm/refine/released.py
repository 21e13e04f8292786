"""What leaves the mothership: a probe, and the part that comes loose with it where the study says that one does.

A loose part (a door, a plate, the dispenser itself) leaves along the probe's spring at its own speed and never burns.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.error_model import errors_of
from swarm.reach.mothership.mass import releases
from swarm.refine.dispersion import SPAWN_KEY, spring_errors
from swarm.refine.nbody import pressure_km3_s2
from swarm.refine.whole_plan import FlownProbe
from swarm.study.schema import Study

Floats = NDArray[np.float64]

# Second numbers of the spawn key after an opportunity.
RECONTACT, IMPACT, PART_RECONTACT, PART_IMPACT, UNBURNED_IMPACT = 1, 2, 3, 4, 5


def own_of(study: Study, one: FlownProbe) -> Study:
    """The study of the design that a probe is of."""
    return study.of_design(one.made.arc.design)


def random_of(study: Study, one: FlownProbe, purpose: int) -> np.random.Generator:
    """Random numbers of an opportunity for a purpose."""
    key = (SPAWN_KEY, one.made.arc.opportunity, purpose)
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(study.study.seed, spawn_key=key)))


def has_part(study: Study) -> bool:
    return study.probe.loose_part_kg > 0.0


def part_beta(study: Study) -> float:
    """Solar pressure on a loose part, km^3/s^2."""
    probe = study.probe
    return pressure_km3_s2(probe.loose_part_area_m2, probe.loose_part_kg, probe.reflectivity)


def part_change_km_s(study: Study, one: FlownProbe) -> Floats:
    """(3,) velocity change of the part, pushed off the mothership that the probe has left."""
    spring, probe = one.made.spring_km_s, study.probe
    size = float(np.linalg.norm(spring))
    if size == 0.0:
        return np.zeros(3)
    wanted = probe.loose_part_m_s * spring / size
    push = releases(one.made.arc.mothership_kg - probe.wet_mass_kg, [probe.loose_part_kg], [wanted])
    return 1e-3 * push.probe_change_m_s[0]


def part_states(
    study: Study, one: FlownProbe, random: np.random.Generator, count: int, *, mothership_errors: bool
) -> Floats:
    """(count, 6) dispersed states of the part just after its release."""
    push, z = part_change_km_s(study, one), random.standard_normal((count, 9))
    out = np.repeat(one.made.arc.mothership[None], count, axis=0)
    out[:, 3:] += push + spring_errors(push, z[:, 6:], study)
    if mothership_errors:
        errors = errors_of(study)
        out[:, :3] += errors.mothership_km * z[:, :3]
        out[:, 3:] += errors.mothership_km_s * z[:, 3:6]
    return out


def recoil_km_s(study: Study, one: FlownProbe) -> Floats:
    """(3,) velocity change of the mothership by a release: momentum is kept."""
    made, probe = one.made, study.probe
    after = made.arc.mothership_kg - probe.wet_mass_kg - probe.loose_part_kg
    lost = probe.wet_mass_kg * made.spring_km_s
    if has_part(study):
        lost = lost + probe.loose_part_kg * part_change_km_s(study, one)
    return -lost / after
