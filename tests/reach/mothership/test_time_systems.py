"""UTC, TT and TDB at the edges."""

import numpy as np
import pytest
import spiceypy
from hypothesis import given
from hypothesis import strategies as st

from targets.base.timescale import calendar_day_and_second, tdb_s_from_tt_s, tdb_s_from_utc
from targets.ephemeris import spice
from tests.helpers.quiet_motherships import orbit

LEAP = spice.leap_seconds()


def tdb_of_utc(text):
    return float(tdb_s_from_utc(*calendar_day_and_second(text), leap=LEAP))


def test_tdb_is_69_184_s_ahead_of_utc_since_2017():
    day, second = calendar_day_and_second("2031-03-01T00:00:00")
    # TDB differs from TT by at most 1.7 ms
    assert tdb_of_utc("2031-03-01T00:00:00") - (day + second) == pytest.approx(69.184, abs=0.0018)


@pytest.mark.parametrize(
    "text",
    ["1972-01-01T00:00:00", "1999-060T12:00:00.25", "2016-12-31T23:59:59.5", "2016-12-31T23:59:60.5",
     "2017-01-01T00:00:00", "2031-07-04T05:06:07.123456", "2032-366T00:00:00Z"],
)  # fmt: skip
def test_utc_agrees_with_spice(text):
    assert tdb_of_utc(text) == pytest.approx(spiceypy.str2et(text.removesuffix("Z")), abs=4e-5)
    assert spice.utc_text(tdb_of_utc(text), 3).startswith(spiceypy.et2utc(tdb_of_utc(text), "ISOC", 3))


@given(st.floats(-8e8, 1.5e9))
def test_tt_agrees_with_spice(tt_s):
    # SPICE keeps one term of the difference, here there are two; the second is 14 us
    assert float(tdb_s_from_tt_s(tt_s)) == pytest.approx(spiceypy.unitim(tt_s, "TT", "TDB"), abs=4e-5)


@given(st.floats(-8e8, 1.5e9))
def test_utc_text_reads_back(tdb_s):
    assert tdb_of_utc(spice.utc_text(tdb_s, 6)) == pytest.approx(tdb_s, abs=5e-5)


def test_calendar_and_day_of_year_name_the_same_day():
    assert calendar_day_and_second("2032-12-31T01:02:03.5") == calendar_day_and_second("2032-366T01:02:03.5")


@pytest.mark.parametrize(
    "text",
    ["2031-03-01", "2031-03-01 00:00:00", "2031-02-30T00:00:00", "2031-366T00:00:00", "2031-000T00:00:00",
     "2031-03-01T24:00:00", "2031-03-01T00:60:00", "2031-03-01T00:00:60", "2031-03-01T00:00:00 TDB",
     "31-03-01T00:00:00", "2031-13-01T00:00:00", ""],
)  # fmt: skip
def test_what_is_no_date_is_refused(text):
    with pytest.raises(ValueError):  # noqa: PT011 - every one of them is a ValueError with its own words
        calendar_day_and_second(text)


def test_a_slip_of_utc_for_tdb_moves_an_8_km_s_state_by_553_km():
    slip_s = tdb_of_utc("2031-03-01T00:00:00") - sum(calendar_day_and_second("2031-03-01T00:00:00"))
    assert 8.0 * slip_s == pytest.approx(553.5, abs=0.1)
    here, there = orbit(np.array([9.8e8, 9.8e8 + slip_s]))
    moved = np.linalg.norm(there[:3] - here[:3])
    assert moved == pytest.approx(np.linalg.norm(here[3:]) * slip_s, rel=1e-3)
    assert moved > 500.0
