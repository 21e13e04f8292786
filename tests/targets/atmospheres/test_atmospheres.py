"""Shipped atmospheres against their sources and other implementations; a study's own file and what it may not be."""

import importlib
import warnings

import numpy as np
import pytest

from targets.atmospheres.air import (
    density_kg_m3,
    height_of_pressure_km,
    height_of_temperature_km,
    pressure_pa,
    scale_height_km,
    sound_km_s,
    temperature_k,
)
from targets.atmospheres.own_atmosphere import read_own_atmosphere
from targets.atmospheres.shipped import NAMES, atmosphere_named, shipped_for
from targets.base.errors import InputError
from targets.masses.massive import mass_named


@pytest.mark.parametrize(
    ("height", "density"), [(0, 64.79), (30, 10.15), (50, 1.594), (70, 0.08393), (100, 7.89e-5)]
)
def test_venus_is_its_table(height, density):
    """Seiff 1983; a reference-atmosphere sample at 22 N has the same figures at 0-50 km: 0.1 %."""
    air = atmosphere_named("venus-mean").air()
    assert density_kg_m3(float(height), air) == pytest.approx(density, rel=1e-3)


def test_between_rows_density_is_exponential():
    air = atmosphere_named("venus-mean").air()
    assert density_kg_m3(72.5, air) == pytest.approx(np.sqrt(0.08393 * 0.03236))
    assert scale_height_km(72.5, air) == pytest.approx(5.0 / np.log(0.08393 / 0.03236))
    assert temperature_k(72.5, air) == pytest.approx(0.5 * (229.8 + 215.4))
    # above 100 km by 3.9 km, as stated
    assert density_kg_m3(139.0, air) == pytest.approx(7.89e-5 * np.exp(-10.0))


@pytest.mark.parametrize(
    ("height", "density", "pressure", "temperature"),
    [
        (0, 1.2250, 101325.0, 288.150),
        (11, 3.6480e-1, 2.2700e4, 216.774),
        (20, 8.8910e-2, 5.5293e3, 216.650),
        (50, 1.0269e-3, 7.9779e1, 270.650),
        (80, 1.8458e-5, 1.0524, 198.639),
    ],
)
def test_earth_is_the_standard_of_1976(height, density, pressure, temperature):
    """Printed values of the US Standard Atmosphere 1976, table I, from memory; 0.02 %."""
    air = atmosphere_named("earth-1976").air()
    assert density_kg_m3(float(height), air) == pytest.approx(density, rel=2e-4)
    assert pressure_pa(float(height), air) == pytest.approx(pressure, rel=2e-4)
    assert temperature_k(float(height), air) == pytest.approx(temperature, abs=0.02)
    # 340.294 m/s at the ground, printed
    assert sound_km_s(0.0, air) == pytest.approx(0.340294, rel=1e-5)


def _other(name):
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return importlib.import_module(name)
    except ImportError:
        return pytest.importorskip(name)


@pytest.mark.crosscheck
def test_earth_against_another_implementation_of_1976():
    """The library ussa1976: 1.1e-5 in the layers; above 86 km its integration is up to 4 % off the table."""
    ussa1976 = _other("ussa1976")
    ours = atmosphere_named("earth-1976")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = ussa1976.compute(z=ours.height_km * 1000.0, variables=["t", "p", "rho"])
    low = ours.height_km <= 86.0
    for name, values in (("rho", ours.density_kg_m3), ("p", ours.pressure_pa), ("t", ours.temperature_k)):
        apart = np.abs(values / theirs[name].values - 1.0)
        assert apart[low].max() < 1.2e-5
        assert apart.max() < 0.04


@pytest.mark.crosscheck
def test_earth_against_the_icao_standard():
    """The library ambiance, ICAO 1993: the same layers to 80 km of geopotential."""
    ambiance = _other("ambiance")
    ours = atmosphere_named("earth-1976")
    low = ours.height_km <= 80.0
    theirs = ambiance.Atmosphere(1000.0 * ours.height_km[low])
    assert ours.density_kg_m3[low] == pytest.approx(theirs.density, rel=1e-4)
    assert ours.temperature_k[low] == pytest.approx(theirs.temperature, abs=0.01)


@pytest.mark.parametrize("name", NAMES)
def test_shipped_tables_fall_and_reach_the_interface(name):
    there = atmosphere_named(name)
    assert shipped_for(there.body) == name
    assert there.height_km[-1] >= mass_named(there.body).interface_km
    assert (np.diff(there.height_km) > 0.0).all()
    assert (np.diff(there.density_kg_m3) < 0.0).all()
    assert (np.diff(there.pressure_pa) < 0.0).all()
    assert there.approximate == (name in ("mars-summer", "jupiter-equator"))


@pytest.mark.parametrize("name", ["venus-mean", "earth-1976", "mars-summer", "jupiter-equator"])
def test_pressure_carries_the_air_above(name):
    """dp/dh = -rho g, between rows, from each source's own columns: 3 %, of the mean gravity of the layer."""
    there = atmosphere_named(name)
    body = mass_named(there.body)
    low, high = 5.0, 70.0
    heights = np.linspace(low, high, 2000)
    air = there.air()
    density = np.array([density_kg_m3(h, air) for h in heights])
    surface = {"jupiter-equator": 23.12}.get(name, 1e3 * body.gm_km3_s2 / body.mean_radius_km**2)
    gravity = surface * (body.mean_radius_km / (body.mean_radius_km + heights)) ** 2
    weight = np.trapezoid(density * gravity, 1e3 * heights)
    fall = pressure_pa(low, air) - pressure_pa(high, air)
    assert weight == pytest.approx(fall, rel=0.03)


def test_titan_weighs_what_the_ground_feels():
    """1.467 bar at the ground, from memory; the gas law with methane left out of the table gives it to 1 %."""
    assert atmosphere_named("titan-mean").pressure_pa[0] == pytest.approx(1.467e5, rel=0.01)


def test_heights_of_pressure_and_temperature():
    air = atmosphere_named("venus-mean").air()
    assert height_of_pressure_km(1.066e5, air) == pytest.approx(50.0)
    assert pressure_pa(height_of_pressure_km(3e5, air), air) == pytest.approx(3e5)
    assert height_of_temperature_km(455.5, air) == pytest.approx(35.0)
    assert np.isnan(height_of_temperature_km(900.0, air))


def test_density_off_as_a_common_factor():
    there = atmosphere_named("venus-mean")
    off = there.air(2.0, (0.05, 0.30), 200.0)
    plain = there.air()
    assert density_kg_m3(0.0, off) / density_kg_m3(0.0, plain) == pytest.approx(np.exp(0.1))
    assert density_kg_m3(100.0, off) / density_kg_m3(100.0, plain) == pytest.approx(np.exp(2.0 * 0.175))
    assert pressure_pa(50.0, off) == pressure_pa(50.0, plain)


GOOD = "height_km,density_kg_m3,pressure_pa,temperature_k\n# thin\n0,1.0,8e4,280\n50,1e-3,80,280\n130,1e-8,1e-3,300\n"


def read(tmp_path, text):
    file = tmp_path / "air.csv"
    file.write_text(text, encoding="utf-8")
    return read_own_atmosphere(file, body="Venus", gas="CO2", interface_km=125.0)


def test_an_own_atmosphere(tmp_path):
    there = read(tmp_path, GOOD)
    assert there.name == "air.csv"
    assert density_kg_m3(25.0, there.air()) == pytest.approx(np.sqrt(1e-3))


@pytest.mark.parametrize(
    ("change", "what", "place", "found"),
    [
        (("130,", "120,"), "does not reach the interface", "line 5", "120 km"),
        (("50,1e-3", "50,2.0"), "density does not fall", "line 4", "2 after 1"),
        (("50,", "0,"), "heights do not rise", "line 4", "0 after 0"),
        (("50,1e-3,80", "50,1e-3,9e4"), "pressure does not fall", "line 4", "90000 after 80000"),
        (("8e4", "8e1"), "pressure does not fall", "line 4", "80 after 80"),
        (("1.0,8e4", "1.0,9e7"), "units mixed up", "line 3", "density 1,"),
        (("280\n50", "-5\n50"), "units mixed up", "line 3", "temperature -5"),
        (("1.0,8e4", "nan,8e4"), "cannot be used", "line 3", "0,nan,8e4,280"),
        (("1.0,8e4,", "1.0,"), "cannot be used", "line 3", "0,1.0,280"),
        (("height_km,", "height_m,"), "four columns", "its first line", "height_m"),
        (("50,1e-3,80,280\n", ""), "too few rows", None, "2"),
    ],
)
def test_what_cannot_be_an_atmosphere(tmp_path, change, what, place, found):
    assert change[0] in GOOD
    with pytest.raises(InputError, match=what) as refusal:
        read(tmp_path, GOOD.replace(*change, 1))
    assert refusal.value.place == place
    assert found in str(refusal.value.found)
