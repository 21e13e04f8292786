"""States at an interface from speed, angle, heading and place; worlds and airs of closed forms."""

import math

import numpy as np

from swarm.encounter.entry.shell import shell_of
from swarm.encounter.entry.world import Globe, world_of
from targets.atmospheres.air import Air
from targets.atmospheres.shipped import atmosphere_named, shipped_for
from targets.masses.massive import mass_named


def state_at(world, height_km, speed_km_s, angle_deg, *, heading_deg=90.0, latitude_deg=0.0, relative=True):
    """(6,) in the body's axes; planetographic latitude, heading from north to east, angle below the horizon.

    relative : speed and angle are against the turning air
    """
    latitude, angle, heading = (math.radians(x) for x in (latitude_deg, angle_deg, heading_deg))
    a, c = world.radius_km, world.polar_km
    flat = 1.0 - (c / a) ** 2
    curved = a / math.sqrt(1.0 - flat * math.sin(latitude) ** 2)
    up = np.array([math.cos(latitude), 0.0, math.sin(latitude)])
    r = np.array([curved + height_km, 0.0, curved * (1.0 - flat) + height_km]) * up
    east = np.array([0.0, 1.0, 0.0])
    north = np.cross(up, east)
    level = math.cos(heading) * north + math.sin(heading) * east
    v = speed_km_s * (math.cos(angle) * level - math.sin(angle) * up)
    if relative:
        v = v + world.air_rad_s * np.cross([0.0, 0.0, 1.0], r)
    return np.concatenate([r, v])


def world_and_air(name, **more):
    body = mass_named(name)
    return world_of(body, 0.0, **more), atmosphere_named(shipped_for(name)).air(), body.interface_km


def thin_air(scale_km, ground_kg_m3, top_km):
    """Exponential air of one scale height; temperature 200 K, so that a speed of sound is there."""
    height = np.array([0.0, 0.5 * top_km, top_km])
    log_density = math.log(ground_kg_m3) - height / scale_km
    return Air(height, log_density, log_density + math.log(287.0 * 200.0), np.full(3, 200.0), 1.4)


def flat_world(gm=0.0, radius_km=1e7):
    """A body without turning, so large that its ground is flat; without gravity unless given."""
    return Globe(gm, 0.0, radius_km, radius_km, radius_km, 0.0, 0.0)


def plain_shell(beta, *, nose_m=0.3, convective=1.7415e-4, radiative=0, stages=()):
    """A shell of a ballistic coefficient, kg/m^2."""
    diameter = math.sqrt(4.0 / math.pi)
    return shell_of(
        mass_kg=beta, diameter_m=diameter, drag_coefficient=1.0, nose_m=nose_m, convective=convective,
        radiative=radiative, stages=stages,
    )  # fmt: skip
