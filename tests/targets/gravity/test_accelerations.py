"""Accelerations of spherical harmonics: against the potential of the textbook, another library, and closed forms."""

import math

import numpy as np
import pytest
from scipy.special import gammaln, lpmv

from targets.gravity.acceleration import accelerations_km_s2, harmonics
from targets.gravity.harmonic_field import gravity_of
from targets.masses.massive import mass_named

MOON = mass_named("Moon")
# Sixth-order central difference.
STEPS, SHARES = np.arange(-3, 4), np.array([-1.0, 9.0, -45.0, 0.0, 45.0, -9.0, 1.0]) / 60.0


def potential(places, field):
    """U = GM/r sum (R/r)^n P_nm(sin lat) (C cos m lon + S sin m lon), normalised (Heiskanen & Moritz, sec. 2-5)."""
    r = np.linalg.norm(places, axis=-1)
    sine, lon = places[..., 2] / r, np.arctan2(places[..., 1], places[..., 0])
    total = np.zeros_like(r)
    for m, top in enumerate(field.top):
        for n in range(max(m, 1), top + 1):
            size = math.exp(0.5 * (gammaln(n - m + 1) - gammaln(n + m + 1)))
            size *= math.sqrt((2 * n + 1) * (1 if m == 0 else 2)) * (-1) ** m  # lpmv has the phase (-1)^m
            wave = field.c[m, n] * np.cos(m * lon) + field.s[m, n] * np.sin(m * lon)
            total += (field.radius_km / r) ** n * size * lpmv(m, n, sine) * wave
    return field.gm_km3_s2 / r * total


def slope(places, field, step=2.0):
    out = np.zeros_like(places)
    for i in range(3):
        moved = places[:, None, :] + step * STEPS[None, :, None] * np.eye(3)[i]
        out[:, i] = potential(moved, field) @ SHARES / step
    return out


def random_places(count, low_km, high_km, seed=1):
    rng = np.random.default_rng(seed)
    x = rng.normal(size=(count, 3))
    return x * ((1738.0 + rng.uniform(low_km, high_km, count)) / np.linalg.norm(x, axis=1))[:, None]


def test_the_lunar_field_is_the_slope_of_its_potential():
    field = gravity_of(MOON)
    places = np.vstack([random_places(100, 5.0, 3000.0), [[1e-6, 0.0, 1750.0], [1750.0, 0.0, 0.0]]])
    ours = accelerations_km_s2(places, field.compiled(), central=False)
    pull = field.gm_km3_s2 / np.linalg.norm(places, axis=1) ** 2
    assert np.max(np.linalg.norm(ours - slope(places, field), axis=1) / pull) < 2e-11


@pytest.mark.parametrize("name", ["Europa", "Enceladus", "Saturn"])
def test_few_terms_of_a_figure_are_the_slope_of_theirs(name):
    """J2 to J4 beside C22: an order that ends lower than the next one."""
    body = mass_named(name)
    field = gravity_of(body)
    places = random_places(20, 100.0, 500.0) * body.radius_km / 1738.0
    ours = accelerations_km_s2(places, field.compiled(), central=False)
    pull = field.gm_km3_s2 / np.linalg.norm(places, axis=1) ** 2
    step = 1e-3 * body.radius_km
    assert np.max(np.linalg.norm(ours - slope(places, field, step), axis=1) / pull) < 1e-10
    assert np.min(np.linalg.norm(ours, axis=1) / pull) > 1e-5


def test_the_pole_and_the_equator_of_j2_alone():
    """At the equator 3/2 J2 mu R^2/r^4 inwards, at the pole 3 J2 mu R^2/r^4 outwards: any text, from memory."""
    field = gravity_of(MOON).cut(2, 0)
    j2 = -math.sqrt(5.0) * field.c[0, 2]
    size = j2 * field.gm_km3_s2 * field.radius_km**2 / 1800.0**4
    found = accelerations_km_s2([[1800.0, 0.0, 0.0], [0.0, 0.0, 1800.0]], field.compiled(), central=False)
    np.testing.assert_allclose(found, [[-1.5 * size, 0.0, 0.0], [0.0, 0.0, 3.0 * size]], atol=1e-12 * size)


def test_the_central_term():
    field = gravity_of(MOON).point().compiled()
    found = accelerations_km_s2([[0.0, 3000.0, 4000.0]], field)
    np.testing.assert_allclose(
        found, -field.gm_km3_s2 / 5000.0**3 * np.array([[0.0, 3000.0, 4000.0]]), rtol=1e-14
    )
    assert not accelerations_km_s2([[0.0, 3000.0, 4000.0]], field, central=False).any()


@pytest.mark.crosscheck
def test_50_by_50_is_that_of_another_library():
    """gravitas 0.2.11 has a lunar field of its own: its terms are found from one sphere, and it is met elsewhere."""
    outside = pytest.importorskip("gravitas", reason="gravitas (extra `crosscheck`) names no licence")
    gm, c, s = analysed(lambda x: outside.moon_acceleration(np.asfortranarray(x), 50), 50)
    field = harmonics(gm, 1738.0, c, s, np.full(51, 50))
    places = random_places(100, 10.0, 500.0)
    theirs = outside.moon_acceleration(np.asfortranarray(places), 50)
    ours = accelerations_km_s2(places, field)
    assert np.max(np.linalg.norm(ours - theirs, axis=1) / np.linalg.norm(theirs, axis=1)) < 1e-9
    # the field that ships is a fit to the same flight: its terms differ in the ninth place, C20 by the tides' share
    shipped = gravity_of(MOON)
    low = np.abs(shipped.c - c[:11])[:, :11]
    low[0, 2] = 0.0
    assert gm == pytest.approx(shipped.gm_km3_s2, rel=1e-7)
    assert low.max() < 3e-9
    assert np.max(np.abs(shipped.c[0, 11:] - c[0, 11:])) < 2e-10


def analysed(acceleration, degree, radius=1738.0, at=1850.0):
    """GM and terms by (order, degree) of a field, from its radial pull on a sphere: Gauss-Legendre by Fourier."""
    t, weights = np.polynomial.legendre.leggauss(degree + 2)
    lon = 2.0 * np.pi * np.arange(2 * degree + 4) / (2 * degree + 4)
    sine, around = np.meshgrid(t, lon, indexing="ij")
    level = np.sqrt(1.0 - sine**2)
    up = np.stack([level * np.cos(around), level * np.sin(around), sine], axis=-1).reshape(-1, 3)
    pull = np.einsum("ij,ij->i", acceleration(at * up), up).reshape(sine.shape)
    c, s = np.zeros((degree + 1, degree + 1)), np.zeros((degree + 1, degree + 1))
    for m in range(degree + 1):
        waves = [(pull * wave(m * around)).mean(axis=1) for wave in (np.cos, np.sin)]
        for n in range(m, degree + 1):
            size = math.exp(0.5 * (gammaln(n - m + 1) - gammaln(n + m + 1)))
            size *= math.sqrt((2 * n + 1) * (1 if m == 0 else 2)) * (-1) ** m
            shape = weights * size * lpmv(m, n, t)
            scale = -0.5 * at**2 / (n + 1) * (at / radius) ** n
            c[m, n], s[m, n] = (scale * float(shape @ wave) for wave in waves)
    gm = c[0, 0]
    return gm, c / gm, s / gm
