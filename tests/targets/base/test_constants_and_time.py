"""Constants, time scale and the one rotation."""

from __future__ import annotations

import re

import numpy as np
import pytest
import spiceypy
from hypothesis import given
from hypothesis import strategies as st

from targets.base import constants
from targets.base.frames import ICRF_FROM_ECLIPTIC
from targets.base.timescale import iso_tdb, jd_from_tdb_s, parse_tdb_jd, tdb_jd_from_tt_jd, tdb_s_from_jd
from targets.ephemeris import spice
from targets.ephemeris.planets import BODIES


def kernel_gm() -> dict[str, float]:
    """GM by label, from the comment area of DE440 itself."""
    handle = spiceypy.dafopr(str(spice.load_kernels()[0]))
    try:
        _, lines, _ = spiceypy.dafec(handle, 400, 1000)
    finally:
        spiceypy.dafcls(handle)
    found = {}
    for line in lines:
        match = re.match(r"^\s*(GM[0-9SM]|GMB)\s+\S+\s+\S+\s+([0-9.]+)\s*$", line)
        if match:
            found[match.group(1)] = float(match.group(2))
    return found


def test_gm_values_are_those_of_the_ephemeris_kernel() -> None:
    gm = kernel_gm()
    assert gm["GMS"] == pytest.approx(constants.GM_SUN_KM3_S2, rel=1e-15)
    labels = ("GM1", "GM2", "GMB", "GM4", "GM5", "GM6", "GM7", "GM8", "GM3", "GMM")
    for (_, name, value), label in zip(BODIES, labels, strict=True):
        assert value == pytest.approx(gm[label], rel=1e-12), name


def test_sun_gm_is_horizons_value() -> None:
    # JPL Horizons' mu of the Sun in au^3/d^2 (also in the DE440 kernel's comments)
    mu_au3_d2 = constants.GM_SUN_KM3_S2 * constants.DAY_S**2 / constants.AU_KM**3
    assert mu_au3_d2 == pytest.approx(2.9591220828411956e-04, rel=1e-15)


def test_rotation_is_orthonormal_and_tilts_by_the_obliquity() -> None:
    np.testing.assert_allclose(ICRF_FROM_ECLIPTIC @ ICRF_FROM_ECLIPTIC.T, np.eye(3), atol=1e-15)
    # the ecliptic pole stands 84381.448 arcsec (IAU 1976) from the equator's
    tilt_arcsec = np.degrees(np.arccos(ICRF_FROM_ECLIPTIC[2, 2])) * 3600.0
    assert tilt_arcsec == pytest.approx(84381.448, abs=1e-9)
    # a body on the ecliptic at longitude 90 deg stands north of the equator
    assert (ICRF_FROM_ECLIPTIC @ [0.0, 1.0, 0.0])[2] > 0.39


def test_tdb_of_tt_agrees_with_spice() -> None:
    spice.load_kernels()
    jd_tt = np.linspace(2451545.0, 2469807.5, 500)
    ours = (tdb_jd_from_tt_jd(jd_tt) - jd_tt) * 86400.0
    seconds = (jd_tt - 2451545.0) * 86400.0
    theirs = np.array([spiceypy.unitim(t, "TT", "TDB") - t for t in seconds])
    # a Julian date's tick is 40 us; the terms left out are about 30 us
    np.testing.assert_allclose(ours, theirs, atol=1e-4)
    assert np.abs(ours).max() > 1.5e-3


def test_spice_reads_the_same_dates() -> None:
    spice.load_kernels()
    # SPICE takes a scale only with a blank between date and time
    for text in ("2031-03-01 00:00:00 TDB", "2029-04-13 21:46:10.5 TDB", "1999-12-31 12:00:00 TDB"):
        assert float(tdb_s_from_jd(parse_tdb_jd(text))) == pytest.approx(spiceypy.str2et(text), abs=5e-5)


@given(st.floats(min_value=2.40e6, max_value=2.55e6))
def test_iso_text_reads_back(jd: float) -> None:
    assert parse_tdb_jd(iso_tdb(jd, digits=6)) == pytest.approx(jd, abs=1e-9)
    assert parse_tdb_jd(iso_tdb(jd)) == pytest.approx(jd, abs=0.6 / 86400.0)


@given(st.floats(min_value=-3e9, max_value=3e9))
def test_seconds_and_julian_dates_round_trip(tdb_s: float) -> None:
    assert float(tdb_s_from_jd(jd_from_tdb_s(tdb_s))) == pytest.approx(tdb_s, abs=4e-5)


@pytest.mark.parametrize(
    "bad", ["2031-03-01", "2031-03-01 UTC", "soon", True, float("nan"), "2031-13-01 TDB"]
)
def test_a_date_without_its_scale_is_refused(bad: object) -> None:
    with pytest.raises(ValueError, match=r"expected|month"):
        parse_tdb_jd(bad)  # type: ignore[arg-type]
