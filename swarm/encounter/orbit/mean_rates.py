"""Rates of a mean orbit: all that pulls, averaged over one revolution. Compiled.

Mean elements are two vectors, j = sqrt(1 - e^2) along the angular momentum and e towards periapsis; with
L = sqrt(mu a), which an average over a revolution leaves alone,

    dj/dt = <r x F>/L,   de/dt = <F x H + v x (r x F)>/mu,   <x> = 1/(2 pi) integral x r^2/(a^2 sqrt(1 - e^2)) df

(Gauss's equations in vectors: Milankovitch 1939; Rosengren, Scheeres 2014, "On the Milankovitch orbital elements for
perturbed Keplerian motion", Celest. Mech. Dyn. Astron. 118:197, from memory.) The nodes are even in true anomaly f,
where a term of degree n has no wave shorter than n: 64 do for degree 50. The body is held as it is turned at the date.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from swarm.encounter.orbit.surroundings import fill_axes, fill_others, ground_radius, waves_at, zonals_at

# Nodes of a near-circular orbit, and how many more than its degree what is not zonal takes there.
_NODES_ROUND, _NODES_MORE = 64, 9
_ROUND = 1e-9  # below such an eccentricity any direction serves as that of periapsis


@njit(cache=True)
def cross(a, b, out):
    out[0] = a[1] * b[2] - a[2] * b[1]
    out[1] = a[2] * b[0] - a[0] * b[2]
    out[2] = a[0] * b[1] - a[1] * b[0]


@njit(cache=True)
def length(a):
    return math.sqrt(a[0] * a[0] + a[1] * a[1] + a[2] * a[2])


@njit(cache=True)
def fill_frame(y, frame):
    """Write the directions of periapsis, across it in the plane, and of the pole of the orbit; return e."""
    j = length(y[:3])
    for i in range(3):
        frame[2, i] = y[i] / j
    e = length(y[3:6])
    if e > _ROUND:
        along = 0.0
        for i in range(3):
            along += y[3 + i] * frame[2, i]
        for i in range(3):
            frame[0, i] = y[3 + i] - along * frame[2, i]
    else:
        least = 0
        for i in range(3):
            if abs(frame[2, i]) < abs(frame[2, least]):
                least = i
        for i in range(3):
            frame[0, i] = (1.0 if i == least else 0.0) - frame[2, least] * frame[2, i]
    size = length(frame[0])
    for i in range(3):
        frame[0, i] /= size
    cross(frame[2], frame[0], frame[1])
    return e


@njit(cache=True)
def fill_rates(t, y, a, mu, around, nodes, out):
    """Write d(j, e)/dt of mean elements y = (j, e) with semi-major axis a; zonals at so many nodes.

    All else is of no higher degree than its own, and takes so many nodes and a few, by which what eccentricity adds is
    lost (tests).
    """
    frame, axes = np.empty((3, 3)), np.empty((3, 3))
    places = np.empty((around.other_gm.size, 3))
    work_v = np.empty((3, around.waves.c.shape[1] + 2))
    work_w = np.empty((3, around.waves.c.shape[1] + 2))
    r, vel, force = np.empty(3), np.empty(3), np.empty(3)
    fill_axes(t, around, axes)
    fill_others(t, around, places)
    e = min(fill_frame(y, frame), 0.999)
    p, root = a * (1.0 - e * e), math.sqrt(1.0 - e * e)
    fewer = min(nodes, (nodes // _NODES_ROUND) * (around.waves.c.shape[1] + _NODES_MORE))
    out[:] = 0.0
    for k in range(nodes + fewer):
        zonal = k < nodes
        count = nodes if zonal else fewer
        f = 2.0 * math.pi * ((k if zonal else k - nodes) + 0.5) / count
        c, s = math.cos(f), math.sin(f)
        radius = p / (1.0 + e * c)
        for i in range(3):
            r[i] = radius * (c * frame[0, i] + s * frame[1, i])
            vel[i] = -s * frame[0, i] + (e + c) * frame[1, i]
        if zonal:
            zonals_at(r, around, axes, force)
        else:
            waves_at(r, around, axes, places, work_v, work_w, force)
        _add(r, vel, force, frame[2], mu, p, radius * radius / (a * a * root * count), out)
    big = math.sqrt(mu * a)
    for i in range(3):
        out[i] /= big


@njit(cache=True)
def _add(r, vel, force, pole, mu, p, weight, out):
    """Add r x F, and F x h/mu + v x (r x F)/mu; vel in units of sqrt(mu/p), h = sqrt(mu p) along the pole."""
    tx = r[1] * force[2] - r[2] * force[1]
    ty = r[2] * force[0] - r[0] * force[2]
    tz = r[0] * force[1] - r[1] * force[0]
    turned, swept = weight * math.sqrt(p / mu), weight / math.sqrt(mu * p)
    out[0] += weight * tx
    out[1] += weight * ty
    out[2] += weight * tz
    out[3] += turned * (force[1] * pole[2] - force[2] * pole[1]) + swept * (vel[1] * tz - vel[2] * ty)
    out[4] += turned * (force[2] * pole[0] - force[0] * pole[2]) + swept * (vel[2] * tx - vel[0] * tz)
    out[5] += turned * (force[0] * pole[1] - force[1] * pole[0]) + swept * (vel[0] * ty - vel[1] * tx)


@njit(cache=True)
def look(t, y, a, around, nodes, heights, sines, longitudes, shares):
    """Where a revolution goes: height over the ground km, geocentric sine of latitude, longitude E rad, share of time.

    One a node, even in true anomaly from periapsis on; the body as it is turned at the date. Return least and greatest
    height, and the node of the least.
    """
    frame, axes = np.empty((3, 3)), np.empty((3, 3))
    fill_axes(t, around, axes)
    e = min(fill_frame(y, frame), 0.999)
    p = a * (1.0 - e * e)
    least, greatest, at = math.inf, -math.inf, 0
    for k in range(nodes):
        f = 2.0 * math.pi * k / nodes
        c, s = math.cos(f), math.sin(f)
        radius = p / (1.0 + e * c)
        x = yy = z = 0.0
        for i in range(3):
            u = c * frame[0, i] + s * frame[1, i]
            x += axes[0, i] * u
            yy += axes[1, i] * u
            z += axes[2, i] * u
        sines[k], longitudes[k] = z, math.atan2(yy, x)
        shares[k] = radius * radius / (a * a * math.sqrt(1.0 - e * e)) / nodes
        heights[k] = radius - ground_radius(z, around) + around.ground_km
        if heights[k] < least:
            least, at = heights[k], k
        greatest = max(greatest, heights[k])
    return least, greatest, at
